//! Whether the salon's own prior is good enough to be used, for one curl.
//!
//! The rule, without chance in it: the clients with at least one observed interval are counted off in their order (that
//! of their numbers) into [`PARTS`] parts, the n-th into part n mod 5. Each part is held back once: a prior is learned from
//! the other four and every interval of the part is foretold, each from the client's own intervals before it. So everybody
//! teaches, and nobody is foretold by a prior they taught. What is used at last is learned from all of them.

use super::learn::{learn_prior, log_likelihood, log_likelihood_of};
use super::normal::phi_inverse;
use super::rate::{Observation, Rate};

/// Fewer measured clients than this of one curl teach nothing that is used.
pub const LEAST_CLIENTS: usize = 30;
/// Parts of the clients, each held back once.
pub const PARTS: usize = 5;
/// A learned spread below this share of the published one is raised to it: with few heads the likeliest spread can be next
/// to nothing, people are not that alike, and a strand's edges would lose their doubt (a bound of ours, no source).
pub const LEAST_SHARE_OF_SPREAD: f64 = 0.5;

/// One figure for each of the two priors.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Both<T> {
    /// Under the published prior.
    pub published: T,
    /// Under the learned one.
    pub learned: T,
}

/// What the salon's own clients teach, beside what was published.
#[derive(Clone, Debug, PartialEq)]
pub struct Learned {
    /// Where the marginal likelihood of all clients is highest.
    pub likeliest: Rate,
    /// The same with its spread raised to the least one: what is used when it is used.
    pub prior: Rate,
    /// Log-likelihood of the clients who taught it (all of them).
    pub teaching: Both<f64>,
    /// Log-likelihood of the intervals held back, all parts together.
    pub held_back: Both<f64>,
    /// How many of the held-back intervals lay within the 80 % band foretold for them.
    pub in_band: Both<usize>,
}

/// Whether the learned prior is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Use {
    /// It is.
    Learned,
    /// It is not: too few clients of this curl were measured.
    TooFew,
    /// It is not: the published prior foretells held-back intervals better.
    Worse,
}

/// The whole of it for one curl.
#[derive(Clone, Debug, PartialEq)]
pub struct Lesson {
    /// Where it starts from.
    pub published: Rate,
    /// Clients with at least one observed interval.
    pub clients: usize,
    /// Their intervals.
    pub intervals: usize,
    /// None while fewer than two clients were measured.
    pub learned: Option<Learned>,
    /// What follows.
    pub verdict: Use,
}

impl Lesson {
    /// Learns from the clients of one curl, in the order of their numbers.
    pub fn learn(published: Rate, clients: &[Vec<Observation>]) -> Lesson {
        let heads: Vec<Vec<Observation>> = clients.iter().filter(|seen| !seen.is_empty()).cloned().collect();
        let learned = learn_and_test(published, &heads);
        let verdict = match &learned {
            _ if heads.len() < LEAST_CLIENTS => Use::TooFew,
            // A likelihood that is no number is no proof either.
            Some(l) if l.held_back.learned >= l.held_back.published => Use::Learned,
            _ => Use::Worse,
        };
        Lesson {
            published,
            clients: heads.len(),
            intervals: heads.iter().map(Vec::len).sum(),
            learned,
            verdict,
        }
    }

    /// Whether the learned prior is used.
    pub fn used(&self) -> bool {
        self.verdict == Use::Learned
    }

    /// The prior a client of this curl starts from.
    pub fn prior(&self) -> Rate {
        match &self.learned {
            Some(learned) if self.used() => learned.prior,
            _ => self.published,
        }
    }

    /// Why it is used or not, in a sentence.
    pub fn why(&self) -> String {
        match self.verdict {
            Use::Learned => {
                tr!("It foretells held-back intervals at least as well as the published one.").into()
            }
            Use::TooFew => tr!(
                "{} of this curl measured; from {LEAST_CLIENTS} on the salon's own prior is weighed.",
                match self.clients {
                    0 => "No client".to_owned(),
                    1 => "One client".to_owned(),
                    many => format!("{many} clients"),
                },
                LEAST_CLIENTS = LEAST_CLIENTS
            ),
            Use::Worse => tr!("It foretells held-back intervals worse than the published one.").into(),
        }
    }
}

/// The prior as it is used: its spread never below the least.
fn with_least_spread(learned: Rate, published: Rate) -> Rate {
    Rate { sd: learned.sd.max(published.sd * LEAST_SHARE_OF_SPREAD), ..learned }
}

fn learn_and_test(published: Rate, heads: &[Vec<Observation>]) -> Option<Learned> {
    let likeliest = learn_prior(heads, published)?;
    let prior = with_least_spread(likeliest, published);
    let mut learned = Learned {
        likeliest,
        prior,
        teaching: Both { published: log_likelihood(published, heads), learned: log_likelihood(prior, heads) },
        held_back: Both::default(),
        in_band: Both::default(),
    };
    for part in 0..PARTS {
        let rest: Vec<Vec<Observation>> = heads
            .iter()
            .enumerate()
            .filter(|(n, _)| n % PARTS != part)
            .map(|(_, seen)| seen.clone())
            .collect();
        // A rest that teaches nothing leaves what was published.
        let own = learn_prior(&rest, published).map_or(published, |l| with_least_spread(l, published));
        for seen in heads.iter().skip(part).step_by(PARTS) {
            learned.held_back.published += log_likelihood_of(published, seen);
            learned.held_back.learned += log_likelihood_of(own, seen);
            learned.in_band.published += in_band(published, seen);
            learned.in_band.learned += in_band(own, seen);
        }
    }
    Some(learned)
}

/// How many of a client's intervals lay between the 10 % and the 90 % point foretold for them.
pub fn in_band(prior: Rate, seen: &[Observation]) -> usize {
    let edge = phi_inverse(0.9);
    let mut belief = prior;
    let mut held = 0;
    for observation in seen {
        held += usize::from(belief.surprise(observation).abs() <= edge);
        belief = belief.after(observation);
    }
    held
}
