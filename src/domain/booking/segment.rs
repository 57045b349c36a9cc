//! What one booking is made of: segments of time, each with its hands and its places.

use std::fmt;

use time::OffsetDateTime;

/// A half-open stretch of time, `[start_ms, end_ms)`, never empty.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Span {
    start_ms: i64,
    end_ms: i64,
}

impl Span {
    /// `None` when nothing lies between the two instants (milliseconds since 1970, UTC).
    #[must_use]
    pub fn new(start_ms: i64, end_ms: i64) -> Option<Self> {
        (start_ms < end_ms).then_some(Self { start_ms, end_ms })
    }

    /// The first millisecond inside.
    #[must_use]
    pub fn start_ms(self) -> i64 {
        self.start_ms
    }

    /// The first millisecond after.
    #[must_use]
    pub fn end_ms(self) -> i64 {
        self.end_ms
    }

    /// Whether the two share any time; touching is not sharing.
    #[must_use]
    pub fn overlaps(self, other: Self) -> bool {
        self.start_ms < other.end_ms && other.start_ms < self.end_ms
    }

    /// Whether all of `other` lies inside.
    #[must_use]
    pub fn covers(self, other: Self) -> bool {
        self.start_ms <= other.start_ms && other.end_ms <= self.end_ms
    }
}

/// An instant as the search counts it: milliseconds since 1970, UTC, the rest of one cut off.
#[must_use]
pub fn ms_of(at: OffsetDateTime) -> i64 {
    at.unix_timestamp() * 1000 + i64::from(at.millisecond())
}

/// What somebody is trusted to do, by its code ("thio", "hydroxide").
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Qualification(pub String);

/// A kind of place, by its code ("chair", "basin", "hood"). Places are counted, not named: which
/// chair it is is settled when the client sits down.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct PlaceKind(pub String);

/// Whose hands a segment needs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hands {
    /// The qualification asked for; `None` means anybody of the team.
    pub may: Option<Qualification>,
    /// Index of an earlier segment the same person must also do.
    pub same_as: Option<usize>,
}

/// A part of a service: so long, these hands (`None`: hands-off), these places. A kind that stands
/// twice in `places` is needed twice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Segment {
    /// How long, in milliseconds, more than 0.
    pub length_ms: i64,
    /// Who is needed; `None` leaves everybody free.
    pub hands: Option<Hands>,
    /// What is occupied meanwhile.
    pub places: Vec<PlaceKind>,
}

/// Why a list of segments is no chain. Each names the segment by its index.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChainFault {
    /// There is no segment at all.
    Empty,
    /// A segment takes no time, or the whole chain takes longer than a year.
    Length(usize),
    /// `same_as` names the segment itself, a later one or one that is not there.
    NotEarlier(usize),
    /// `same_as` names a hands-off segment: there is nobody to be the same as.
    HandsOff(usize),
}

impl fmt::Display for ChainFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => f.write_str(tr!("a service needs at least one segment")),
            Self::Length(_) => {
                f.write_str(tr!("minutes must be more than 0, and a service shorter than a year"))
            }
            Self::NotEarlier(_) => f.write_str(tr!("same_as must name an earlier segment")),
            Self::HandsOff(_) => f.write_str(tr!("same_as names a hands-off segment")),
        }
    }
}

/// A year: no service is longer, and sums of lengths stay far from overflow.
const LONGEST_MS: i64 = 366 * 24 * 3_600_000;

/// A checked list of segments that follow each other without gaps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chain {
    segments: Vec<Segment>,
    /// Where each segment begins, counted from the start of the service.
    offsets_ms: Vec<i64>,
    /// Segments that one person does, by index, in order of first appearance.
    groups: Vec<Vec<usize>>,
}

impl Chain {
    /// Checks the list and works out offsets and who must be the same person.
    ///
    /// # Errors
    /// The first [`ChainFault`] met.
    pub fn new(segments: Vec<Segment>) -> Result<Self, ChainFault> {
        if segments.is_empty() {
            return Err(ChainFault::Empty);
        }
        let mut offsets_ms = Vec::with_capacity(segments.len());
        let mut group_of: Vec<Option<usize>> = Vec::with_capacity(segments.len());
        let mut groups: Vec<Vec<usize>> = Vec::new();
        let mut offset_ms = 0_i64;
        for (index, segment) in segments.iter().enumerate() {
            if segment.length_ms <= 0 || segment.length_ms > LONGEST_MS - offset_ms {
                return Err(ChainFault::Length(index));
            }
            offsets_ms.push(offset_ms);
            offset_ms += segment.length_ms;
            let group = match segment.hands.as_ref().map(|hands| hands.same_as) {
                None => None,
                Some(None) => {
                    groups.push(Vec::new());
                    Some(groups.len() - 1)
                }
                Some(Some(earlier)) => match group_of.get(earlier) {
                    None => return Err(ChainFault::NotEarlier(index)),
                    Some(None) => return Err(ChainFault::HandsOff(index)),
                    Some(&group) => group,
                },
            };
            if let Some(group) = group {
                groups[group].push(index);
            }
            group_of.push(group);
        }
        Ok(Self { segments, offsets_ms, groups })
    }

    /// The segments in order.
    #[must_use]
    pub fn segments(&self) -> &[Segment] {
        &self.segments
    }

    /// From the first segment's start to the last one's end.
    #[must_use]
    pub fn length_ms(&self) -> i64 {
        self.segments.iter().map(|segment| segment.length_ms).sum()
    }

    /// Sets of segments that need one and the same person.
    #[must_use]
    pub fn groups(&self) -> &[Vec<usize>] {
        &self.groups
    }

    /// How far into the service a segment begins.
    #[must_use]
    pub fn offset_ms(&self, segment: usize) -> i64 {
        self.offsets_ms[segment]
    }

    /// When a segment happens if the service starts at `start_ms`.
    #[must_use]
    pub fn span(&self, segment: usize, start_ms: i64) -> Span {
        let from_ms = start_ms + self.offsets_ms[segment];
        Span { start_ms: from_ms, end_ms: from_ms + self.segments[segment].length_ms }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hands(same_as: Option<usize>) -> Segment {
        Segment { length_ms: 60_000, hands: Some(Hands { may: None, same_as }), places: vec![] }
    }

    fn off() -> Segment {
        Segment { length_ms: 120_000, hands: None, places: vec![] }
    }

    #[test]
    fn a_chain_of_same_as_is_one_person() {
        let chain =
            Chain::new(vec![hands(None), off(), hands(Some(0)), hands(None), hands(Some(2))]).unwrap();
        assert_eq!(chain.groups(), [vec![0, 2, 4], vec![3]]);
        assert_eq!(chain.span(3, 1_000), Span::new(241_000, 301_000).unwrap());
        assert_eq!(chain.length_ms(), 360_000);
    }

    #[test]
    fn faulty_chains_are_refused_with_the_segment() {
        assert_eq!(Chain::new(vec![]), Err(ChainFault::Empty));
        assert_eq!(Chain::new(vec![hands(Some(0))]), Err(ChainFault::NotEarlier(0)));
        assert_eq!(Chain::new(vec![hands(Some(1)), hands(None)]), Err(ChainFault::NotEarlier(0)));
        assert_eq!(Chain::new(vec![off(), hands(Some(0))]), Err(ChainFault::HandsOff(1)));
        let nothing = Segment { length_ms: 0, ..off() };
        assert_eq!(Chain::new(vec![off(), nothing]), Err(ChainFault::Length(1)));
        let endless = Segment { length_ms: i64::MAX, ..off() };
        assert_eq!(Chain::new(vec![off(), endless]), Err(ChainFault::Length(1)));
    }

    #[test]
    fn touching_spans_do_not_overlap() {
        let a = Span::new(0, 10).unwrap();
        assert!(!a.overlaps(Span::new(10, 20).unwrap()));
        assert!(a.overlaps(Span::new(9, 20).unwrap()));
        assert_eq!(Span::new(5, 5), None);
    }
}
