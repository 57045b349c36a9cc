//! How far a demarcation may lie from where it is drawn.

use time::{Date, Duration};

/// Half-width of an interval that holds 19 times in 20, in standard deviations.
pub const WIDE: f64 = 1.96;

/// Variance of a place somebody named by number, mm² (sd 3 mm; 2-domain.md, Strand).
pub const NUMERIC_PLACE_MM2: f64 = 9.0;

/// Doubt of one demarcation: sd² = (rate sd · days)² + laid + Σ measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// The day its place was last known; days of growth count from it.
    pub since: Date,
    /// Variance it was laid with, mm².
    pub laid_mm2: f64,
    /// Variances of the measurements its place hangs from, each with the number of that measurement, mm².
    pub measured: Vec<(u32, f64)>,
}

impl Doubt {
    /// A demarcation laid on a day with `laid_mm2`, nothing grown or measured since.
    pub fn laid(since: Date, laid_mm2: f64) -> Self {
        Doubt { since, laid_mm2, measured: Vec::new() }
    }

    /// Standard deviation on a day, mm, when the rate's own is `rate_sd` mm a day.
    pub fn sd_mm(&self, on: Date, rate_sd: f64) -> f64 {
        let grown = rate_sd * (on - self.since).whole_days() as f64;
        let measured: f64 = self.measured.iter().map(|(_, mm2)| mm2).sum();
        (grown * grown + self.laid_mm2 + measured).sqrt()
    }

    /// This becomes the demarcation measured on a day; the old doubt is given back.
    pub(super) fn become_measured(&mut self, on: Date, number: u32, variance_mm2: f64) -> Doubt {
        std::mem::replace(self, Doubt { since: on, laid_mm2: 0.0, measured: vec![(number, variance_mm2)] })
    }

    /// A demarcation behind the one measured on a day: what it shared with that one's old doubt is known anew.
    /// Its days become its own less the other's, at least 0.
    pub(super) fn hang_from(&mut self, first_before: &Doubt, on: Date, number: u32, variance_mm2: f64) {
        let earlier = (first_before.since - self.since).max(Duration::ZERO);
        // Both days lie before `on`, so no day before the strand's first is reached.
        self.since = on - earlier;
        self.measured.retain(|(known, _)| first_before.measured.iter().all(|(shared, _)| shared != known));
        self.measured.push((number, variance_mm2));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    #[test]
    fn variances_add() {
        let since = date!(2025 - 01 - 01);
        let doubt = Doubt { since, laid_mm2: 9.0, measured: vec![(1, 4.0), (2, 12.0)] };
        assert_eq!(doubt.sd_mm(since + Duration::days(80), 0.05), (16.0_f64 + 9.0 + 4.0 + 12.0).sqrt());
    }

    #[test]
    fn a_measurement_replaces_what_was_shared_and_keeps_what_was_laid() {
        let on = date!(2025 - 06 - 01);
        let ago = |days: i64| on - Duration::days(days);
        let mut first = Doubt { since: ago(60), laid_mm2: 1.0, measured: vec![(1, 4.0)] };
        let mut behind = Doubt { since: ago(100), laid_mm2: 9.0, measured: vec![(0, 2.0), (1, 4.0)] };
        let mut younger = Doubt::laid(ago(10), 9.0);
        let old = first.become_measured(on, 2, 16.0);
        behind.hang_from(&old, on, 2, 16.0);
        younger.hang_from(&old, on, 2, 16.0);
        assert_eq!(first, Doubt { since: on, laid_mm2: 0.0, measured: vec![(2, 16.0)] });
        assert_eq!(behind, Doubt { since: ago(40), laid_mm2: 9.0, measured: vec![(0, 2.0), (2, 16.0)] });
        assert_eq!(younger, Doubt { since: on, laid_mm2: 9.0, measured: vec![(2, 16.0)] });
    }
}
