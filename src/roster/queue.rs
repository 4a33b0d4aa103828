//! Who skates next.

use super::SkaterId;

/// How many steps can be taken back.
const STEPS_KEPT: usize = 50;

#[derive(Debug, Clone, PartialEq, Eq, Default)]
struct State {
    order: Vec<SkaterId>,
    at: usize,
    /// The next pass belongs to nobody.
    nobody: bool,
}

/// The order the skaters go in, round and round, and who is next. A plain
/// state machine: every step can be taken back.
#[derive(Debug, Clone, Default)]
pub struct Queue {
    now: State,
    /// Earlier states, oldest first.
    earlier: Vec<State>,
    by_hand: u64,
}

impl Queue {
    /// A queue that begins with the first of `order`. A skater named twice
    /// keeps the first place only.
    pub fn new(order: Vec<SkaterId>) -> Self {
        Queue {
            now: State {
                order: each_once(order),
                at: 0,
                nobody: false,
            },
            ..Queue::default()
        }
    }

    /// Whose pass the next one is; `None` where the queue is empty or the
    /// next pass belongs to nobody.
    pub fn current(&self) -> Option<SkaterId> {
        self.ahead(0)
    }

    /// Who is `n` places behind the current one, round and round: whose pass
    /// it is that starts while `n` others are not over yet.
    pub fn ahead(&self, n: usize) -> Option<SkaterId> {
        let State { order, at, nobody } = &self.now;
        if *nobody && n == 0 || order.is_empty() {
            return None;
        }
        // Whoever skates for nobody does not use up a place.
        let n = n - usize::from(*nobody);
        order.get((at + n) % order.len()).copied()
    }

    /// All places, in order.
    pub fn order(&self) -> &[SkaterId] {
        &self.now.order
    }

    /// Place of the current one in [`Queue::order`]; it keeps its value while
    /// the next pass belongs to nobody.
    pub fn place(&self) -> usize {
        self.now.at
    }

    /// Whether the next pass belongs to nobody.
    pub fn is_unknown(&self) -> bool {
        self.now.nobody
    }

    /// How often somebody changed the queue by hand. Whoever sees the number
    /// change knows that the queue stands where a person put it.
    pub fn by_hand(&self) -> u64 {
        self.by_hand
    }

    /// A pass is over: the next one is current.
    pub fn passed(&mut self) {
        self.remember();
        if self.now.nobody {
            self.now.nobody = false;
        } else {
            self.step(1);
        }
    }

    /// The current one does not skate this time.
    pub fn skip(&mut self) {
        self.touch();
        self.now.nobody = false;
        self.step(1);
    }

    /// The current one and the one after change places.
    pub fn swap_with_next(&mut self) {
        self.touch();
        let State { order, at, .. } = &mut self.now;
        if order.len() > 1 {
            let next = (*at + 1) % order.len();
            order.swap(*at, next);
        }
    }

    /// The one before is current again.
    pub fn back(&mut self) {
        self.touch();
        self.now.nobody = false;
        let n = self.now.order.len();
        self.step(n.saturating_sub(1));
    }

    /// The next pass belongs to nobody; the queue then goes on where it is.
    pub fn unknown(&mut self) {
        self.touch();
        self.now.nobody = true;
    }

    /// Takes the last step back, also that of a pass. `false` where there is
    /// none.
    pub fn undo(&mut self) -> bool {
        let Some(earlier) = self.earlier.pop() else {
            return false;
        };
        self.by_hand += 1;
        self.now = earlier;
        true
    }

    /// This skater is next. One who is not in the queue gets a place in front
    /// of the current one.
    pub fn set_current(&mut self, skater: SkaterId) {
        self.touch();
        let State { order, at, nobody } = &mut self.now;
        *nobody = false;
        match order.iter().position(|s| *s == skater) {
            Some(place) => *at = place,
            None => order.insert(*at, skater),
        }
    }

    /// Another order. The current one stays current where it is in it;
    /// otherwise the first that comes after it in the old order.
    pub fn set_order(&mut self, order: Vec<SkaterId>) {
        let order = each_once(order);
        if order == self.now.order {
            return;
        }
        self.touch();
        let n = self.now.order.len();
        self.now.at = (0..n)
            .map(|i| self.now.order[(self.now.at + i) % n])
            .find_map(|s| order.iter().position(|o| *o == s))
            .unwrap_or(0);
        self.now.order = order;
    }

    /// A skater is gone for good: also the way back does not know it.
    pub fn forget(&mut self, skater: SkaterId) {
        let without: Vec<SkaterId> = self
            .now
            .order
            .iter()
            .copied()
            .filter(|s| *s != skater)
            .collect();
        self.set_order(without);
        self.earlier.retain(|s| !s.order.contains(&skater));
    }

    fn step(&mut self, n: usize) {
        if !self.now.order.is_empty() {
            self.now.at = (self.now.at + n) % self.now.order.len();
        }
    }

    fn touch(&mut self) {
        self.remember();
        self.by_hand += 1;
    }

    fn remember(&mut self) {
        if self.earlier.len() == STEPS_KEPT {
            self.earlier.remove(0);
        }
        self.earlier.push(self.now.clone());
    }
}

fn each_once(order: Vec<SkaterId>) -> Vec<SkaterId> {
    let mut once = Vec::with_capacity(order.len());
    for skater in order {
        if !once.contains(&skater) {
            once.push(skater);
        }
    }
    once
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: SkaterId = SkaterId(1);
    const B: SkaterId = SkaterId(2);
    const C: SkaterId = SkaterId(3);

    fn abc() -> Queue {
        Queue::new(vec![A, B, C, A])
    }

    #[test]
    fn passes_go_round() {
        let mut q = abc();
        assert_eq!(q.order(), [A, B, C]);
        let mut seen = Vec::new();
        for _ in 0..4 {
            seen.push(q.current());
            q.passed();
        }
        assert_eq!(seen, [Some(A), Some(B), Some(C), Some(A)]);
        assert_eq!(q.by_hand(), 0);
    }

    #[test]
    fn nobody_takes_one_pass_and_no_place() {
        let mut q = abc();
        q.passed();
        q.unknown();
        assert_eq!(
            (q.current(), q.ahead(1), q.ahead(2)),
            (None, Some(B), Some(C))
        );
        q.passed();
        assert_eq!((q.current(), q.ahead(1)), (Some(B), Some(C)));
    }

    #[test]
    fn skip_back_swap_and_choosing() {
        let mut q = abc();
        q.skip();
        assert_eq!(q.current(), Some(B));
        q.back();
        q.back();
        assert_eq!(q.current(), Some(C));
        q.swap_with_next();
        assert_eq!((q.order(), q.current()), (&[C, B, A][..], Some(A)));
        q.set_current(B);
        assert_eq!(q.current(), Some(B));
        let d = SkaterId(9);
        q.set_current(d);
        assert_eq!((q.order(), q.current()), (&[C, d, B, A][..], Some(d)));
    }

    #[test]
    fn every_step_is_taken_back_in_turn() {
        let mut q = abc();
        type Step = fn(&mut Queue);
        let steps: [Step; 7] = [
            Queue::passed,
            Queue::skip,
            Queue::swap_with_next,
            Queue::back,
            Queue::unknown,
            |q| q.set_current(C),
            |q| q.set_order(vec![C, A]),
        ];
        let mut states = Vec::new();
        for step in steps {
            states.push(q.now.clone());
            step(&mut q);
        }
        while let Some(state) = states.pop() {
            assert!(q.undo());
            assert_eq!(q.now, state);
        }
        assert!(!q.undo());
    }

    #[test]
    fn a_new_order_keeps_who_is_next_where_that_can_be() {
        let mut q = abc();
        q.passed();
        q.set_order(vec![C, B, A]);
        assert_eq!(q.current(), Some(B));
        q.set_order(vec![A, C]);
        assert_eq!(q.current(), Some(C), "the one after who is gone");
        q.set_order(Vec::new());
        assert_eq!(q.current(), None);
        q.set_order(vec![B]);
        assert_eq!(q.current(), Some(B));
    }

    #[test]
    fn who_is_forgotten_does_not_come_back_by_undo() {
        let mut q = abc();
        q.passed();
        q.skip();
        q.forget(B);
        while q.undo() {
            assert!(!q.order().contains(&B));
        }
        assert!(!q.order().contains(&B));
    }

    #[test]
    fn an_empty_queue_takes_every_step() {
        let mut q = Queue::default();
        q.passed();
        q.skip();
        q.back();
        q.swap_with_next();
        q.unknown();
        q.passed();
        assert_eq!((q.current(), q.ahead(3)), (None, None));
    }

    #[test]
    fn the_way_back_is_bounded() {
        let mut q = abc();
        for _ in 0..1000 {
            q.passed();
        }
        assert_eq!(q.earlier.len(), STEPS_KEPT);
    }
}
