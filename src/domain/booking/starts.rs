//! A set of candidate starts as bits, one for each step of the grid.

/// Which of `len` candidate starts hold. All sets of one search have the same length.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Starts {
    words: Vec<u64>,
    len: usize,
}

impl Starts {
    pub(super) fn empty(len: usize) -> Self {
        Self { words: vec![0; len.div_ceil(64)], len }
    }

    pub(super) fn clear(&mut self) {
        self.words.fill(0);
    }

    /// Adds the starts `from..to`, cut to the grid.
    pub(super) fn add(&mut self, from: usize, to: usize) {
        let to = to.min(self.len);
        if from >= to {
            return;
        }
        let (first, last) = (from / 64, (to - 1) / 64);
        let head = u64::MAX << (from % 64);
        let tail = u64::MAX >> (63 - (to - 1) % 64);
        if first == last {
            self.words[first] |= head & tail;
            return;
        }
        self.words[first] |= head;
        self.words[first + 1..last].fill(u64::MAX);
        self.words[last] |= tail;
    }

    pub(super) fn keep(&mut self, other: &Self) {
        for (word, theirs) in self.words.iter_mut().zip(&other.words) {
            *word &= theirs;
        }
    }

    pub(super) fn join(&mut self, other: &Self) {
        for (word, theirs) in self.words.iter_mut().zip(&other.words) {
            *word |= theirs;
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.words.iter().all(|word| *word == 0)
    }

    /// The first start at `from` or after it.
    pub(super) fn first_from(&self, from: usize) -> Option<usize> {
        let mut at = from / 64;
        let mut word = *self.words.get(at)? & (u64::MAX << (from % 64));
        while word == 0 {
            at += 1;
            word = *self.words.get(at)?;
        }
        Some(at * 64 + word.trailing_zeros() as usize)
    }

    /// The last start before `to`.
    pub(super) fn last_before(&self, to: usize) -> Option<usize> {
        let last = to.min(self.len).checked_sub(1)?;
        let mut at = last / 64;
        let mut word = self.words[at] & (u64::MAX >> (63 - last % 64));
        while word == 0 {
            at = at.checked_sub(1)?;
            word = self.words[at];
        }
        Some(at * 64 + 63 - word.leading_zeros() as usize)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn bits_behave_as_a_set(
            len in 0_usize..300,
            ranges in prop::collection::vec((0_usize..320, 0_usize..320), 0..5),
            at in 0_usize..320,
        ) {
            let mut set = Starts::empty(len);
            for (from, to) in &ranges {
                set.add(*from, *to);
            }
            let has = |i: usize| i < len && ranges.iter().any(|(from, to)| (*from..*to).contains(&i));
            prop_assert_eq!(set.first_from(at), (at..320).find(|i| has(*i)));
            prop_assert_eq!(set.last_before(at), (0..at).rev().find(|i| has(*i)));
            prop_assert_eq!(set.is_empty(), !(0..320).any(has));
        }
    }
}
