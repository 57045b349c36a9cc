//! How far a demarcation may lie from where it is drawn.

/// Half-width of an interval that holds 19 times in 20, in standard deviations.
pub const WIDE: f64 = 1.96;

/// Variance of a place somebody named by number, mm² (sd 3 mm; 2-domain.md, Strand).
pub const NUMERIC_PLACE_MM2: f64 = 9.0;

/// Doubt of one demarcation: sd² = (rate sd · days)² + laid + Σ measured.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Doubt {
    /// Days of growth since its place was last known.
    pub days: f64,
    /// Variance it was laid with, mm².
    pub laid_mm2: f64,
    /// Variances of the measurements its place hangs from, each with the number of that measurement, mm².
    pub measured: Vec<(u32, f64)>,
}

impl Doubt {
    /// A demarcation laid with `laid_mm2`, nothing grown or measured since.
    pub fn laid(laid_mm2: f64) -> Self {
        Doubt { laid_mm2, ..Doubt::default() }
    }

    /// Standard deviation, mm, when the rate's own is `rate_sd` mm a day.
    pub fn sd_mm(&self, rate_sd: f64) -> f64 {
        let grown = rate_sd * self.days;
        let measured: f64 = self.measured.iter().map(|(_, mm2)| mm2).sum();
        (grown * grown + self.laid_mm2 + measured).sqrt()
    }

    /// This becomes the demarcation just measured; the old doubt is given back.
    pub(super) fn become_measured(&mut self, number: u32, variance_mm2: f64) -> Doubt {
        std::mem::replace(self, Doubt { days: 0.0, laid_mm2: 0.0, measured: vec![(number, variance_mm2)] })
    }

    /// A demarcation behind the measured one: what it shared with that one's old doubt is known anew.
    pub(super) fn hang_from(&mut self, first_before: &Doubt, number: u32, variance_mm2: f64) {
        self.days = (self.days - first_before.days).max(0.0);
        self.measured.retain(|(known, _)| first_before.measured.iter().all(|(shared, _)| shared != known));
        self.measured.push((number, variance_mm2));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn variances_add() {
        let doubt = Doubt { days: 80.0, laid_mm2: 9.0, measured: vec![(1, 4.0), (2, 12.0)] };
        assert_eq!(doubt.sd_mm(0.05), (16.0_f64 + 9.0 + 4.0 + 12.0).sqrt());
    }

    #[test]
    fn a_measurement_replaces_what_was_shared_and_keeps_what_was_laid() {
        let mut first = Doubt { days: 60.0, laid_mm2: 1.0, measured: vec![(1, 4.0)] };
        let mut behind = Doubt { days: 100.0, laid_mm2: 9.0, measured: vec![(0, 2.0), (1, 4.0)] };
        let old = first.become_measured(2, 16.0);
        behind.hang_from(&old, 2, 16.0);
        assert_eq!(first, Doubt { days: 0.0, laid_mm2: 0.0, measured: vec![(2, 16.0)] });
        assert_eq!(behind, Doubt { days: 40.0, laid_mm2: 9.0, measured: vec![(0, 2.0), (2, 16.0)] });
    }
}
