//! What must hold of growth, whatever was measured.

use super::learn::log_likelihood;
use super::*;
use proptest::collection::vec;
use proptest::prelude::*;
use time::macros::date;

fn prior() -> impl Strategy<Value = Rate> {
    (0.05..0.6f64, 0.005..0.2f64).prop_map(|(mean, sd)| Rate { mean, sd })
}

fn observation() -> impl Strategy<Value = Observation> {
    (1.0..400.0f64, 0.1..150.0f64, 0.3..8.0f64).prop_map(|(days, mm, sd_mm)| Observation { days, mm, sd_mm })
}

fn seen() -> impl Strategy<Value = Vec<Observation>> {
    vec(observation(), 0..8)
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs()).max(1e-9)
}

/// Open-ended is later than any day.
fn due(rate: Rate, target_mm: f64) -> [f64; 3] {
    [0.1, 0.5, 0.9].map(|p| rate.due_days(target_mm, p).unwrap_or(f64::INFINITY))
}

proptest! {
    #[test]
    fn early_never_after_middle_never_after_late(
        prior in prior(), seen in seen(), target_mm in 1.0..80.0f64, least_weeks in 0..30u16,
    ) {
        let rate = prior.after_all(&seen);
        let [early, middle, late] = due(rate, target_mm);
        prop_assert!(early <= middle && middle <= late);
        let asked = Retouch { target_mm, least_weeks, latest_weeks: 40 };
        let window = asked.window(rate, date!(2026 - 02 - 26));
        let days = [window.early, window.middle, window.late].map(|d| d.unwrap_or(time::Date::MAX));
        prop_assert!(window.not_before <= days[0] && days[0] <= days[1] && days[1] <= days[2]);
    }

    #[test]
    fn waiting_never_makes_it_less_likely(
        prior in prior(), seen in seen(), target_mm in 1.0..80.0f64, days in 0.0..300.0f64, more in 0.0..100.0f64,
        least_weeks in 0..30u16,
    ) {
        let rate = prior.after_all(&seen);
        prop_assert!(rate.chance(target_mm, days + more) >= rate.chance(target_mm, days));
        let asked = Retouch { target_mm, least_weeks, latest_weeks: 40 };
        prop_assert!(asked.chance(rate, days + more) >= asked.chance(rate, days));
        prop_assert!((0.0..=1.0).contains(&asked.chance(rate, days)));
    }

    #[test]
    fn every_observation_narrows_and_their_order_says_nothing(prior in prior(), seen in seen(), more in observation()) {
        let mut belief = prior;
        for observation in &seen {
            let next = belief.after(observation);
            prop_assert!(next.sd <= belief.sd);
            belief = next;
        }
        prop_assert!(belief.after(&more).sd <= belief.sd);
        let backwards: Vec<_> = seen.iter().rev().copied().collect();
        let other = prior.after_all(&backwards);
        prop_assert!(near(belief.mean, other.mean) && near(belief.sd, other.sd));
    }

    /// Inches for millimetres, weeks for days: the same answers in other units.
    #[test]
    fn units_of_length_and_time_scale_the_answers(
        prior in prior(), seen in seen(), target_mm in 1.0..80.0f64, days in 1.0..300.0f64, k in 0.01..30.0f64,
        t in 0.01..30.0f64,
    ) {
        let scaled = |o: &Observation| Observation { days: o.days * t, mm: o.mm * k, sd_mm: o.sd_mm * k };
        let other = Rate { mean: prior.mean * k / t, sd: prior.sd * k / t };
        let (rate, rate2) = (prior.after_all(&seen), other.after_all(&seen.iter().map(scaled).collect::<Vec<_>>()));
        prop_assert!(near(rate.mean * k / t, rate2.mean) && near(rate.sd * k / t, rate2.sd));
        prop_assert!((rate.chance(target_mm, days) - rate2.chance(target_mm * k, days * t)).abs() < 1e-9);
        for p in [0.1, 0.5] {
            // Near the open end a rounding decides between very long and never.
            if let (Some(a), Some(b)) = (rate.due_days(target_mm, p), rate2.due_days(target_mm * k, p))
                && a < 1e6
            {
                prop_assert!((a * t - b).abs() <= 1e-6 * b, "{a} {b}");
            }
        }
    }

    #[test]
    fn faster_hair_is_never_due_later(prior in prior(), faster in 0.0..0.3f64, target_mm in 1.0..80.0f64) {
        let fast = Rate { mean: prior.mean + faster, ..prior };
        for (a, b) in due(fast, target_mm).into_iter().zip(due(prior, target_mm)) {
            prop_assert!(a <= b);
        }
    }

    /// The product of one-step densities is the joint density, so the order of a client's intervals says nothing.
    #[test]
    fn the_likelihood_of_a_client_has_no_order(prior in prior(), seen in seen()) {
        let backwards: Vec<_> = seen.iter().rev().copied().collect();
        let (a, b) = (log_likelihood(prior, &[seen]), log_likelihood(prior, &[backwards]));
        prop_assert!((a - b).abs() <= 1e-7 * a.abs().max(1.0), "{a} {b}");
    }

    #[test]
    fn a_learned_prior_is_at_least_as_likely_as_the_published_one(
        clients in vec(vec(observation(), 0..4), 2..20), k in 0.1..10.0f64,
    ) {
        let start = Rate { mean: 0.28, sd: 0.05 };
        let Some(learned) = learn_prior(&clients, start) else { return Ok(()) };
        prop_assert!(log_likelihood(learned, &clients) >= log_likelihood(start, &clients) - 1e-6);
        // In another unit of length the same prior.
        let scaled: Vec<Vec<_>> = clients.iter().map(|seen| {
            seen.iter().map(|o| Observation { days: o.days, mm: o.mm * k, sd_mm: o.sd_mm * k }).collect()
        }).collect();
        let other = learn_prior(&scaled, Rate { mean: start.mean * k, sd: start.sd * k }).unwrap();
        prop_assert!((learned.mean * k - other.mean).abs() < 1e-6 * other.mean.abs().max(1e-3));
        prop_assert!((learned.sd * k - other.sd).abs() < 1e-6 * other.sd);
    }
}
