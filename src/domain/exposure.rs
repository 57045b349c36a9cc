//! How long each quadrant has had product on it: from first touch to rinse.

use std::collections::BTreeMap;
use time::OffsetDateTime;

/// What happened to a quadrant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Touch {
    /// Product first touched it.
    Start,
    /// It was rinsed.
    Rinse,
}

/// Why a row of touches cannot be folded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ExposureRefusal {
    /// Before the touch in front of it.
    OutOfOrder,
    /// After now.
    InTheFuture,
    /// Started a second time.
    SecondStart,
    /// Rinsed without a running clock.
    RinseWithoutStart,
}

/// One quadrant's clock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clock<Q> {
    /// Whose.
    pub quadrant: Q,
    /// First touch.
    pub from: OffsetDateTime,
    /// Its rinse, if it was rinsed.
    pub to: Option<OffsetDateTime>,
}

impl<Q> Clock<Q> {
    /// Minutes from first touch to rinse, or to now.
    pub fn minutes(&self, now: OffsetDateTime) -> f64 {
        (self.to.unwrap_or(now) - self.from).whole_nanoseconds() as f64 / 60e9
    }
}

/// Longest, shortest and their difference over all quadrants, open ones to now, minutes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Minutes {
    /// The quadrant that has had it longest.
    pub longest: f64,
    /// The one that has had it shortest.
    pub shortest: f64,
    /// Between them.
    pub spread: f64,
}

/// Folds touches (instant, quadrant, what) into clocks, in the order of first start.
///
/// # Errors
/// The index of the offending touch, and why.
pub fn fold<Q: Copy + Ord>(
    touches: &[(OffsetDateTime, Q, Touch)],
    now: OffsetDateTime,
) -> Result<Vec<Clock<Q>>, (usize, ExposureRefusal)> {
    let mut clocks: Vec<Clock<Q>> = Vec::new();
    let mut known: BTreeMap<Q, usize> = BTreeMap::new();
    let mut last = None;
    for (index, &(at, quadrant, touch)) in touches.iter().enumerate() {
        let refuse = |why| Err((index, why));
        if last.is_some_and(|last| at < last) {
            return refuse(ExposureRefusal::OutOfOrder);
        }
        if at > now {
            return refuse(ExposureRefusal::InTheFuture);
        }
        last = Some(at);
        match (touch, known.get(&quadrant).map(|at| &mut clocks[*at])) {
            (Touch::Start, None) => {
                known.insert(quadrant, clocks.len());
                clocks.push(Clock { quadrant, from: at, to: None });
            }
            (Touch::Start, Some(_)) => return refuse(ExposureRefusal::SecondStart),
            (Touch::Rinse, Some(clock)) if clock.to.is_none() => clock.to = Some(at),
            (Touch::Rinse, _) => return refuse(ExposureRefusal::RinseWithoutStart),
        }
    }
    Ok(clocks)
}

/// Longest, shortest and spread; `None` before the first touch.
pub fn minutes<Q>(clocks: &[Clock<Q>], now: OffsetDateTime) -> Option<Minutes> {
    let all = clocks.iter().map(|clock| clock.minutes(now));
    let longest = all.clone().max_by(f64::total_cmp)?;
    let shortest = all.min_by(f64::total_cmp)?;
    Some(Minutes { longest, shortest, spread: longest - shortest })
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    const TEN: OffsetDateTime = datetime!(2025-04-10 10:00 UTC);
    const NOW: OffsetDateTime = datetime!(2025-04-10 10:20 UTC);

    #[test]
    fn the_first_quadrant_is_ahead_of_the_last() {
        let half = datetime!(2025-04-10 10:04:30 UTC);
        let touches = [(TEN, 'a', Touch::Start), (half, 'b', Touch::Start), (NOW, 'b', Touch::Rinse)];
        let clocks = fold(&touches, NOW).unwrap();
        assert_eq!(minutes(&clocks, NOW), Some(Minutes { longest: 20.0, shortest: 15.5, spread: 4.5 }));
        assert_eq!(minutes::<char>(&[], NOW), None);
    }

    #[test]
    fn what_cannot_have_happened_is_refused_with_its_place() {
        use ExposureRefusal::*;
        let start = (TEN, 'a', Touch::Start);
        let rinse = (NOW, 'a', Touch::Rinse);
        assert_eq!(fold(&[rinse], NOW), Err((0, RinseWithoutStart)));
        assert_eq!(fold(&[start, start], NOW), Err((1, SecondStart)));
        assert_eq!(fold(&[start, rinse, rinse], NOW), Err((2, RinseWithoutStart)));
        assert_eq!(fold(&[start, rinse, (NOW, 'a', Touch::Start)], NOW), Err((2, SecondStart)));
        assert_eq!(fold(&[(NOW, 'a', Touch::Start), (TEN, 'b', Touch::Start)], NOW), Err((1, OutOfOrder)));
        assert_eq!(fold(&[rinse], TEN), Err((0, InTheFuture)));
    }
}
