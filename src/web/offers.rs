//! An opening as it is offered: who, from when to when, where, in words and as a track.

use time::{Duration, OffsetDateTime};

use crate::calendar::{Zone, day_words};
use crate::domain::booking::Span;
use crate::domain::booking::service::Offer;
use crate::flow::openings::Found;
use crate::web::once;
use crate::web::picture::track::{HandsBlock, PlaceBlock, Track};
use crate::web::seat::first_name;

/// An opening as the screen shows it.
pub(super) struct Shown {
    pub(super) when: String,
    pub(super) words: Vec<String>,
    pub(super) marks: Vec<&'static str>,
    pub(super) track: Track,
    pub(super) start: String,
    pub(super) print: String,
    pub(super) book: String,
    pub(super) once_key: String,
    pub(super) main: bool,
}

/// How many of an offer's ends leave the main hands idle beside other work: 0, 1 or 2.
pub(super) fn loose_ends(found: &Found, offer: &Offer) -> usize {
    let Some(main) = main_hands(offer) else { return 2 };
    let worker = &found.workers[main];
    let mine: Vec<Span> =
        offer.opening.hands.iter().filter(|(_, n)| n.person == main).map(|(_, n)| n.span).collect();
    let (Some(first), Some(last)) = (mine.first(), mine.last()) else { return 2 };
    let touches = |at_ms: i64, end: bool| {
        worker.taken.iter().chain(&worker.hours).any(|span| {
            let edge = if end { span.start_ms() } else { span.end_ms() };
            edge == at_ms
        }) || worker.hours.iter().any(|h| if end { h.end_ms() == at_ms } else { h.start_ms() == at_ms })
    };
    usize::from(!touches(first.start_ms(), false)) + usize::from(!touches(last.end_ms(), true))
}

/// The person with most minutes in an offer.
fn main_hands(offer: &Offer) -> Option<usize> {
    let minutes = |person: usize| -> i64 {
        let mine = offer.opening.hands.iter().filter(|(_, n)| n.person == person);
        mine.map(|(_, n)| n.span.end_ms() - n.span.start_ms()).sum()
    };
    offer.opening.hands.iter().map(|(_, n)| n.person).max_by_key(|p| minutes(*p))
}

/// Words, marks and track of one offer.
pub(super) fn shown(found: &Found, offer: &Offer, zone: &Zone) -> Shown {
    let (from, to) = found.span(offer);
    let when = format!("{}, {}", zone.day_words(from), zone.clock(from));
    let parts = found.parts(offer);
    let main = main_hands(offer).map(|p| &found.team[p]);
    let mut words = vec![tr!(
        "{} to {} with {}",
        zone.clock(from),
        zone.clock(to),
        main.map_or_else(String::new, |p| p.name.clone())
    )];
    for part in parts.iter().filter(|p| p.second) {
        words.push(tr!("second hands {} to {}: {}", zone.clock(part.from), zone.clock(part.to), part.name));
    }
    let mut others: Vec<&str> = parts
        .iter()
        .filter(|p| !p.second && main.is_none_or(|m| m.id != p.person))
        .map(|p| p.name.as_str())
        .collect();
    others.dedup();
    others.sort_unstable();
    others.dedup();
    if !others.is_empty() {
        words.push(tr!("also {}", others.join(", ")));
    }
    if let Some(visit) = found.patch_visit(offer) {
        words.push(tr!(
            "patch test {}, {} with {}",
            zone.day_words(visit.from),
            zone.clock(visit.from),
            visit.name
        ));
    }
    let usual = main.is_some_and(|m| found.usual == Some(m.id));
    Shown {
        book: tr!("Book {when}", when = when),
        track: track(found, offer, zone),
        marks: if usual { vec![tr!("the usual stylist")] } else { Vec::new() },
        words,
        when,
        start: zone.rfc3339(from),
        print: found.print(offer),
        once_key: once::key(),
        main: false,
    }
}

/// Draws an offer or a booking: hands and stays from `from` to `to`.
pub fn draw_track(
    zone: &Zone,
    (from, to): (OffsetDateTime, OffsetDateTime),
    hands: &[(String, OffsetDateTime, OffsetDateTime, bool)],
    places: &[(String, OffsetDateTime, OffsetDateTime)],
) -> Track {
    let min = |at: OffsetDateTime| (at - from).as_seconds_f64() / 60.0;
    let local = zone.local(from);
    let to_hour = (60 - i64::from(local.minute())) % 60;
    let mut hours = Vec::new();
    let mut at = from + Duration::minutes(to_hour);
    while at < to && hours.len() < 24 {
        hours.push((min(at), zone.clock(at)));
        at += Duration::hours(1);
    }
    let said: Vec<String> = hands
        .iter()
        .map(|(name, a, b, second)| {
            let what = if *second { tr!("second hands ") } else { "" };
            tr!("{what}{} {} to {}", first_name(name), zone.clock(*a), zone.clock(*b), what = what)
        })
        .collect();
    Track {
        length_min: min(to),
        hands: hands
            .iter()
            .map(|(name, a, b, second)| HandsBlock {
                from_min: min(*a),
                to_min: min(*b),
                words: first_name(name).to_string(),
                second: *second,
            })
            .collect(),
        places: places
            .iter()
            .map(|(kind, a, b)| PlaceBlock { from_min: min(*a), to_min: min(*b), words: kind.clone() })
            .collect(),
        hours,
        label: tr!("{} minutes: {}", min(to).round(), said.join(", ")),
    }
}

fn track(found: &Found, offer: &Offer, zone: &Zone) -> Track {
    let hands: Vec<_> = found.parts(offer).into_iter().map(|p| (p.name, p.from, p.to, p.second)).collect();
    draw_track(zone, found.span(offer), &hands, &found.places(offer))
}

/// The words of what was taken, for the screen after it.
pub fn start_words(zone: &Zone, start: OffsetDateTime) -> String {
    format!("{}, {}", day_words(zone.day_of(start)), zone.clock(start))
}
