//! The outermost boxes of an MP4 file: is the index there, and is it whole?

use std::io::{self, Read, Seek, SeekFrom};

use super::pixel_shape::PixelShape;

/// What the outermost boxes say.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Layout {
    /// End of the last box that lies wholly in the file, bytes.
    pub complete_end: u64,
    /// Length of the file, bytes.
    pub file_len: u64,
    /// Whether a whole `moov` box (the index) was found.
    pub has_index: bool,
    /// Bytes of the whole boxes that do not just hold pictures and sound.
    pub index_len: u64,
    /// Where the index begins, and its length, bytes.
    pub index: Option<(u64, u64)>,
    /// Whether the last box reaches beyond the end of the file.
    pub cut_off: bool,
}

/// Walks over the outermost boxes without reading what is in them
/// (ISO/IEC 14496-12, clause 4.2).
pub(super) fn scan<R: Read + Seek>(reader: &mut R) -> io::Result<Layout> {
    let file_len = reader.seek(SeekFrom::End(0))?;
    let mut layout = Layout {
        complete_end: 0,
        file_len,
        has_index: false,
        index_len: 0,
        index: None,
        cut_off: false,
    };
    let mut at = 0u64;
    while at < file_len {
        reader.seek(SeekFrom::Start(at))?;
        let mut head = [0u8; 16];
        let header_len = if file_len - at < 8 { 0 } else { 8 };
        if header_len == 0 {
            layout.cut_off = true;
            break;
        }
        reader.read_exact(&mut head[..8])?;
        let short = u64::from(u32::from_be_bytes([head[0], head[1], head[2], head[3]]));
        let size = match short {
            0 => file_len - at,
            1 if file_len - at < 16 => {
                layout.cut_off = true;
                break;
            }
            1 => {
                reader.read_exact(&mut head[8..])?;
                u64::from_be_bytes([
                    head[8], head[9], head[10], head[11], head[12], head[13], head[14], head[15],
                ])
            }
            size => size,
        };
        let end = at.checked_add(size.max(8));
        match end {
            Some(end) if end <= file_len => {
                if &head[4..8] == b"moov" {
                    layout.has_index = true;
                    layout.index.get_or_insert((at, end - at));
                }
                if !matches!(&head[4..8], b"mdat" | b"free" | b"skip" | b"wide") {
                    layout.index_len += end - at;
                }
                layout.complete_end = end;
                at = end;
            }
            _ => {
                layout.cut_off = true;
                break;
            }
        }
    }
    Ok(layout)
}

/// Longest index that is looked through for the shape of the pixels, bytes: that of
/// ten hours is far below.
const LONGEST_INDEX: u64 = 64 << 20;

/// The shape of the pixels as the index says it (`pasp`, ISO/IEC 14496-12, clause
/// 12.1.4), where it does. The reader of the rest of the index leaves that box out.
pub(super) fn pixel_shape<R: Read + Seek>(
    reader: &mut R,
    layout: &Layout,
) -> io::Result<Option<PixelShape>> {
    let Some((at, length)) = layout.index.filter(|(_, length)| *length <= LONGEST_INDEX) else {
        return Ok(None);
    };
    reader.seek(SeekFrom::Start(at))?;
    let mut index = Vec::new();
    reader.take(length).read_to_end(&mut index)?;
    const HEAD: &[u8; 8] = b"\0\0\0\x10pasp";
    let found = index.windows(16).find(|bytes| bytes.starts_with(HEAD));
    Ok(found.and_then(|bytes| {
        let number = |at: usize| {
            f64::from(u32::from_be_bytes([
                bytes[at],
                bytes[at + 1],
                bytes[at + 2],
                bytes[at + 3],
            ]))
        };
        PixelShape::of(number(8), number(12))
    }))
}

/// A reader that gives so many bytes and then fails, wherever they are read
/// from. A box that points back to itself would be read for ever otherwise.
pub(super) struct AtMost<R> {
    pub reader: R,
    pub bytes_left: u64,
}

impl<R: Read> Read for AtMost<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.reader.read(buffer)?;
        self.bytes_left = self
            .bytes_left
            .checked_sub(n as u64)
            .ok_or_else(|| io::Error::other("it goes round in circles"))?;
        Ok(n)
    }
}

impl<R: Seek> Seek for AtMost<R> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.reader.seek(to)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    #[test]
    fn reading_in_circles_ends() {
        let mut reader = AtMost {
            reader: Cursor::new([7u8; 10]),
            bytes_left: 25,
        };
        let mut rounds = 0;
        let mut ten = [0; 10];
        while reader.read_exact(&mut ten).is_ok() {
            reader.seek(SeekFrom::Start(0)).expect("seeks");
            rounds += 1;
        }
        assert_eq!(rounds, 2);
    }

    fn boxed(name: &[u8; 4], body: usize) -> Vec<u8> {
        let mut out = ((8 + body) as u32).to_be_bytes().to_vec();
        out.extend_from_slice(name);
        out.resize(8 + body, 0);
        out
    }

    #[test]
    fn a_cut_is_seen_and_the_rest_is_kept() {
        let mut file = [boxed(b"ftyp", 8), boxed(b"moov", 20), boxed(b"mdat", 100)].concat();
        let whole = scan(&mut Cursor::new(&file)).expect("reads");
        assert!(whole.has_index && !whole.cut_off && whole.complete_end == file.len() as u64);

        file.truncate(file.len() - 1);
        let cut = scan(&mut Cursor::new(&file)).expect("reads");
        assert!(cut.has_index && cut.cut_off);
        assert_eq!(cut.complete_end, 16 + 28);
        assert_eq!((whole.index_len, cut.index_len), (16 + 28, 16 + 28));

        file.truncate(16 + 27);
        assert!(!scan(&mut Cursor::new(&file)).expect("reads").has_index);
    }

    #[test]
    fn long_and_open_ended_sizes() {
        let mut file = boxed(b"ftyp", 8);
        file.extend([0, 0, 0, 1]);
        file.extend(b"mdat");
        file.extend(24u64.to_be_bytes());
        file.extend([0; 8]);
        file.extend(boxed(b"moov", 0));
        file.extend([0, 0, 0, 0]);
        file.extend(b"mdat123");
        let layout = scan(&mut Cursor::new(&file)).expect("reads");
        assert!(layout.has_index && !layout.cut_off && layout.complete_end == file.len() as u64);
    }

    #[test]
    fn the_shape_of_the_pixels_is_found() {
        let mut index = boxed(b"moov", 0);
        index.extend(b"..avc1......");
        index.extend(16u32.to_be_bytes());
        index.extend(b"pasp");
        index.extend(4u32.to_be_bytes());
        index.extend(3u32.to_be_bytes());
        let length = index.len() as u32;
        index[..4].copy_from_slice(&length.to_be_bytes());
        let file = [boxed(b"ftyp", 8), index].concat();
        let read = |file: &[u8]| {
            let layout = scan(&mut Cursor::new(file)).expect("reads");
            pixel_shape(&mut Cursor::new(file), &layout).expect("reads")
        };
        assert_eq!(read(&file), PixelShape::of(4.0, 3.0));
        assert_eq!(
            read(&[boxed(b"ftyp", 8), boxed(b"moov", 30)].concat()),
            None
        );
    }

    #[test]
    fn sizes_from_hell_end_the_walk() {
        let mut file = vec![0, 0, 0, 1];
        file.extend(b"mdat");
        file.extend(u64::MAX.to_be_bytes());
        file.extend([0; 100]);
        assert!(scan(&mut Cursor::new(&file)).expect("reads").cut_off);
    }
}
