//! Who skates next.

use super::SkaterId;

/// How many steps can be taken back.
const STEPS_KEPT: usize = 50;

/// How a queue stands at one moment.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Places {
    /// All places, in order.
    pub order: Vec<SkaterId>,
    /// Place of the current one.
    pub at: usize,
    /// The next pass belongs to nobody.
    pub nobody: bool,
}

impl Places {
    /// The same of these skaters alone, as a queue can have it: each once,
    /// and a place that is there. Where the current one is not among them,
    /// the first that comes after is.
    fn of(&self, knows: &impl Fn(SkaterId) -> bool) -> Places {
        let order = each_once(self.order.iter().copied().filter(|s| knows(*s)).collect());
        Places {
            at: place_in(&order, &self.order, self.at),
            order,
            nobody: self.nobody,
        }
    }
}

/// The order the skaters go in, round and round, and who is next. A plain
/// state machine: every step can be taken back.
#[derive(Debug, Clone, Default)]
pub struct Queue {
    now: Places,
    /// Earlier states, oldest first.
    earlier: Vec<Places>,
    by_hand: u64,
    changes: u64,
}

impl Queue {
    /// [`Queue::by_hand`] of a queue that was kept and not touched since.
    /// Whoever is in the lane when it is taken up was not in it.
    pub const BY_HAND_AS_KEPT: u64 = 1;

    /// A queue that begins with the first of `order`. A skater named twice
    /// keeps the first place only.
    pub fn new(order: Vec<SkaterId>) -> Self {
        Queue {
            now: Places {
                order: each_once(order),
                at: 0,
                nobody: false,
            },
            ..Queue::default()
        }
    }

    /// A queue as it was kept, of the skaters that are still known; with the
    /// steps that can be taken back, but for those that do not fit any more.
    pub fn kept(now: &Places, earlier: &[Places], knows: impl Fn(SkaterId) -> bool) -> Self {
        let from = earlier.len().saturating_sub(STEPS_KEPT);
        Queue {
            now: now.of(&knows),
            earlier: earlier[from..]
                .iter()
                .filter(|places| places.order.iter().all(|s| knows(*s)))
                .map(|places| places.of(&knows))
                .collect(),
            by_hand: Self::BY_HAND_AS_KEPT,
            changes: 0,
        }
    }

    /// How it stands, and the steps that can be taken back, oldest first.
    pub fn states(&self) -> (&Places, &[Places]) {
        (&self.now, &self.earlier)
    }

    /// How often it changed, by hand and by passes.
    pub fn changes(&self) -> u64 {
        self.changes
    }

    /// Whose pass the next one is; `None` where the queue is empty or the
    /// next pass belongs to nobody.
    pub fn current(&self) -> Option<SkaterId> {
        self.ahead(0)
    }

    /// Who is `n` places behind the current one, round and round: whose pass
    /// it is that starts while `n` others are not over yet.
    pub fn ahead(&self, n: usize) -> Option<SkaterId> {
        let Places { order, at, nobody } = &self.now;
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
        let Places { order, at, .. } = &mut self.now;
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

    /// Whether there is a step to take back.
    pub fn can_undo(&self) -> bool {
        !self.earlier.is_empty()
    }

    /// Takes the last step back, also that of a pass. `false` where there is
    /// none.
    pub fn undo(&mut self) -> bool {
        let Some(earlier) = self.earlier.pop() else {
            return false;
        };
        self.by_hand += 1;
        self.changes += 1;
        self.now = earlier;
        true
    }

    /// This skater is next. One who is not in the queue gets a place in front
    /// of the current one.
    pub fn set_current(&mut self, skater: SkaterId) {
        self.touch();
        let Places { order, at, nobody } = &mut self.now;
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
        self.now.at = place_in(&order, &self.now.order, self.now.at);
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
        let before = self.earlier.len();
        self.earlier.retain(|s| !s.order.contains(&skater));
        self.changes += u64::from(self.earlier.len() < before);
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
        self.changes += 1;
    }
}

/// Where in `order` the one at place `at` of `old` stands, or else the first
/// that came after.
fn place_in(order: &[SkaterId], old: &[SkaterId], at: usize) -> usize {
    let n = old.len();
    (0..n)
        .map(|i| old[(at + i) % n])
        .find_map(|s| order.iter().position(|o| *o == s))
        .unwrap_or(0)
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
        assert_eq!(q.current(), Some(A), "the one after who is gone");
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
    fn a_kept_queue_goes_on_where_it_stood_with_its_way_back() {
        let mut q = abc();
        q.passed();
        q.unknown();
        let (now, earlier) = q.states();
        let mut back = Queue::kept(now, earlier, |_| true);
        assert_eq!(back.states(), q.states());
        while q.undo() {
            assert!(back.undo());
            assert_eq!(back.now, q.now);
        }
        assert!(!back.undo());
    }

    #[test]
    fn who_is_gone_is_not_in_a_kept_queue() {
        let mut q = Queue::new(vec![A, C]);
        q.passed();
        q.set_order(vec![A, B, C]);
        q.set_current(B);
        let (now, earlier) = q.states();
        let mut back = Queue::kept(now, earlier, |s| s != B);
        assert_eq!((back.order(), back.current()), (&[A, C][..], Some(C)));
        // Of the way back what does not name B is left.
        assert_eq!(back.states().1.len(), 2);
        while back.undo() {
            assert_eq!(back.order(), [A, C]);
        }
        let none = Queue::kept(now, earlier, |_| false);
        assert_eq!((none.current(), none.can_undo()), (None, false));
    }

    #[test]
    fn a_kept_queue_that_cannot_be_is_made_one_that_can() {
        let odd = Places {
            order: vec![A, B, A],
            at: 700,
            nobody: false,
        };
        let many = vec![odd.clone(); STEPS_KEPT + 9];
        let q = Queue::kept(&odd, &many, |_| true);
        assert_eq!((q.order(), q.current()), (&[A, B][..], Some(B)));
        assert_eq!(q.earlier.len(), STEPS_KEPT);
    }

    #[test]
    fn every_change_is_counted_and_nothing_else() {
        let mut q = abc();
        let mut last = q.changes();
        let mut changed = |q: &Queue| std::mem::replace(&mut last, q.changes()) != q.changes();
        q.passed();
        assert!(changed(&q));
        q.skip();
        assert!(changed(&q));
        q.undo();
        assert!(changed(&q));
        q.set_order(vec![A, B, C]);
        assert!(!changed(&q));
        q.set_order(vec![B, C]);
        assert!(changed(&q));
        // A is only in the way back.
        q.forget(A);
        assert!(changed(&q));
        assert!(!changed(&q));
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
