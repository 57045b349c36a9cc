//! Bells as they are heard and read: which, of whom, at which station, who is in charge. The Run and the Floor say the same.

use time::OffsetDateTime;

use crate::domain::ids::{PersonId, StationId};
use crate::domain::protocol::Clock;
use crate::domain::run::state::BellTaken;
use crate::domain::run::{Alarm, Bell, BellKind, Comfort, EventKind, Happened, State, Urgency};
use crate::flow::runs::Loaded;
use crate::store::runs::Run;
use crate::web::once;
use crate::web::seat::{first_name, short_name};

/// For how long it stands on the screens who answered a bell, and where.
const TAKEN_SHOWN: time::Duration = time::Duration::minutes(3);

/// A bell to take.
pub(super) struct Ring {
    /// Makes the bell this bell, in every tab: run, urgency, clock, minute.
    pub key: String,
    pub words: String,
    /// The run's number.
    pub run: i64,
    pub step: String,
    pub clock: &'static str,
    pub urgency: Urgency,
    pub only_rinse: bool,
    /// What was answered to this bell a moment ago, where only rinsing ends it; empty where it is to be asked.
    pub asked: String,
    /// The name of the fact that takes it.
    pub fact: String,
}

/// A run with what names its numbers.
pub(super) struct Ringing<'a> {
    pub loaded: &'a Loaded,
    pub state: &'a State<'a>,
    pub people: &'a [(i64, String)],
    pub stations: &'a [(i64, String)],
}

pub(super) fn name_of(names: &[(i64, String)], id: i64) -> Option<&str> {
    names.iter().find(|(n, _)| *n == id).map(|(_, name)| name.as_str())
}

/// Whose service it is, as everybody near a screen may see it. A head of yarn is nobody's name, and is said whole.
pub(super) fn name_near(run: &Run) -> String {
    if run.client_id == 0 { run.client_name.clone() } else { short_name(&run.client_name) }
}

fn ms(at: OffsetDateTime) -> i64 {
    (at.unix_timestamp_nanos() / 1_000_000) as i64
}

/// What a bell calls for.
fn calls_for(kind: BellKind) -> &'static str {
    match kind {
        BellKind::Soon => tr!("one minute to go"),
        BellKind::TestCurl => tr!("test curl"),
        BellKind::Look => tr!("look at the hair"),
        BellKind::Target => tr!("at target"),
        BellKind::Most => tr!("longest allowed, rinse now"),
        BellKind::RinseNow => tr!("rinse now"),
    }
}

impl Ringing<'_> {
    fn key(&self, bell: &Bell) -> String {
        let (run, minute) = (self.loaded.run.run_id, ms(bell.at) / 60_000);
        format!("{run}:{}:{}:{minute}", bell.urgency().code(), bell.clock.code())
    }

    /// Every bell that rings now.
    pub(super) fn all(&self, now: OffsetDateTime) -> Vec<Ring> {
        self.state.ringing(now).iter().map(|bell| self.ring(bell)).collect()
    }

    fn ring(&self, bell: &Bell) -> Ring {
        let name = name_near(&self.loaded.run);
        let (title, what) = (self.title(bell), calls_for(bell.kind));
        let words = match self.near() {
            Some((station, person)) => {
                tr!(
                    "{name}: {title}, {what}. Nearest station: {station}. In charge: {person}",
                    name = name,
                    title = title,
                    what = what,
                    station = station,
                    person = person
                )
            }
            None => format!("{name}: {title}, {what}"),
        };
        Ring {
            key: self.key(bell),
            words,
            run: self.loaded.run.run_id,
            step: bell.step.to_string(),
            clock: bell.clock.code(),
            urgency: bell.urgency(),
            only_rinse: bell.only_rinsing_answers(),
            asked: self.asked(bell),
            fact: once::key(),
        }
    }

    /// A bell that only rinsing ends, and what the client said to it within the last minutes.
    fn asked(&self, bell: &Bell) -> String {
        let of = |b: &&BellTaken| b.step == bell.step && b.clock == bell.clock;
        let lately = |b: &&BellTaken| self.loaded.now - b.at <= TAKEN_SHOWN;
        let taken = self.state.bells_taken.iter().rev().filter(|_| bell.only_rinsing_answers());
        taken.filter(of).find(lately).map_or_else(String::new, |b| {
            let said = match b.comfort {
                Comfort::No => tr!("no heat, no sting"),
                Comfort::Warm => "warm",
                Comfort::Stings => tr!("it stings"),
            };
            tr!("Asked: {said}. This bell goes on until the head is rinsed, or stopped.", said = said)
        })
    }

    /// The one bell a screen announces for this run, as key and words; none while it is silent.
    pub(super) fn announced(&self, now: OffsetDateTime) -> Option<(String, String)> {
        let gravest = self.all(now).into_iter().max_by_key(|ring| ring.urgency);
        gravest.map(|ring| (ring.key, ring.words)).or_else(|| self.alarm())
    }

    /// A stop or a complaint that no clock rings for.
    pub(super) fn alarm(&self) -> Option<(String, String)> {
        let (run, name) = (self.loaded.run.run_id, name_near(&self.loaded.run));
        let (station, person) = self.near()?;
        Some(match self.state.alarm()? {
            Alarm::Stopped { seq } => (
                format!("{run}:stop:stopped:{seq}"),
                tr!(
                    "{name}: stopped. Nearest station: {station}. In charge: {person}",
                    name = name,
                    station = station,
                    person = person
                ),
            ),
            Alarm::Stings { place, seq, rinsed: true } => (
                format!("{run}:due:stung:{seq}"),
                tr!(
                    "{name}: it stung, {}, rinsed: look at the scalp there. Nearest station: {station}. In charge: {person}",
                    place.words(),
                    name = name,
                    station = station,
                    person = person
                ),
            ),
            Alarm::Stings { place, seq, rinsed: false } => (
                format!("{run}:stop:stings:{seq}"),
                tr!(
                    "{name}: it stings, {}. Nearest station: {station}. In charge: {person}",
                    place.words(),
                    name = name,
                    station = station,
                    person = person
                ),
            ),
        })
    }

    /// The station nearest to the client (where the step in hand was begun, else the chair) and who answers for the
    /// service; none in a rehearsal, which has neither.
    fn near(&self) -> Option<(&str, &str)> {
        let step = self.state.in_hand.map(|i| &self.state.steps[i]);
        let begun_at = step.and_then(|s| s.station).and_then(|id| name_of(self.stations, id.0));
        let chair = Some(self.loaded.run.chair.as_str()).filter(|c| !c.is_empty())?;
        let person =
            self.state.stylist.and_then(|p| name_of(self.people, p.0)).map_or("somebody", first_name);
        Some((begun_at.unwrap_or(chair), person))
    }

    /// What a bell speaks of: the product that is on, for a clock from first touch; else the step.
    pub(super) fn title(&self, bell: &Bell) -> String {
        let protocol = &self.loaded.frame.protocol;
        let Some(step) = protocol.step(&bell.step) else { return String::new() };
        let product = step.application.filter(|_| bell.clock == Clock::Exposure);
        let application = product.and_then(|letter| protocol.application(letter));
        application.map_or_else(|| step.title.clone(), |a| a.title.clone())
    }

    /// Who answered a bell a moment ago, and where.
    pub(super) fn taken(
        &self,
        now: OffsetDateTime,
        clock: &dyn Fn(OffsetDateTime) -> String,
    ) -> Option<String> {
        let lately = |at: OffsetDateTime| now - at <= TAKEN_SHOWN;
        self.loaded.events.iter().rev().find_map(|e| {
            let EventKind::Happened(Happened::BellAnswered { comfort, .. }) = &e.kind else { return None };
            let (at, place) = (clock(e.happened_at), self.station_words(e.station));
            let said = match comfort {
                Comfort::No => tr!("no heat, no sting"),
                Comfort::Warm => "warm",
                Comfort::Stings => tr!("it stings"),
            };
            lately(e.happened_at).then(|| match e.by.and_then(|p: PersonId| name_of(self.people, p.0)) {
                Some(who) => tr!(
                    "Bell answered at {place} by {}, {at}: {said}.",
                    first_name(who),
                    place = place,
                    at = at,
                    said = said
                ),
                None => tr!("Bell answered at {place}, {at}: {said}.", place = place, at = at, said = said),
            })
        })
    }

    /// A station by its name.
    pub(super) fn station_words(&self, id: StationId) -> String {
        name_of(self.stations, id.0).map_or_else(|| tr!("another station").to_owned(), str::to_owned)
    }
}
