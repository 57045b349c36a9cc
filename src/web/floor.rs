//! The Floor: everything under way on one shared axis; every station's default screen, also while locked.

use askama::Template;
use axum::extract::Query;
use serde::Deserialize;
use time::OffsetDateTime;

use crate::calendar::Zone;
use crate::domain::protocol::Place;
use crate::domain::run::bells::{Bell, BellKind};
use crate::domain::run::foresight::There;
use crate::domain::run::track::{self, BlockKind, MarkKind};
use crate::domain::words::capital;
use crate::flow::run_hands;
use crate::flow::runs::{self, Loaded};
use crate::store::runs as store_runs;
use crate::store::{openings, people, stations};
use crate::web::bell_words::{Ring, Ringing};
use crate::web::floor_ahead::{Ahead as Foreseen, Told};
use crate::web::floor_danger::{main_clock, now_first, overdue_since, stopped, stopped_words};
use crate::web::page;
use crate::web::picture::axis::{
    Band, BandKind, FloorPicture, LaneBlock, Notch, PlaceLane, Quarter, Track, TrackState,
};
use crate::web::problem::Answered;
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::{Seat, first_name, short_name};
use crate::web::shell::Shell;
use crate::web::strand_words::pattern;

/// The routes of the Floor.
pub const LINES: &[Line] = lines![get "/floor" Open::Station => show];

/// `?wall=1`: a screen on the wall, nothing to tap.
#[derive(Deserialize, Default)]
pub struct Mode {
    #[serde(default)]
    wall: String,
}

/// A bell ahead, as a row.
struct Ahead {
    at: String,
    in_words: String,
    who: String,
    what: String,
    place: String,
    hands: String,
}

#[derive(Template)]
#[template(path = "floor/floor.html")]
struct FloorPage {
    shell: Shell,
    part: &'static str,
    day: String,
    count: usize,
    heading: String,
    next_at: String,
    next_in: String,
    next_where: String,
    ahead: Vec<Told>,
    picture: FloorPicture,
    bells: Vec<Ahead>,
    /// Stopped services: number, whose and where, what is to be done.
    stopped: Vec<(i64, String, String)>,
    /// What rings now: answered here, whoever is in charge.
    rings: Vec<Ring>,
    /// Bells that no clock rings for, as key and words.
    alarms: Vec<(String, String)>,
    /// Who answered a bell a moment ago, and where.
    taken: Vec<String>,
    /// The service that somebody armed this station for: its number and its client.
    armed: Option<(i64, String)>,
    /// A service handed on here while somebody else is signed in: its number, its client, by whom, who is signed in.
    handed_on: Option<(i64, String, String, String)>,
    wall: bool,
    may_start: bool,
}

pub(super) struct Seen<'a> {
    pub(super) loaded: &'a Loaded,
    pub(super) state: crate::domain::run::State<'a>,
    track: track::Track,
    stylist: String,
    rings: Vec<Ring>,
    alarm: Option<(String, String)>,
    taken: Option<String>,
}

pub(super) fn ms(at: OffsetDateTime) -> i64 {
    (at.unix_timestamp_nanos() / 1_000_000) as i64
}

/// The Floor. Names shrink to first name and initial: clients see these screens too.
pub async fn show(seat: Seat, Query(mode): Query<Mode>) -> Answered {
    let mut s = seat.begin().await?;
    let mut all = Vec::new();
    for run in store_runs::list_open(&mut s).await? {
        all.push(runs::load_found(&mut s, &seat.app, run).await?);
    }
    let names: Vec<(i64, String)> =
        people::list(&mut s).await?.into_iter().map(|p| (p.id.0, p.name)).collect();
    let station_names: Vec<(i64, String)> =
        stations::list(&mut s).await?.into_iter().map(|x| (x.station_id, x.name)).collect();
    let places = openings::list_place_counts(&mut s).await?;
    let now = s.now().await?;
    let hands = run_hands::pairs_here(&mut s, now).await?;
    s.commit().await?;
    let zone = Zone::find(&seat.salon_row.zone)
        .unwrap_or_else(|| Zone::find("UTC").expect("UTC is a zone of every build"));
    let wall = !mode.wall.is_empty() || seat.station.as_ref().is_some_and(|x| x.kind == "wall");
    let counts: Vec<(Place, u32)> = places
        .iter()
        .filter_map(|(kind, count)| {
            let place = [Place::Chair, Place::Basin, Place::Hood].into_iter().find(|p| p.code() == kind)?;
            Some((place, u32::try_from(*count).unwrap_or(0)))
        })
        .collect();
    let mut seen: Vec<Seen<'_>> = all
        .iter()
        .map(|loaded| {
            let state = loaded.state();
            let track = state.track(now);
            let who = runs::stylist_of(loaded);
            let stylist = names
                .iter()
                .find(|(id, _)| *id == who.0)
                .map_or(String::new(), |(_, n)| first_name(n).to_string());
            let ringing = Ringing { loaded, state: &state, people: &names, stations: &station_names };
            let (rings, alarm) = (ringing.all(now), ringing.alarm());
            let taken = ringing.taken(now, &|at| zone.clock(at));
            Seen { loaded, state, track, stylist, rings, alarm, taken }
        })
        .collect();
    // A stopped head stands first, then who is over the longest allowed; the others keep their order.
    seen.sort_by_key(|x| (!stopped(x), overdue_since(&x.state, now).is_none()));
    let mut shell = seat.shell(now, "/floor", &["floor"]);
    shell.wall = wall;
    let tracks: Vec<track::Track> = seen.iter().map(|x| x.track.clone()).collect();
    let lines = seen.iter().map(|x| x.state.line(now)).collect();
    let foreseen = Foreseen::new(lines, &tracks, &There { hands, places: counts }, now);
    let mut page = page_of(&seen, &foreseen, &zone, now, shell, &seat, wall);
    for x in seen {
        page.rings.extend(x.rings);
        page.alarms.extend(x.alarm);
        page.taken.extend(x.taken.map(|line| format!("{}: {line}", short_name(&x.loaded.run.client_name))));
    }
    Ok(page::html(&page))
}

pub(super) fn in_words(from: OffsetDateTime, to: OffsetDateTime) -> String {
    let exact = (to - from).as_seconds_f64() / 60.0;
    let minutes = if exact < 0.0 { exact.trunc() as i64 } else { exact.ceil() as i64 };
    match minutes {
        ..-1 => tr!("{m} min ago", m = -minutes),
        -1 => tr!("1 min ago").into(),
        0 => tr!("now").into(),
        1 => tr!("1 min").into(),
        m => tr!("{m} min", m = m),
    }
}

fn page_of(
    seen: &[Seen<'_>],
    foreseen: &Foreseen,
    zone: &Zone,
    now: OffsetDateTime,
    shell: Shell,
    seat: &Seat,
    wall: bool,
) -> FloorPage {
    let clock = |at: OffsetDateTime| zone.clock(at);
    let mut passed: Vec<(Bell, usize)> =
        seen.iter().enumerate().filter_map(|(i, x)| Some((x.state.passed(now)?, i))).collect();
    passed.sort_by_key(|(b, _)| b.at);
    let mut ahead: Vec<(Bell, usize)> = seen
        .iter()
        .enumerate()
        .flat_map(|(i, x)| {
            let until = now + time::Duration::minutes(75);
            x.state
                .bells_between(now, until)
                .into_iter()
                // What has passed its longest is no bell ahead: it is told by when it passed.
                .filter(|b| b.kind != BellKind::Soon)
                .filter(|b| {
                    b.kind != BellKind::Most || x.state.passed(now).is_none_or(|p| p.clock != b.clock)
                })
                .map(move |b| (b, i))
        })
        .collect();
    ahead.sort_by_key(|(b, _)| b.at);
    let mut shown: Vec<(usize, String, String)> = Vec::new();
    ahead.retain(|(b, i)| {
        // A bell that would ring again every minute is said once.
        let key = (*i, format!("{:?}", b.kind), b.step.to_string());
        let fresh = !shown.contains(&key);
        shown.push(key);
        fresh
    });
    ahead.splice(0..0, passed);
    let next = ahead.first();
    let soonest = next.map(|(_, i)| *i);
    let bells = ahead.iter().take(12).map(|(b, i)| row(&seen[*i], b, now, &clock)).collect::<Vec<_>>();
    let quarters =
        Quarter::around(ms(now), |at| crate::calendar::instant_of_ms(at).map_or_else(String::new, &clock));
    let name =
        |line: usize| seen.get(line).map_or_else(String::new, |x| short_name(&x.loaded.run.client_name));
    let count = seen.len();
    FloorPage {
        part: if wall { "/floor?wall=1" } else { "/floor" },
        day: zone.day_words(now),
        count,
        heading: tr!("Floor, {}, {}: {}", zone.day_words(now), clock(now), plural(count)),
        next_at: next
            .map(|(b, i)| format!("{} {}", clock(b.at), bell_words(&seen[*i], b)))
            .unwrap_or_default(),
        next_in: next.map_or_else(
            || tr!("Next bell").into(),
            |(b, _)| match b.at < now {
                true => tr!("Passed {}", in_words(now, b.at)),
                false => tr!("Next bell, in {}", in_words(now, b.at)),
            },
        ),
        next_where: next
            .map(|(_, i)| format!("{}, {}", seen[*i].loaded.run.chair, seen[*i].stylist))
            .unwrap_or_default(),
        ahead: now_first(seen, now, &clock).into_iter().chain(foreseen.told(&name, &clock)).collect(),
        stopped: seen.iter().filter(|x| stopped(x)).map(|x| stopped_words(x, now, &clock)).collect(),
        handed_on: seat.handed_on.as_ref().and_then(|on| {
            let run = seen.iter().map(|x| &x.loaded.run).find(|r| r.run_id == on.run.0)?;
            let own = first_name(&seat.person()?.name).to_string();
            Some((run.run_id, short_name(&run.client_name), first_name(&on.by.name).to_string(), own))
        }),
        picture: FloorPicture {
            now_words: clock(now),
            quarters,
            lanes: vec![basin_lane(seen, foreseen, now, &clock)],
            tracks: seen
                .iter()
                .enumerate()
                .map(|(i, x)| track_of(x, now, &clock, soonest == Some(i), wall))
                .collect(),
        },
        bells,
        rings: Vec::new(),
        alarms: Vec::new(),
        taken: Vec::new(),
        armed: seat.armed_run.filter(|_| seat.person().is_some()).and_then(|run| {
            let run = seen.iter().map(|x| &x.loaded.run).find(|r| r.run_id == run.0)?;
            Some((run.run_id, short_name(&run.client_name)))
        }),
        wall,
        may_start: seat.may(crate::domain::access::Act::SeeClients),
        shell,
    }
}

fn plural(count: usize) -> String {
    match count {
        0 => tr!("nothing under way").into(),
        1 => tr!("one service under way").into(),
        n => tr!("{n} services under way", n = n),
    }
}

fn title_of(x: &Seen<'_>, b: &Bell) -> String {
    Ringing { loaded: x.loaded, state: &x.state, people: &[], stations: &[] }.title(b)
}

fn bell_words(x: &Seen<'_>, b: &Bell) -> String {
    let name = short_name(&x.loaded.run.client_name);
    match b.kind {
        BellKind::TestCurl => tr!("test curl, {name}", name = name),
        BellKind::Look => tr!("look, {name}", name = name),
        BellKind::Most => tr!("rinse, {name}: longest allowed", name = name),
        BellKind::RinseNow => tr!("rinse now, {name}", name = name),
        BellKind::Target | BellKind::Soon => {
            tr!("{}, {name}: at target", title_of(x, b).to_lowercase(), name = name)
        }
    }
}

fn row(x: &Seen<'_>, b: &Bell, now: OffsetDateTime, clock: &dyn Fn(OffsetDateTime) -> String) -> Ahead {
    let (what, place) = match b.kind {
        BellKind::Most | BellKind::RinseNow => {
            (tr!("longest allowed: rinse").to_string(), tr!("basin").to_string())
        }
        BellKind::TestCurl => {
            (tr!("test curl: first rod, last rod, weakest place").to_string(), x.loaded.run.chair.clone())
        }
        BellKind::Look => (tr!("look at the hair").to_string(), x.loaded.run.chair.clone()),
        BellKind::Target | BellKind::Soon => {
            (tr!("{}: at target", capital(&title_of(x, b))), x.loaded.run.chair.clone())
        }
    };
    Ahead {
        at: clock(b.at),
        in_words: in_words(now, b.at),
        who: short_name(&x.loaded.run.client_name),
        what,
        place,
        hands: x.stylist.clone(),
    }
}

fn minutes(now: OffsetDateTime, at: OffsetDateTime) -> f64 {
    (at - now).as_seconds_f64() / 60.0
}

fn basin_lane(
    seen: &[Seen<'_>],
    foreseen: &Foreseen,
    now: OffsetDateTime,
    clock: &dyn Fn(OffsetDateTime) -> String,
) -> PlaceLane {
    let mut blocks: Vec<LaneBlock> = Vec::new();
    for x in seen {
        for b in x.track.blocks.iter().filter(|b| b.places.contains(&Place::Basin)) {
            let (from_min, to_min) = (minutes(now, b.start), minutes(now, b.end));
            let words = short_name(&x.loaded.run.client_name);
            match blocks.last_mut() {
                // Steps that follow one another at the basin are one stay.
                Some(last) if last.words == words && (last.to_min - from_min).abs() < 0.5 => {
                    last.to_min = to_min
                }
                _ => blocks.push(LaneBlock { from_min, to_min, words }),
            }
        }
    }
    blocks.retain(|b| b.to_min > -25.0 && b.from_min < 75.0);
    blocks.sort_by(|a, b| a.from_min.total_cmp(&b.from_min));
    let sentence: Vec<String> = blocks
        .iter()
        .map(|b| {
            let at = |m: f64| clock(now + time::Duration::seconds_f64(m * 60.0));
            tr!("{} {} to {}", b.words, at(b.from_min), at(b.to_min))
        })
        .collect();
    PlaceLane {
        name: tr!("basin").into(),
        label: tr!(
            "Basin: {}.",
            if sentence.is_empty() { "nobody within the hour".into() } else { sentence.join(", ") }
        ),
        clashes: foreseen.lane(now, clock),
        blocks,
    }
}

fn track_of(
    x: &Seen<'_>,
    now: OffsetDateTime,
    clock: &dyn Fn(OffsetDateTime) -> String,
    soonest: bool,
    wall: bool,
) -> Track {
    let (run, state) = (&x.loaded.run, &x.state);
    let headline = state.headline(now);
    let ringing = state.ringing(now);
    let over = ringing.iter().any(|b| b.only_rinsing_answers());
    let running = state.running();
    let window = state.window_shuts_at().filter(|shuts| *shuts > now);
    let (dial, sense, label) = main_clock(x, now);
    let longest = state
        .exposures
        .iter()
        .find(|e| e.is_open())
        .map(|e| {
            tr!(
                "; longest on {}",
                crate::web::picture::clock::reading(e.longest(now).whole_milliseconds() as i64)
            )
        })
        .unwrap_or_default();
    let detail = match window {
        _ if stopped(x) => format!("{}{longest}", x.stylist),
        Some(at) => tr!("done by {}, {}{longest}", clock(at), x.stylist, longest = longest),
        None => format!(
            "{}{longest}",
            headline.next_line().map_or_else(|| x.stylist.clone(), |n| format!("{n}, {}", x.stylist))
        ),
    };
    Track {
        id: run.run_id.to_string(),
        href: if wall { String::new() } else { format!("/runs/{}", run.run_id) },
        name: short_name(&run.client_name),
        place_words: format!("{}, {}", run.chair, x.stylist),
        service_words: x.loaded.frame.protocol.title.to_lowercase(),
        clock: dial,
        clock_label: label,
        clock_sense: sense,
        small_clock: !running.iter().any(|c| c.on_hair) && window.is_none() && !stopped(x),
        next_words: headline.now.clone(),
        next_detail: detail,
        // Announced by its own words under the axis.
        bell: String::new(),
        state: if over || stopped(x) {
            TrackState::Over
        } else if !ringing.is_empty() {
            TrackState::Ringing
        } else if soonest {
            TrackState::Soonest
        } else {
            TrackState::Calm
        },
        bands: x.track.blocks.iter().map(|b| band(x, b, now)).collect(),
        notches: x
            .track
            .marks
            .iter()
            .map(|m| match m.kind {
                MarkKind::Target => Notch::Bell(minutes(now, m.at)),
                MarkKind::Most => Notch::Most(minutes(now, m.at)),
            })
            .collect(),
    }
}

fn band(x: &Seen<'_>, b: &track::Block, now: OffsetDateTime) -> Band {
    let step = x.loaded.frame.protocol.step(&b.step);
    let straightens = step
        .and_then(|s| s.application)
        .and_then(|l| x.loaded.frame.protocol.application(l))
        .is_some_and(|a| a.straightens);
    // What is in the bowl says what is drawn, as on the strand; the protocol only proposes a chemistry.
    let product = step.and_then(|s| s.application).and_then(|l| x.loaded.frame.product(l)).map(|p| p.family);
    let kind = match b.kind {
        BlockKind::Hands => step
            .filter(|s| s.is_chemical())
            .and_then(|s| s.family)
            .map_or(BandKind::Hands, |f| BandKind::Chemical(pattern(product.unwrap_or(f), straightens))),
        BlockKind::Basin => BandKind::Basin,
        BlockKind::Nobody(Some(family)) => {
            BandKind::Chemical(pattern(product.unwrap_or(family), straightens))
        }
        BlockKind::Nobody(None) => BandKind::Nobody,
    };
    Band { from_min: minutes(now, b.start), to_min: minutes(now, b.end), kind, words: b.title.to_lowercase() }
}
