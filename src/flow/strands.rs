//! A client's strand as it stands: the record told at the rate this head has shown.

use crate::domain::length;
use time::Date;

use crate::domain::growth::Rate;
use crate::domain::growth::visits::observations;
use crate::domain::strand::{Deed, Story, Strand, StrandRefusal};
use crate::reference::Reference;
use crate::store::clients::Client;
use crate::store::strands::{self, StrandEvent};
use crate::store::{Scoped, Stored};

/// A client's strand with what it rests on.
#[derive(Clone, Debug)]
pub struct Told {
    /// The record, in the order of its days.
    pub story: Story,
    /// The events behind the deeds, in the same order.
    pub events: Vec<StrandEvent>,
    /// Number of the newest event; 0 when there is none.
    pub last_seq: i32,
    /// What is said of this curl before anything was measured.
    pub prior: Rate,
    /// The rate after everything measured.
    pub rate: Rate,
    /// The strand on the day asked about.
    pub strand: Strand,
    /// What in the record does not fit together, in words.
    pub odd: Vec<String>,
}

/// Loads a client's strand as it stands on `today`, from events up to `upto` (all when none). `None` before the
/// consult said what is in the hair.
pub async fn load(
    s: &mut Scoped,
    reference: &Reference,
    client: &Client,
    today: Date,
    upto: Option<i32>,
) -> Stored<Option<Told>> {
    let Some((length_mm, on)) = strands::find_beginning(s, client.id()).await? else { return Ok(None) };
    let mut events = strands::list_events(s, client.id()).await?;
    if let Some(upto) = upto {
        events.retain(|e| e.seq <= upto);
    }
    let last_seq = events.iter().map(|e| e.seq).max().unwrap_or(0);
    let mut odd = Vec::new();
    events.retain(|e| {
        let (fits, come) = (sound(&e.deed), e.on <= today);
        if !fits {
            odd.push(tr!("Entry {} of {} holds a figure that cannot be.", e.seq, day_words(e.on)));
        } else if !come {
            odd.push(tr!("Entry {} is of a day still to come, {}.", e.seq, day_words(e.on)));
        }
        fits && come
    });
    events.sort_by_key(|e| (e.on, e.seq));
    let story = Story { length_mm, on, deeds: events.iter().map(|e| (e.on, e.deed)).collect() };
    let prior = super::dues::prior(s, reference, client.curl_group.as_deref()).await?;
    let rate = prior.after_all(&observations(&story.visits()));
    let (strand, left_out) = story.tell_what_fits(rate, today.max(on));
    odd.extend(left_out.into_iter().map(|(n, why)| odd_words(&story.deeds[n], why)));
    Ok(Some(Told { story, events, last_seq, prior, rate, strand, odd }))
}

/// Figures a ruler can show.
pub(super) fn sound(deed: &Deed) -> bool {
    let fine = |mm: f64| mm.is_finite() && (0.0..=10_000.0).contains(&mm);
    use crate::domain::strand::Zone;
    match deed {
        Deed::Apply(Zone::EndsFrom(a), _) => fine(*a),
        Deed::Apply(Zone::Between(a, b), _) => fine(*a) && fine(*b),
        Deed::Apply(..) => true,
        Deed::Measure { mm, sd_mm } => fine(*mm) && *sd_mm > 0.0 && fine(*sd_mm),
        Deed::Trim(mm) => fine(*mm),
    }
}

fn odd_words((on, deed): &(Date, Deed), why: StrandRefusal) -> String {
    let day = day_words(*on);
    match (deed, why) {
        (Deed::Trim(mm), _) => {
            tr!(
                "A trim of {mm} on {day} is more than the hair the record knows of; it is left out.",
                mm = length::said(*mm),
                day = day
            )
        }
        (Deed::Measure { mm, .. }, StrandRefusal::NothingBehind) => {
            tr!(
                "New growth of {mm} on {day} has nothing behind it on record; it is left out.",
                mm = length::said(*mm),
                day = day
            )
        }
        (Deed::Measure { mm, .. }, _) => {
            tr!(
                "New growth of {mm} on {day}, where the record knows of none; it is left out.",
                mm = length::said(*mm),
                day = day
            )
        }
        (Deed::Apply(..), _) => {
            tr!("What was put on on {day} does not fit the hair; it is left out.", day = day)
        }
    }
}

/// A day with its year: "4 December 2025".
pub fn day_words(day: Date) -> String {
    format!("{} {} {}", day.day(), crate::words::of(&day.month().to_string()), day.year())
}
