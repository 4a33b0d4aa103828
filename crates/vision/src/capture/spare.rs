//! Buffers of pictures that were looked at, for the pictures to come.

/// Most buffers kept: one being decoded into, the rest on its way back.
const MOST: usize = 4;

/// Used buffers. A picture of 1280 x 720 is 2.8 MB; asked of the system for
/// every frame, clearing that memory alone costs some tenths of a millisecond.
#[derive(Debug, Default)]
pub(super) struct Spares(Vec<Vec<u8>>);

impl Spares {
    /// Keeps a buffer for later, up to a bound.
    pub(super) fn give(&mut self, buffer: Vec<u8>) {
        if self.0.len() < MOST {
            self.0.push(buffer);
        }
    }

    /// A buffer of `len` bytes with any content.
    pub(super) fn take(&mut self, len: usize) -> Vec<u8> {
        let fits = |b: &Vec<u8>| (len..=4 * len).contains(&b.capacity());
        // What does not fit is of another source's size: let go.
        self.0.retain(fits);
        let mut buffer = self.0.pop().unwrap_or_default();
        buffer.resize(len, 0);
        buffer
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_buffer_comes_back_if_it_fits() {
        let mut spares = Spares::default();
        let first = vec![7; 1000];
        let place = first.as_ptr();
        spares.give(first);
        let again = spares.take(900);
        assert_eq!((again.as_ptr(), again.len()), (place, 900));
        spares.give(again);
        assert_eq!(spares.take(5000), vec![0; 5000], "too small: a new one");
        spares.give(vec![0; 5000]);
        assert!(
            spares.take(10).capacity() < 5000,
            "far too large: a new one"
        );
        for _ in 0..10 {
            spares.give(vec![0; 10]);
        }
        assert_eq!(spares.0.len(), MOST);
    }
}
