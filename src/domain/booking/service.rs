//! From a protocol to the calendar: which hands, which places and how long each step usually takes.

use super::Worker;
use super::chain::{StepHands, StepNeed, segments_for};
use super::free::free_of_person;
use super::question::{Named, Opening, Search};
use super::search::openings;
use super::segment::{Chain, ChainFault, PlaceKind, Qualification, Span};
use crate::domain::access::Role;
use crate::domain::chemistry::family::Family;
use crate::domain::protocol::{Hands, Protocol, Step};

/// The chemistry a family is qualified for, as the team's list has it.
#[must_use]
pub fn chemistry_of(family: Family) -> &'static str {
    match family {
        Family::Thio | Family::ThioEster | Family::Sulfite | Family::Cysteine => "thio",
        Family::SodiumHydroxide
        | Family::PotassiumHydroxide
        | Family::LithiumHydroxide
        | Family::GuanidineHydroxide => "hydroxide",
        Family::OxidativeColour | Family::DirectDye => "colour",
        Family::Lightener => "lightener",
        _ => "other",
    }
}

fn asked(stylist: bool, chemistry: Option<&str>) -> Qualification {
    Qualification(format!("{} {}", if stylist { "stylist" } else { "anybody" }, chemistry.unwrap_or("any")))
}

/// Everything a member of the team may be asked for in a step; empty for who treats no hair.
#[must_use]
pub fn may_do(role: Role, chemistries: &[String]) -> Vec<Qualification> {
    let stylist = match role {
        Role::Manager | Role::Stylist => true,
        Role::Assistant => false,
        Role::Reception => return Vec::new(),
    };
    let mut may = vec![asked(false, None)];
    may.extend(chemistries.iter().map(|c| asked(false, Some(c))));
    if stylist {
        may.push(asked(true, None));
        may.extend(chemistries.iter().map(|c| asked(true, Some(c))));
    }
    may
}

/// Somebody else was asked for: this person opens no hair in this search, and helps as before.
pub fn opens_nothing(worker: &mut Worker) {
    worker.may.retain(|q| !q.0.starts_with("stylist "));
}

/// Who may place a patch test: anybody who treats hair.
#[must_use]
pub fn places_patch_tests() -> Qualification {
    asked(false, None)
}

/// Steps of one stylist: the one who starts stays until the hair is neutralised, so the calendar
/// names one person for all of them. Assistants' steps may fall to anybody.
const ONE_STYLIST: u8 = 1;

fn need(step: &Step, minutes: u16) -> StepNeed {
    let chemistry = step.qualification.map(chemistry_of);
    let hands = match step.hands {
        Hands::Nobody => StepHands::Nobody,
        Hands::Stylist => {
            StepHands::Somebody { may: Some(asked(true, chemistry)), one_person: Some(ONE_STYLIST) }
        }
        Hands::Assistant | Hands::Any => {
            StepHands::Somebody { may: Some(asked(false, chemistry)), one_person: None }
        }
    };
    let places = step.places.iter().map(|place| PlaceKind(place.code().to_owned())).collect();
    StepNeed { minutes: u32::from(minutes), hands, places }
}

/// A second pair of hands beside the first, for part of a service.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SecondHands {
    /// How far into the service they are needed, milliseconds.
    pub offset_ms: i64,
    /// For how long.
    pub length_ms: i64,
}

/// What a service asks of the calendar.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Service {
    /// Its segments, with the first pair of hands.
    pub chain: Chain,
    /// Where a second pair is needed (winding), in order.
    pub seconds: Vec<SecondHands>,
}

/// The calendar's view of a protocol: steps taken as long as they usually are, optional ones included.
///
/// # Errors
/// A protocol whose steps take no time at all is no chain.
pub fn service_of(protocol: &Protocol) -> Result<Service, ChainFault> {
    service_with(protocol, |step| step.minutes_typical)
}

/// The same with other minutes for each step; a step of none is left out.
///
/// # Errors
/// As [`service_of`].
pub fn service_with(protocol: &Protocol, minutes: impl Fn(&Step) -> u16) -> Result<Service, ChainFault> {
    let needs: Vec<StepNeed> = protocol.steps.iter().map(|step| need(step, minutes(step))).collect();
    let mut seconds = Vec::new();
    let mut offset_ms = 0;
    for step in &protocol.steps {
        let length_ms = i64::from(minutes(step)) * 60_000;
        if step.hands_count > 1 && length_ms > 0 {
            seconds.push(SecondHands { offset_ms, length_ms });
        }
        offset_ms += length_ms;
    }
    Ok(Service { chain: Chain::new(segments_for(&needs))?, seconds })
}

/// Names the second hands of an opening, the first free of the team who is not at this head already.
/// `None` when somebody is missing: then it is no opening.
///
/// Exact: whoever fits the first pair is free in the stretch as well, so a second pair exists just when
/// two people are free, whichever of them was named first.
fn second_hands(
    search: &Search<'_>,
    free: &[Vec<Span>],
    service: &Service,
    opening: &Opening,
) -> Option<Vec<Named>> {
    let asked = asked(false, None);
    service
        .seconds
        .iter()
        .map(|second| {
            let from_ms = opening.span.start_ms() + second.offset_ms;
            let span = Span::new(from_ms, from_ms + second.length_ms)?;
            let there = |person: usize| {
                opening.hands.iter().any(|(_, named)| named.person == person && named.span.overlaps(span))
            };
            let person =
                search.people.iter().zip(free).enumerate().position(|(person, (worker, free))| {
                    !there(person) && worker.may.contains(&asked) && free.iter().any(|free| free.covers(span))
                })?;
            Some(Named { person, span })
        })
        .collect()
}

/// An opening with all its hands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Offer {
    /// The start, the first pair of hands, the patch-test visit.
    pub opening: Opening,
    /// The second pairs.
    pub seconds: Vec<Named>,
}

/// The openings of a service nearest to the wanted instant, second hands found as well; at most
/// [`Search::most`], in the search's order.
#[must_use]
pub fn offers(search: &Search<'_>, service: &Service) -> Vec<Offer> {
    let free: Vec<Vec<Span>> =
        search.people.iter().map(|worker| free_of_person(&worker.hours, &worker.taken)).collect();
    let mut look_at = search.most;
    loop {
        let wide = Search { most: look_at, ..search.clone() };
        let found = openings(&wide).openings;
        let all = found.len() < look_at;
        let offers: Vec<Offer> = found
            .into_iter()
            .filter_map(|opening| {
                let seconds = second_hands(search, &free, service, &opening)?;
                Some(Offer { opening, seconds })
            })
            .take(search.most)
            .collect();
        if all || offers.len() == search.most {
            return offers;
        }
        look_at = look_at.saturating_mul(4).max(16);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stylist_may_what_an_assistant_may_and_reception_treats_no_hair() {
        let thio = ["thio".to_owned()];
        let stylist = may_do(Role::Stylist, &thio);
        for what in may_do(Role::Assistant, &thio) {
            assert!(stylist.contains(&what));
        }
        assert!(stylist.contains(&asked(true, Some("thio"))));
        assert!(!stylist.contains(&asked(true, Some("hydroxide"))));
        assert!(!may_do(Role::Assistant, &thio).contains(&asked(true, None)));
        assert!(may_do(Role::Reception, &thio).is_empty());
    }
}
