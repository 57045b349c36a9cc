//! The service that is searched: small, lawful, with one opening step or two.

use rinsebell::domain::access::Role;
use rinsebell::domain::chemistry::family::Family;
use rinsebell::domain::ids::{LotId, PersonId, ProductId, StationId};
use rinsebell::domain::protocol::{
    Chemical, Hands, Head, Heat, HoldPoint, Kind, Mark, Place, PlannedApplication, PlannedZone, Protocol,
    Retouch, Section, SectionWork, Source, Step, StepCode, Times,
};
use rinsebell::domain::run::holds::{
    ConsentRecord, FrameProduct, HoldContext, LawVerdict, LotRecord, PatchTestRecord, PlanRecord,
    PlanVerdict, SkinOutcome, SkinReading, SkinTest,
};
use rinsebell::domain::run::{Actor, Context, Instant, RunFrame};
use time::Duration;
use time::macros::datetime;

/// How many opening steps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// One application.
    One,
    /// Two, each rinsed.
    Two,
}

const START: Instant = datetime!(2026-05-14 13:40 UTC);
/// Minutes of each tick. Signed at 0, a scalp reading has lapsed at 100; signed at 10, it holds to
/// the very instant (90 minutes). On at 0, the longest of 30 minutes is not over at 10, and is at 100.
pub const TICKS: [i64; 3] = [0, 10, 100];
/// The longest an application may stay on, minutes.
pub const MOST_MIN: u16 = 30;

/// At the chair; the run's stylist.
pub const TOBIAS: PersonId = PersonId(901);
/// At the basin; a stylist.
pub const UNA: PersonId = PersonId(902);
/// An assistant.
pub const MARA: PersonId = PersonId(903);

/// The instant of a tick.
pub fn at(tick: u8) -> Instant {
    START + Duration::minutes(TICKS[usize::from(tick)])
}

/// Long after everything.
pub fn long_after() -> Instant {
    START + Duration::minutes(600)
}

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

fn opening(code: &str, letter: char) -> Step {
    let source = Source::Default { mark: Mark::CommonPractice };
    Step {
        chemical: Chemical::Opening,
        family: Some(Family::Thio),
        application: Some(letter),
        sections: Some(SectionWork::Apply { pass: 1 }),
        exposure: Some(Times { target_min: Some(20), least_min: None, most_min: Some(MOST_MIN), source }),
        hold_points: vec![
            HoldPoint::PatchTest,
            HoldPoint::Scalp,
            HoldPoint::StrandTest,
            HoldPoint::Plan,
            HoldPoint::Consent,
            HoldPoint::Lot,
            HoldPoint::Gloves,
            HoldPoint::Barrier,
        ],
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

fn application(letter: char, family: Family, chemical: Chemical, code: &str) -> PlannedApplication {
    PlannedApplication {
        letter,
        title: format!("product {letter}"),
        family,
        zone: PlannedZone::RootToEnd,
        straightens: false,
        strength_most: None,
        exposure_ceiling: None,
        chemical,
        steps: vec![StepCode::from(code)],
    }
}

/// What the run is held to.
pub fn frame(shape: Shape) -> RunFrame {
    let neutralise = Step {
        chemical: Chemical::Closing,
        family: Some(Family::PeroxideNeutraliser),
        application: Some('C'),
        hold_points: vec![HoldPoint::Gloves, HoldPoint::EyeProtection, HoldPoint::Scalp],
        ..step("neutralise")
    };
    let mut applications = vec![application('A', Family::Thio, Chemical::Opening, "apply")];
    let mut steps = vec![opening("apply", 'A'), rinse("rinse-a", 'A')];
    if shape == Shape::Two {
        applications.push(application('B', Family::Thio, Chemical::Opening, "wind"));
        steps.extend([opening("wind", 'B'), rinse("rinse-b", 'B')]);
    }
    applications.push(application('C', Family::PeroxideNeutraliser, Chemical::Closing, "neutralise"));
    steps.extend([neutralise, rinse("rinse-c", 'C')]);
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
        protocol: Protocol {
            code: "model".into(),
            title: "Model".into(),
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
            applications,
            sections: Section::QUADRANTS.to_vec(),
            steps,
            stop_words: vec!["Cool running water, 20 minutes at least.".into()],
        },
        sheet: Vec::new(),
        products: vec![product('A', 301), product('B', 302)],
    }
}

/// What lies outside the run holds throughout; the search is of the run.
fn holds() -> HoldContext {
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
        came_in_grams: 1_000,
    };
    let signed_at = START - Duration::minutes(30);
    HoldContext {
        visit_from: START - Duration::hours(1),
        patch_test_days: 183,
        patch_tests: vec![test(301), test(302)],
        reactions: Vec::new(),
        strand_test_needed: false,
        strand_tests: Vec::new(),
        consent: Some(ConsentRecord { signed_at, guardian_needed: false, guardian_signed: false }),
        plan: Some(PlanRecord { verdict: PlanVerdict::Clear, checked_at: signed_at, stale: false }),
        lots: vec![lot(401, 301), lot(402, 302)],
    }
}

/// What `decide` is told: the tick, who asks (nobody at a locked station), and where.
pub fn context(tick: u8, person: Option<PersonId>, station: usize) -> Context {
    let actor = person.map(|person| {
        let role = if person == MARA { Role::Assistant } else { Role::Stylist };
        let qualified = if person == MARA { Vec::new() } else { vec![Family::Thio] };
        Actor { person, role, qualified }
    });
    let station = StationId(if station == 0 { 501 } else { 502 });
    Context { now: at(tick), actor, station, holds: holds(), hands_until: None }
}
