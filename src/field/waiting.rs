//! What a search through a tree has still to look at.

/// Up to N branches, each with how soon it is looked at. In place, for a search asks no memory of the system.
pub(super) struct Waiting<T, const N: usize> {
    branches: [(f64, T); N],
    count: usize,
}

impl<T: Copy, const N: usize> Waiting<T, N> {
    /// None; `none` stands where there is none.
    #[inline]
    pub fn new(none: T) -> Self {
        Waiting {
            branches: [(0.0, none); N],
            count: 0,
        }
    }

    /// How many there are.
    #[inline]
    pub fn count(&self) -> usize {
        self.count
    }

    /// Adds a branch that is looked at before all that wait, but for those above the first `mark` whose number is less.
    ///
    /// # Panics
    /// If there are N already.
    #[inline]
    pub fn add(&mut self, mark: usize, number: f64, branch: T) {
        let mut at = self.count;
        while at > mark && self.branches[at - 1].0 < number {
            self.branches[at] = self.branches[at - 1];
            at -= 1;
        }
        self.branches[at] = (number, branch);
        self.count += 1;
    }

    /// Takes the one that is looked at next.
    #[inline]
    pub fn next(&mut self) -> Option<(f64, T)> {
        self.count = self.count.checked_sub(1)?;
        Some(self.branches[self.count])
    }
}

/// The four squares that make up square (i, j) of the level above theirs.
#[inline]
pub(super) fn quarters(i: u32, j: u32) -> [(u32, u32); 4] {
    [
        (2 * i, 2 * j),
        (2 * i + 1, 2 * j),
        (2 * i, 2 * j + 1),
        (2 * i + 1, 2 * j + 1),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_those_above_the_mark_the_least_comes_first_and_of_equals_the_last() {
        let mut waiting = Waiting::<char, 6>::new(' ');
        waiting.add(0, 7.0, 'a');
        waiting.add(0, 1.0, 'b');
        let mark = waiting.count();
        for (number, branch) in [(5.0, 'c'), (9.0, 'd'), (5.0, 'e'), (2.0, 'f')] {
            waiting.add(mark, number, branch);
        }
        let order: String = std::iter::from_fn(|| waiting.next()).map(|w| w.1).collect();
        assert_eq!(order, "fecdba");
    }
}
