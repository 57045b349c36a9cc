//! A small curl service for tests: straightener in two passes, lotion, neutraliser.

use super::command::{Actor, Command, Context, Fact};
use super::decide::decide;
use super::event::{Event, Happened, NewEvent, Signed};
use super::frame::{RunFrame, SheetTimes};
use super::holds::{
    ConsentRecord, FrameProduct, HoldContext, LawVerdict, LotRecord, PatchTestRecord, PlanRecord,
    PlanVerdict, SkinOutcome, SkinReading, SkinTest,
};
use super::refusal::Refusals;
use super::state::State;
use super::value::{FactId, HeadPlace, Instant};
use crate::domain::access::Role;
use crate::domain::chemistry::family::Family;
use crate::domain::ids::{LotId, PersonId, ProductId, StationId};
use crate::domain::protocol::floor::{Ask, Bounds, Closer, Floor, Row, Subject};
use crate::domain::protocol::{
    Chemical, Clock, Hands, Head, Heat, HoldPoint, Kind, Look, LookFor, Mark, Place, PlannedApplication,
    PlannedZone, Protocol, Retouch, Section, SectionWork, Source, Step, StepCode, Times,
};
use time::Duration;
use time::macros::datetime;

/// 14 May 2026, 13:40 UTC.
pub(super) const START: Instant = datetime!(2026-05-14 13:40 UTC);
/// The run's stylist.
pub(super) const TOBIAS: PersonId = PersonId(901);
/// An assistant.
pub(super) const MARA: PersonId = PersonId(902);
/// A manager.
pub(super) const ONDINE: PersonId = PersonId(903);

pub(super) fn at(min: i64) -> Instant {
    START + Duration::minutes(min)
}

const CURLS: Option<Look> =
    Some(Look { what: LookFor::TestCurl, every_min: 2, from_min: None, mark: Mark::CommonPractice });

fn step(code: &str) -> Step {
    Step {
        code: code.into(),
        title: code.to_owned(),
        words: code.to_owned(),
        cautions: Vec::new(),
        chemical: Chemical::None,
        family: None,
        application: None,
        sections: None,
        rinses: Vec::new(),
        order: None,
        normalises: false,
        mix: None,
        heat: Heat::None,
        look: None,
        records: None,
        rods: false,
        optional: false,
        hold_points: Vec::new(),
        phase: None,
        exposure: None,
        window_min: None,
        window_mark: None,
        minutes_typical: 5,
        minutes_least: 5,
        hands: Hands::Any,
        hands_count: 1,
        places: vec![Place::Chair],
        qualification: None,
    }
}

fn cp(target: Option<u16>, least: Option<u16>, most: Option<u16>) -> Option<Times> {
    let source = Source::Default { mark: Mark::CommonPractice };
    Some(Times { target_min: target, least_min: least, most_min: most, source })
}

const RECORDS: [HoldPoint; 6] = [
    HoldPoint::PatchTest,
    HoldPoint::Scalp,
    HoldPoint::Plan,
    HoldPoint::Consent,
    HoldPoint::Lot,
    HoldPoint::Gloves,
];

fn opening(code: &str, letter: char, pass: u8, more: &[HoldPoint]) -> Step {
    Step {
        chemical: Chemical::Opening,
        family: Some(Family::Thio),
        application: Some(letter),
        sections: Some(SectionWork::Apply { pass }),
        hold_points: RECORDS.iter().chain(more).copied().collect(),
        hands: Hands::Stylist,
        qualification: Some(Family::Thio),
        ..step(code)
    }
}

fn rinse(code: &str, letter: char) -> Step {
    Step {
        sections: Some(SectionWork::Rinse),
        rinses: vec![letter],
        places: vec![Place::Basin],
        ..step(code)
    }
}

fn nobody(code: &str, letter: char, phase: Option<Times>) -> Step {
    Step { application: Some(letter), phase, hands: Hands::Nobody, hands_count: 0, ..step(code) }
}

fn application(letter: char, family: Family, chemical: Chemical, steps: &[&str]) -> PlannedApplication {
    PlannedApplication {
        letter,
        title: format!("product {letter}"),
        family,
        zone: PlannedZone::RootToEnd,
        straightens: letter == 'A',
        strength_most: None,
        exposure_ceiling: None,
        chemical,
        steps: steps.iter().map(|s| StepCode::from(*s)).collect(),
    }
}

/// The hold points of the shipped floor, as far as a small service has them.
pub(super) fn floor() -> Floor {
    let row = |asks: Ask, subject| Row {
        id: format!("{asks:?}"),
        subjects: vec![subject],
        asks,
        why: "as shipped".into(),
        mark: Mark::Handbook,
    };
    let opening = RECORDS.map(|p| row(Ask::HoldPoint(p), Subject::Opening));
    let more = [
        row(Ask::HoldPoint(HoldPoint::EyeProtection), Subject::Closing),
        row(Ask::Rinsed, Subject::Opening),
        row(Ask::ClosedBy(Closer::Neutraliser), Subject::CurlLotion),
        row(Ask::ExposureFromSheet, Subject::ThioStraightening),
    ];
    Floor {
        bounds: Bounds { title_chars: 60, words_chars: 400, caution_chars: 240, steps: 60, minutes: 240 },
        rows: opening.into_iter().chain(more).collect(),
    }
}

/// The protocol: it passes the floor of safety.
pub(super) fn protocol() -> Protocol {
    let sheet = Some(Times { target_min: None, least_min: None, most_min: None, source: Source::Sheet });
    Protocol {
        code: "sample".into(),
        title: "Sample".into(),
        revision: 1,
        family: Family::Thio,
        kind: Kind::Service,
        head: Head::Virgin,
        retouch: Some(Retouch {
            target_mm: 25.0,
            least_weeks: 10,
            middle_weeks: 12,
            latest_weeks: 20,
            mark: Mark::CommonPractice,
        }),
        applications: vec![
            application('A', Family::Thio, Chemical::Opening, &["apply-1", "apply-2"]),
            application('B', Family::Thio, Chemical::Opening, &["wind"]),
            application('C', Family::PeroxideNeutraliser, Chemical::Closing, &["neutralise"]),
        ],
        sections: Section::QUADRANTS.to_vec(),
        steps: vec![
            step("section"),
            Step {
                exposure: sheet,
                window_min: Some(15),
                minutes_typical: 8,
                ..opening("apply-1", 'A', 1, &[HoldPoint::Base, HoldPoint::HairDry])
            },
            Step {
                window_min: Some(15),
                minutes_typical: 7,
                ..opening("apply-2", 'A', 2, &[HoldPoint::Base])
            },
            nobody("cover", 'A', cp(Some(10), None, Some(15))),
            Step {
                application: Some('A'),
                sections: Some(SectionWork::Smooth),
                minutes_typical: 10,
                ..step("smooth")
            },
            rinse("rinse-a", 'A'),
            Step {
                exposure: cp(None, Some(10), Some(65)),
                look: CURLS,
                rods: true,
                minutes_typical: 35,
                minutes_least: 30,
                hands_count: 2,
                ..opening("wind", 'B', 1, &[])
            },
            Step { look: CURLS, ..nobody("process", 'B', cp(Some(15), Some(10), Some(20))) },
            rinse("rinse-b", 'B'),
            Step {
                chemical: Chemical::Closing,
                family: Some(Family::PeroxideNeutraliser),
                application: Some('C'),
                hold_points: vec![HoldPoint::Gloves, HoldPoint::EyeProtection, HoldPoint::Scalp],
                ..step("neutralise")
            },
            nobody("hold", 'C', cp(Some(10), Some(10), Some(15))),
            rinse("rinse-c", 'C'),
            step("finish"),
        ],
        stop_words: vec!["Cool running water, 20 minutes at least.".into()],
    }
}

/// Straightener 42 minutes at most by its sheet, products 301 (A) and 302 (B).
pub(super) fn frame() -> RunFrame {
    let product = |application, id| FrameProduct {
        application,
        product: ProductId(id),
        family: Family::Thio,
        strength: "regular".into(),
        skin_test: SkinTest::Patch,
        forbids_closing_after_stop: false,
        mixed_life_min: None,
        parts: Vec::new(),
    };
    RunFrame {
        protocol: protocol(),
        sheet: vec![SheetTimes {
            step: "apply-1".into(),
            clock: Clock::Exposure,
            target_min: Some(37),
            least_min: None,
            most_min: Some(42),
            hair: crate::domain::sheet::SheetHair::Any,
        }],
        products: vec![product('A', 301), product('B', 302)],
    }
}

/// Everything holds: patch tests placed three days before, read after 48 hours.
pub(super) fn holds() -> HoldContext {
    let test = |id| PatchTestRecord {
        product: ProductId(id),
        family: Family::Thio,
        placed_at: START - Duration::hours(72),
        readings: vec![SkinReading {
            read_at: START - Duration::hours(20),
            by: MARA,
            outcome: SkinOutcome::NoReaction,
            in_chair: true,
        }],
        formula_changed: false,
    };
    let lot = |id, product| LotRecord {
        lot: LotId(id),
        product: ProductId(product),
        expires_at: Some(START + Duration::days(100)),
        opened_until: None,
        law: LawVerdict::Within,
        withdrawn: false,
        quarantined: false,
        came_in_grams: 5000,
    };
    HoldContext {
        visit_from: START - Duration::hours(1),
        patch_test_days: 183,
        patch_tests: vec![test(301), test(302)],
        reactions: Vec::new(),
        strand_test_needed: false,
        strand_tests: Vec::new(),
        consent: Some(ConsentRecord {
            signed_at: START - Duration::minutes(30),
            guardian_needed: false,
            guardian_signed: false,
        }),
        plan: Some(PlanRecord {
            verdict: PlanVerdict::Clear,
            checked_at: START - Duration::minutes(30),
            stale: false,
        }),
        // 403: of what product 301 may be mixed with.
        lots: vec![lot(401, 301), lot(402, 302), lot(403, 303)],
    }
}

pub(super) fn actor(person: PersonId) -> Actor {
    let role = match person {
        TOBIAS => Role::Stylist,
        ONDINE => Role::Manager,
        _ => Role::Assistant,
    };
    let qualified = if role == Role::Assistant { Vec::new() } else { vec![Family::Thio] };
    Actor { person, role, qualified }
}

pub(super) fn context(min: i64, person: Option<PersonId>) -> Context {
    Context {
        now: at(min),
        actor: person.map(actor),
        station: StationId(501),
        holds: holds(),
        hands_until: None,
    }
}

/// A salon's book of one run: what the database does with what `decide` allows.
#[derive(Clone)]
pub(super) struct Book {
    pub(super) frame: RunFrame,
    pub(super) events: Vec<Event>,
    next_fact: u128,
}

impl Book {
    pub(super) fn new() -> Book {
        Book { frame: frame(), events: Vec::new(), next_fact: 1 }
    }

    /// Started at minute 0 by Tobias, scalp intact, base on, lots in the bowl, `section` done.
    pub(super) fn ready() -> Book {
        let mut book = Book::new();
        book.must(0, TOBIAS, Command::StartRun);
        book.must(0, TOBIAS, start("section"));
        book.must(0, TOBIAS, sign("apply-1", HoldPoint::Scalp, "intact"));
        book.must(0, TOBIAS, sign("apply-1", HoldPoint::PatchTest, "no-reaction-since"));
        book.must(0, MARA, sign("apply-1", HoldPoint::Base, "scalp-and-hairline-covered"));
        book.must(0, MARA, sign("apply-1", HoldPoint::HairDry, "dry"));
        book.must(0, MARA, Command::DispenseLot { application: 'A', lot: LotId(401), grams: 62.0 });
        book.must(0, MARA, Command::DispenseLot { application: 'B', lot: LotId(402), grams: 80.0 });
        for step in ["apply-1", "apply-2", "wind", "neutralise"] {
            book.must(0, TOBIAS, sign(step, HoldPoint::Gloves, "nitrile-new-pair-intact"));
        }
        book.must(0, MARA, sign("neutralise", HoldPoint::EyeProtection, "cotton-bib-towel"));
        book
    }

    pub(super) fn state(&self) -> State<'_> {
        State::fold(&self.frame, &self.events)
    }

    pub(super) fn ask(&mut self, context: &Context, command: &Command) -> Result<(), Refusals> {
        let new = decide(&self.state(), command, context)?;
        self.append(context.now, new);
        Ok(())
    }

    fn append(&mut self, now: Instant, new: Vec<NewEvent>) {
        for e in new {
            assert_eq!(
                e.fact_id.is_some(),
                matches!(e.kind, super::EventKind::Happened(_)),
                "a fact carries its name"
            );
            let doubled = e.fact_id.is_some() && self.events.iter().any(|o| o.fact_id == e.fact_id);
            assert!(!doubled, "the database holds a fact's name once");
            let seq = i64::try_from(self.events.len()).expect("few events") + 1;
            let NewEvent { happened_at, by, station, fact_id, kind, .. } = e;
            self.events.push(Event { seq, recorded_at: now, happened_at, by, station, fact_id, kind });
        }
    }

    pub(super) fn try_at(&mut self, min: i64, person: PersonId, command: Command) -> Result<(), Refusals> {
        self.ask(&context(min, Some(person)), &command)
    }

    #[track_caller]
    pub(super) fn must(&mut self, min: i64, person: PersonId, command: Command) {
        if let Err(refusals) = self.try_at(min, person, command.clone()) {
            panic!("{command:?} refused: {refusals:?}");
        }
    }

    /// A fact from a locked station, recorded at `now`.
    #[track_caller]
    pub(super) fn fact(&mut self, now: i64, happened: i64, what: Happened) -> FactId {
        let fact_id = FactId(self.next_fact);
        self.next_fact += 1;
        let command = Command::Record(Fact { fact_id, happened_at: at(happened), happened: what });
        self.ask(&context(now, None), &command).expect("a fact is recorded");
        fact_id
    }

    /// Both passes tapped, a minute a quadrant, from minute 0; apply-2 begun at minute 6.
    pub(super) fn applied() -> Book {
        let mut book = Book::ready();
        book.must(0, TOBIAS, start("apply-1"));
        for (min, section) in (0..).zip(Section::QUADRANTS) {
            book.fact(min, min, touched("apply-1", section, 1));
        }
        book.must(6, TOBIAS, start("apply-2"));
        for (min, section) in (6..).zip(Section::QUADRANTS) {
            book.fact(min, min, touched("apply-2", section, 2));
        }
        book
    }

    /// Straightener rinsed clear at minute 35, `wind` begun at 40.
    pub(super) fn winding() -> Book {
        let mut book = Book::applied();
        book.must(12, TOBIAS, start("cover"));
        book.must(20, TOBIAS, start("smooth"));
        book.must(30, MARA, start("rinse-a"));
        book.must(35, MARA, Command::FinishStep { step: "rinse-a".into() });
        book.must(40, TOBIAS, start("wind"));
        book
    }
}

pub(super) fn start(step: &str) -> Command {
    Command::StartStep { step: step.into() }
}

pub(super) fn sign(step: &str, hold_point: HoldPoint, value: &str) -> Command {
    let asks = hold_point.answer(value).is_some_and(|a| a.asks_where);
    let place = asks.then_some(HeadPlace::Crown);
    Command::SignHoldPoint { step: step.into(), signed: Signed { hold_point, value: value.into(), place } }
}

pub(super) fn touched(step: &str, section: Section, pass: u8) -> Happened {
    Happened::SectionStarted { step: step.into(), section, pass }
}

pub(super) fn clear(step: &str) -> Happened {
    Happened::SectionRinsed { step: step.into(), section: None, clear: true }
}
