//! The salon's own prior: empirical Bayes over its clients.
//!
//! Client i's rate is drawn from N(μ, σ²), each interval reads rate·Δ ± s. Marginally a client's readings are normal with
//! mean μΔ and covariance σ²·ΔΔᵀ + diag(s²). Of the readings only the client's own rate Σ(Δm/s²) ÷ Σ(Δ²/s²) and its
//! variance v = 1 ÷ Σ(Δ²/s²) bear on μ and σ: r ~ N(μ, σ² + v).

use super::rate::{Observation, Rate};

/// The spread is looked for from a fiftieth of the published one …
const NARROWEST: f64 = 1.0 / 50.0;
/// … to six times it: beyond either it says nothing of people.
const WIDEST: f64 = 6.0;
/// Steps of the grid, evenly on a log scale.
const STEPS: u32 = 60;
/// Halvings of the bracket: to the last bit of the spread.
const HALVINGS: u32 = 60;

/// Mean and between-client sd that maximise the marginal likelihood of all clients' intervals, looked for around the
/// published prior's spread; `None` when fewer than two clients were measured. One without intervals counts for nothing.
pub fn learn_prior(clients: &[Vec<Observation>], start: Rate) -> Option<Rate> {
    let heads: Vec<(f64, f64)> = clients.iter().filter_map(|seen| own_rate(seen)).collect();
    if heads.len() < 2 {
        return None;
    }
    // The likelihood can have a shoulder at 0: a grid finds the peak's neighbourhood, then its slope leads to the top.
    let (low, high) = ((start.sd * NARROWEST).ln(), (start.sd * WIDEST).ln());
    let step = (high - low) / f64::from(STEPS);
    let at = |i: u32| low + f64::from(i) * step;
    let worth = |ln_sd: f64| profile(&heads, ln_sd.exp()).log;
    let mut best = (low, worth(low));
    for ln_sd in (1..=STEPS).map(at) {
        let here = worth(ln_sd);
        if here > best.1 {
            best = (ln_sd, here);
        }
    }
    let (mut from, mut to) = ((best.0 - step).max(low), (best.0 + step).min(high));
    for _ in 0..HALVINGS {
        let middle = (from + to) / 2.0;
        if profile(&heads, middle.exp()).rises { from = middle } else { to = middle }
    }
    let sd = ((from + to) / 2.0).exp();
    Some(Rate { mean: profile(&heads, sd).mean, sd })
}

/// Log of the marginal likelihood of clients' intervals under a prior: each interval foretold from the ones before it,
/// which multiplies out to the joint density.
pub fn log_likelihood(prior: Rate, clients: &[Vec<Observation>]) -> f64 {
    clients.iter().map(|seen| log_likelihood_of(prior, seen)).sum()
}

/// The same of one client.
pub(super) fn log_likelihood_of(prior: Rate, seen: &[Observation]) -> f64 {
    let mut belief = prior;
    let mut log = 0.0;
    for observation in seen {
        log += belief.log_density(observation);
        belief = belief.after(observation);
    }
    log
}

/// One client's own rate and the variance of that estimate.
fn own_rate(seen: &[Observation]) -> Option<(f64, f64)> {
    let weight: f64 = seen.iter().map(|o| (o.days / o.sd_mm) * (o.days / o.sd_mm)).sum();
    let told: f64 = seen.iter().map(|o| o.days * o.mm / (o.sd_mm * o.sd_mm)).sum();
    (weight > 0.0).then(|| (told / weight, 1.0 / weight))
}

/// The likelihood along its ridge: for one spread, at the best mean.
struct Profile {
    mean: f64,
    /// Log likelihood, less a constant.
    log: f64,
    /// Whether a larger spread is likelier.
    rises: bool,
}

fn profile(heads: &[(f64, f64)], sd: f64) -> Profile {
    let weight = |variance: f64| 1.0 / (sd * sd + variance);
    let (mut all, mut told) = (0.0, 0.0);
    for (rate, variance) in heads {
        let w = weight(*variance);
        all += w;
        told += rate * w;
    }
    let mean = told / all;
    let (mut log, mut slope) = (0.0, 0.0);
    for (rate, variance) in heads {
        let (w, off) = (weight(*variance), rate - mean);
        log += 0.5 * (w.ln() - w * off * off);
        // With the mean at its best only the variance moves the likelihood: d/dσ² = ½ Σ (w²·off² − w).
        slope += w * (w * off * off - 1.0);
    }
    Profile { mean, log, rises: slope > 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    const START: Rate = Rate { mean: 0.28, sd: 0.05 };

    fn client(rate: f64, sd_mm: f64) -> Vec<Observation> {
        vec![Observation { days: 90.0, mm: rate * 90.0, sd_mm }]
    }

    #[test]
    fn one_client_says_nothing_of_the_spread_between_clients() {
        assert_eq!(learn_prior(&[client(0.3, 2.0)], START), None);
        assert_eq!(learn_prior(&vec![Vec::new(); 50], START), None);
    }

    /// With nearly exact readings the answer is the mean and the (maximum-likelihood) sd of the rates themselves.
    #[test]
    fn exact_readings_give_the_plain_mean_and_sd() {
        let rates = [0.20, 0.24, 0.26, 0.28, 0.30, 0.31, 0.35, 0.38, 0.41, 0.27];
        let clients: Vec<_> = rates.iter().map(|rate| client(*rate, 1e-4)).collect();
        let mean = rates.iter().sum::<f64>() / 10.0;
        let sd = (rates.iter().map(|r| (r - mean) * (r - mean)).sum::<f64>() / 10.0).sqrt();
        let learned = learn_prior(&clients, START).unwrap();
        assert!((learned.mean - mean).abs() < 1e-9);
        assert!((learned.sd - sd).abs() < 1e-9);
    }

    /// Clients who differ no more than the ruler does: the narrowest spread that is looked for.
    #[test]
    fn alike_clients_give_the_narrowest_spread() {
        let learned = learn_prior(&vec![client(0.3, 2.0); 40], START).unwrap();
        assert!((learned.sd - START.sd * NARROWEST).abs() < 1e-12 && (learned.mean - 0.3).abs() < 1e-12);
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
        let Rate { mean, sd } = learn_prior(&clients, START).unwrap();
        let peak = likelihood(mean, sd);
        for (dm, ds) in [(1e-4, 0.0), (-1e-4, 0.0), (0.0, 1e-4), (0.0, -1e-4)] {
            assert!(likelihood(mean + dm, sd + ds) < peak);
        }
    }
}
