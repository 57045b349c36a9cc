//! The question put to the salon's calendar, and the shape of its answer.

use super::segment::{Chain, PlaceKind, Qualification, Span};

/// The candidate starts: `first_ms`, then every `step_ms` of elapsed time, all before `until_ms`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Grid {
    /// Local midnight of the first day.
    pub first_ms: i64,
    /// Local midnight after the last day.
    pub until_ms: i64,
    /// The step, more than 0 (less counts as 1).
    pub step_ms: i64,
}

impl Grid {
    /// How many candidate starts there are.
    #[must_use]
    pub fn starts(self) -> usize {
        self.index_from(self.until_ms)
    }

    /// The start with this index.
    #[must_use]
    pub fn at_ms(self, index: usize) -> i64 {
        self.first_ms + index as i64 * self.step_ms.max(1)
    }

    /// The index of the first start at `ms` or after it (0 when `ms` lies before the grid).
    pub(super) fn index_from(self, ms: i64) -> usize {
        let step_ms = self.step_ms.max(1);
        let past_ms = ms.saturating_sub(self.first_ms).max(0);
        (past_ms / step_ms + i64::from(past_ms % step_ms != 0)) as usize
    }
}

/// Somebody of the team, as the search sees them.
#[derive(Clone, Debug, Default)]
pub struct Worker {
    /// What they are trusted to do.
    pub may: Vec<Qualification>,
    /// When they work, in any order; breaks are the gaps. Touching spans count as one.
    pub hours: Vec<Span>,
    /// What they are booked for already: hands-on segments only.
    pub taken: Vec<Span>,
}

/// All places of one kind.
#[derive(Clone, Debug)]
pub struct PlaceStock {
    /// Which kind.
    pub kind: PlaceKind,
    /// How many the salon has.
    pub count: usize,
    /// One span for each place that is occupied.
    pub taken: Vec<Span>,
}

/// The visit before, at which the patch test is placed. It needs hands and no counted place.
#[derive(Clone, Debug)]
pub struct PatchVisit {
    /// How long the visit takes, more than 0.
    pub length_ms: i64,
    /// How long before the service it must have ended, elapsed, 0 or more.
    pub least_before_ms: i64,
    /// Who may place it; `None` means anybody.
    pub may: Option<Qualification>,
}

/// One question to the salon's calendar.
#[derive(Clone, Debug)]
pub struct Search<'a> {
    /// Where to look.
    pub grid: Grid,
    /// The team, in the order in which free people are named.
    pub people: &'a [Worker],
    /// Every kind of place once. A kind asked for and not listed is one the salon has none of.
    pub places: &'a [PlaceStock],
    /// The service.
    pub chain: &'a Chain,
    /// The visit to be chosen with each opening.
    pub patch_test: Option<&'a PatchVisit>,
    /// No opening before this: the due date's early edge, a wait between chemistries. The patch-test
    /// visit may lie before it.
    pub not_before_ms: Option<i64>,
    /// Openings nearest to this come first.
    pub wanted_ms: i64,
    /// At most so many openings.
    pub most: usize,
}

/// A person named for a stretch of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Named {
    /// Index into [`Search::people`].
    pub person: usize,
    /// When their hands are needed.
    pub span: Span,
}

/// A start at which the whole chain fits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Opening {
    /// From the first segment's start to the last one's end.
    pub span: Span,
    /// Who does each hands-on segment: (segment, who and when), in order of segments.
    pub hands: Vec<(usize, Named)>,
    /// The patch-test visit, when one was asked for.
    pub patch_test: Option<Named>,
}

/// The answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Openings {
    /// Ordered by |start − wanted|, then start; at most [`Search::most`].
    pub openings: Vec<Opening>,
    /// How many candidate starts were looked at.
    pub searched_starts: usize,
}
