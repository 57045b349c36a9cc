//! The salon's own prior: empirical Bayes over its clients.

use super::rate::{Observation, Rate};

/// Fewer clients than this say too little about the spread between people.
const LEAST_CLIENTS: usize = 8;
/// The between-client sd is looked for in this range, mm a day.
const SD_RANGE: (f64, f64) = (1e-3, 0.3);

/// Mean and between-client sd that maximise the marginal likelihood of all clients' intervals;
/// `None` with too few clients. A client without observations counts for nothing.
pub fn learn_prior(clients: &[Vec<Observation>]) -> Option<Rate> {
    let heads: Vec<(f64, f64)> = clients.iter().filter_map(|seen| own_rate(seen)).collect();
    if heads.len() < LEAST_CLIENTS {
        return None;
    }
    // The likelihood in ln(sd) can have a shoulder at 0: a grid finds the peak's neighbourhood, then thirds narrow it.
    let (low, high) = (SD_RANGE.0.ln(), SD_RANGE.1.ln());
    let steps = 60;
    let step = (high - low) / f64::from(steps);
    let worth = |ln_sd: f64| profile(&heads, ln_sd.exp()).1;
    let best = (0..=steps)
        .map(|i| low + f64::from(i) * step)
        .max_by(|a, b| worth(*a).total_cmp(&worth(*b)))
        .unwrap_or(low);
    let (mut from, mut to) = ((best - step).max(low), (best + step).min(high));
    for _ in 0..100 {
        let third = (to - from) / 3.0;
        if worth(from + third) < worth(to - third) { from += third } else { to -= third }
    }
    let sd = ((from + to) / 2.0).exp();
    Some(Rate { mean: profile(&heads, sd).0, sd })
}

/// One client's own rate and the variance of that estimate.
fn own_rate(seen: &[Observation]) -> Option<(f64, f64)> {
    let weight: f64 = seen.iter().map(|o| (o.days / o.sd_mm) * (o.days / o.sd_mm)).sum();
    let told: f64 = seen.iter().map(|o| o.days * o.mm / (o.sd_mm * o.sd_mm)).sum();
    (weight > 0.0).then(|| (told / weight, 1.0 / weight))
}

/// Best mean for a between-client sd, and the log likelihood there (without its constant).
fn profile(heads: &[(f64, f64)], sd: f64) -> (f64, f64) {
    let weight = |variance: f64| 1.0 / (sd * sd + variance);
    let all: f64 = heads.iter().map(|(_, variance)| weight(*variance)).sum();
    let mean = heads.iter().map(|(rate, variance)| rate * weight(*variance)).sum::<f64>() / all;
    let log = |(rate, variance): &(f64, f64)| {
        let w = weight(*variance);
        0.5 * (w.ln() - w * (rate - mean) * (rate - mean))
    };
    (mean, heads.iter().map(log).sum())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn client(rate: f64, sd_mm: f64) -> Vec<Observation> {
        vec![Observation { days: 90.0, mm: rate * 90.0, sd_mm }]
    }

    #[test]
    fn a_handful_of_clients_teach_nothing() {
        assert_eq!(learn_prior(&vec![client(0.3, 2.0); 7]), None);
        assert_eq!(learn_prior(&vec![Vec::new(); 50]), None);
    }

    /// With nearly exact readings the answer is the mean and the (maximum-likelihood) sd of the rates themselves.
    #[test]
    fn exact_readings_give_the_plain_mean_and_sd() {
        let rates = [0.20, 0.24, 0.26, 0.28, 0.30, 0.31, 0.35, 0.38, 0.41, 0.27];
        let clients: Vec<_> = rates.iter().map(|rate| client(*rate, 1e-4)).collect();
        let mean = rates.iter().sum::<f64>() / 10.0;
        let sd = (rates.iter().map(|r| (r - mean) * (r - mean)).sum::<f64>() / 10.0).sqrt();
        let learned = learn_prior(&clients).unwrap();
        assert!((learned.mean - mean).abs() < 1e-6);
        assert!((learned.sd - sd).abs() < 1e-6);
    }

    /// At the peak every small step is downhill: checked on the likelihood written out again, not on `profile`.
    #[test]
    fn the_answer_is_a_peak() {
        let clients: Vec<_> =
            (0..40).map(|i| client(0.2 + 0.005 * f64::from(i), 1.0 + f64::from(i % 5))).collect();
        let likelihood = |mean: f64, sd: f64| -> f64 {
            let one = |o: &Observation| {
                let variance = (sd * o.days) * (sd * o.days) + o.sd_mm * o.sd_mm;
                -0.5 * (variance.ln() + (o.mm - mean * o.days) * (o.mm - mean * o.days) / variance)
            };
            clients.iter().flatten().map(one).sum()
        };
        let Rate { mean, sd } = learn_prior(&clients).unwrap();
        let peak = likelihood(mean, sd);
        for (dm, ds) in [(1e-3, 0.0), (-1e-3, 0.0), (0.0, 1e-3), (0.0, -1e-3)] {
            assert!(likelihood(mean + dm, sd + ds) < peak);
        }
    }
}
