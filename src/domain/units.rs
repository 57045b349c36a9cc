//! Units the trade mixes: peroxide volumes beside percent. Inches beside millimetres are in `length`.

/// Two places on a hair closer than this are one place: far below what a ruler shows, far above what adding up
/// days of growth in f64 loses.
pub const SAME_PLACE_MM: f64 = 1e-9;

/// Hydrogen peroxide "volume" as percent w/w by the trade's table: 10 is 3 %, 20 is 6, 30 is 9, 40 is 12.
pub fn peroxide_percent(volume: f64) -> f64 {
    volume * 3.0 / 10.0
}

/// Percent after mixing `grams` of `percent` with `other_grams` that hold none of it (mass balance); `None` when
/// nothing is mixed.
pub fn diluted_percent(percent: f64, grams: f64, other_grams: f64) -> Option<f64> {
    let all = grams + other_grams;
    (all > 0.0).then(|| percent * grams / all)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Trade table of volumes (2-domain.md, Chemistry rules and limits).
    #[test]
    fn volumes_are_the_trade_table() {
        let table = [(10.0, 3.0), (20.0, 6.0), (30.0, 9.0), (40.0, 12.0)];
        table.iter().for_each(|&(volume, percent)| assert_eq!(peroxide_percent(volume), percent));
    }

    #[test]
    fn diluting_keeps_the_mass() {
        assert_eq!(diluted_percent(12.0, 50.0, 50.0), Some(6.0));
        assert_eq!(diluted_percent(12.0, 0.0, 0.0), None);
    }
}
