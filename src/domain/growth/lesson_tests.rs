//! The lesson on invented salons: what is drawn is known, so what should come out is known.

use super::lesson::{LEAST_CLIENTS, LEAST_SHARE_OF_SPREAD, in_band};
use super::normal::phi_inverse;
use super::*;

/// Int J Dermatol 2005;44 Suppl 1:6-9, tight curl: 280 ± 50 micrometres a day.
const PUBLISHED: Rate = Rate { mean: 0.280, sd: 0.050 };

/// A row of normal draws that is the same every time (the mixing step of SplitMix64, through Φ⁻¹).
struct Draws(u64);

impl Draws {
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        phi_inverse(self.even().max(1e-12))
    }

    /// A client of this salon with one to four intervals, read by ruler (2 mm) or by eye (4 mm).
    fn client(&mut self, salon: Rate) -> Vec<Observation> {
        let rate = salon.mean + salon.sd * self.normal();
        let intervals = 1 + (self.even() * 4.0) as usize;
        (0..intervals)
            .map(|_| {
                let days = (40.0 + 100.0 * self.even()).round();
                let sd_mm = if self.even() < 0.5 { 2.0 } else { 4.0 };
                Observation { days, mm: rate * days + sd_mm * self.normal(), sd_mm }
            })
            .collect()
    }

    fn salon(&mut self, salon: Rate, clients: usize) -> Vec<Vec<Observation>> {
        (0..clients).map(|_| self.client(salon)).collect()
    }
}

#[test]
fn under_thirty_clients_nothing_learned_is_used() {
    let fast = Rate { mean: 0.40, sd: 0.04 };
    let salon = Draws(1).salon(fast, LEAST_CLIENTS);
    let enough = Lesson::learn(PUBLISHED, &salon);
    assert!(enough.used(), "{enough:?}");
    let (mut short, more) = (salon[..LEAST_CLIENTS - 1].to_vec(), vec![Vec::new(); 100]);
    short.extend(more);
    let lesson = Lesson::learn(PUBLISHED, &short);
    assert_eq!((lesson.verdict, lesson.clients), (Use::TooFew, 29), "clients nobody measured do not count");
    assert_eq!(lesson.prior(), PUBLISHED);
    assert!(lesson.why().starts_with("29 clients"));
    assert!(Lesson::learn(PUBLISHED, &[]).why().starts_with("No client"));
}

#[test]
fn a_salon_unlike_the_published_group_is_learned() {
    let own = Rate { mean: 0.34, sd: 0.04 };
    let lesson = Lesson::learn(PUBLISHED, &Draws(2).salon(own, 400));
    let prior = lesson.prior();
    assert!(
        lesson.used() && (prior.mean - own.mean).abs() < 0.01 && (prior.sd - own.sd).abs() < 0.01,
        "{prior:?}"
    );
    let learned = lesson.learned.unwrap();
    assert!(learned.teaching.learned > learned.teaching.published);
}

/// Drawn from the published prior itself there is nothing to gain: sometimes the learned one does worse, and then the
/// published one stays.
#[test]
fn a_learned_prior_that_foretells_worse_is_not_used() {
    let mut draws = Draws(3);
    let (mut worse, mut used) = (0, 0);
    for _ in 0..60 {
        let lesson = Lesson::learn(PUBLISHED, &draws.salon(PUBLISHED, 31));
        let learned = lesson.learned.clone().unwrap();
        if learned.held_back.learned < learned.held_back.published {
            worse += 1;
            assert_eq!((lesson.verdict, lesson.prior()), (Use::Worse, PUBLISHED));
        } else {
            used += 1;
            assert_eq!((lesson.verdict, lesson.prior()), (Use::Learned, learned.prior));
        }
    }
    assert!(worse > 5 && used > 5, "{worse} worse, {used} used");
}

#[test]
fn clients_who_seem_alike_keep_half_the_published_spread() {
    let alike: Vec<_> = (0..40).map(|_| vec![Observation { days: 90.0, mm: 27.0, sd_mm: 2.0 }; 3]).collect();
    let lesson = Lesson::learn(PUBLISHED, &alike);
    let learned = lesson.learned.as_ref().unwrap();
    assert!(learned.likeliest.sd < 0.002);
    assert_eq!(learned.prior.sd, LEAST_SHARE_OF_SPREAD * PUBLISHED.sd);
    assert_eq!(lesson.prior(), learned.prior);
}

/// Each interval is foretold from those before it, so misses are independent: the count is binomial with p = 0.8.
#[test]
fn the_eighty_percent_band_holds_eighty_times_in_a_hundred() {
    let salon = Draws(4).salon(PUBLISHED, 4000);
    let all: usize = salon.iter().map(Vec::len).sum();
    let off = |held: usize| (held as f64 - 0.8 * all as f64) / (0.16 * all as f64).sqrt();
    let held: usize = salon.iter().map(|seen| in_band(PUBLISHED, seen)).sum();
    assert!(off(held).abs() < 4.0, "{held} of {all}");
    // Learned without each client's own part it is as good; a spread half as wide is found out.
    let learned = Lesson::learn(PUBLISHED, &salon).learned.unwrap();
    assert!(off(learned.in_band.learned).abs() < 4.0);
    assert_eq!(learned.in_band.published, held);
    let narrow = Rate { sd: PUBLISHED.sd / 2.0, ..PUBLISHED };
    assert!(off(salon.iter().map(|seen| in_band(narrow, seen)).sum()) < -4.0);
}

/// A prior of the wrong group is told from its band.
#[test]
fn calibration_shows_a_prior_that_is_wrong() {
    let asian_2005 = Rate { mean: 0.411, sd: 0.053 };
    let lesson = Lesson::learn(PUBLISHED, &Draws(5).salon(asian_2005, 300));
    let learned = lesson.learned.unwrap();
    let share = |held: usize| held as f64 / lesson.intervals as f64;
    assert!(share(learned.in_band.learned) > 0.75 && share(learned.in_band.learned) < 0.85);
    assert!(share(learned.in_band.published) < 0.70, "{}", share(learned.in_band.published));
}
