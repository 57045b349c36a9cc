//! What stations ask for and tap.

use super::service::{Shape, TOBIAS, UNA};
use rinsebell::domain::ids::{LotId, PersonId};
use rinsebell::domain::protocol::{HoldPoint, Section};
use rinsebell::domain::run::{
    Command, Context, Fact, FactId, Happened, HeadPlace, Signed, State, hold_point_refusals,
};

const GLOVES: &str = "nitrile-new-pair-intact";

/// A command that stands on a station's page.
#[derive(Clone, Debug)]
pub struct Ask {
    /// At which station.
    pub station: usize,
    /// By whom.
    pub person: PersonId,
    /// What.
    pub command: Command,
}

pub fn sign(step: &str, hold_point: HoldPoint, value: &str) -> Command {
    let asks = hold_point.answer(value).is_some_and(|a| a.asks_where);
    let place = asks.then_some(HeadPlace::Crown);
    Command::SignHoldPoint { step: step.into(), signed: Signed { hold_point, value: value.into(), place } }
}

pub fn start(step: &str) -> Command {
    Command::StartStep { step: step.into() }
}

fn finish(step: &str) -> Command {
    Command::FinishStep { step: step.into() }
}

/// Where a search begins. A whole service has more interleavings than can be searched; each chapter
/// is searched to the end of its bounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Chapter {
    /// All but scalp and gloves is seen to.
    Begun,
    /// Product is on.
    On,
    /// Stopped, rinsed, and the skin read whole.
    Stopped,
    /// The stop was ended and all but the scalp seen to again.
    Resumed,
    /// Rinsed, and the next chemical step seen to.
    Rinsed,
}

/// Something done beforehand, by the stylist at tick 0.
pub enum Done {
    /// Asked and granted.
    Asked(Command),
    /// Put on record.
    Tapped(Tap),
}

/// What has been done when the search begins.
pub fn beforehand(shape: Shape, chapter: Chapter) -> Vec<Done> {
    let dispense = |application, lot| Command::DispenseLot { application, lot: LotId(lot), grams: 50.0 };
    let patch_test = || sign("apply", HoldPoint::PatchTest, "no-reaction-since");
    let strand_test = || sign("apply", HoldPoint::StrandTest, "not-asked");
    let barrier = |step| sign(step, HoldPoint::Barrier, "cream-and-fresh-dry-cotton");
    let mut done = vec![Command::StartRun, dispense('A', 401), patch_test(), barrier("apply")];
    if shape == Shape::Two {
        done.extend([dispense('B', 402), barrier("wind")]);
    }
    if chapter != Chapter::Begun {
        done.extend([
            sign("apply", HoldPoint::Scalp, "intact"),
            sign("apply", HoldPoint::Gloves, GLOVES),
            start("apply"),
        ]);
    }
    if chapter == Chapter::Rinsed {
        done.extend([start("rinse-a"), finish("rinse-a")]);
        match shape {
            Shape::One => done.extend([
                sign("neutralise", HoldPoint::Gloves, GLOVES),
                sign("neutralise", HoldPoint::EyeProtection, "cotton-bib-towel"),
            ]),
            Shape::Two => done.push(sign("wind", HoldPoint::Gloves, GLOVES)),
        }
    }
    let mut done: Vec<Done> = done.into_iter().map(Done::Asked).collect();
    if matches!(chapter, Chapter::Stopped | Chapter::Resumed) {
        done.extend([Tap::Stop, Tap::Clear].map(Done::Tapped));
        done.push(Done::Asked(Command::ReadStop { whole: true, early: true }));
    }
    if chapter == Chapter::Resumed {
        let close = Command::CloseStop { reason: "looked at".into() };
        let gloves = sign("apply", HoldPoint::Gloves, GLOVES);
        let again = [close, dispense('A', 401), patch_test(), strand_test(), barrier("apply"), gloves];
        done.extend(again.map(Done::Asked));
    }
    done
}

/// Every command of the two pages.
pub fn asks(shape: Shape) -> Vec<Ask> {
    let mut chair = vec![
        sign("apply", HoldPoint::Scalp, "intact"),
        sign("apply", HoldPoint::Scalp, "red"),
        sign("apply", HoldPoint::PatchTest, "no-reaction-since"),
        sign("apply", HoldPoint::Gloves, GLOVES),
        sign("apply", HoldPoint::Gloves, "torn"),
        start("apply"),
        start("rinse-a"),
        finish("rinse-a"),
        sign("neutralise", HoldPoint::Gloves, GLOVES),
        sign("neutralise", HoldPoint::EyeProtection, "cotton-bib-towel"),
        start("neutralise"),
        start("rinse-c"),
        Command::FinishRun,
        Command::OfferHandover { to: UNA },
        Command::ReadStop { whole: true, early: true },
        Command::CloseStop { reason: "looked at".into() },
    ];
    let mut basin = vec![
        start("apply"),
        start("rinse-a"),
        start("neutralise"),
        Command::AcceptHandover,
        Command::OfferHandover { to: TOBIAS },
        Command::ReadStop { whole: false, early: false },
        Command::CloseStop { reason: "looked at".into() },
        Command::LeaveRun { rinsed: true, reason: "had to go".into() },
    ];
    if shape == Shape::Two {
        chair.extend([
            sign("wind", HoldPoint::Scalp, "intact"),
            sign("wind", HoldPoint::Gloves, GLOVES),
            start("wind"),
            start("rinse-b"),
            finish("rinse-b"),
        ]);
        basin.extend([start("wind"), start("rinse-b")]);
    }
    let of = |station, person| move |command| Ask { station, person, command };
    chair.into_iter().map(of(0, TOBIAS)).chain(basin.into_iter().map(of(1, UNA))).collect()
}

/// A page offers what moves on: no answer twice, no step that is in hand. This thins out what
/// stations do, never what the server must hold against.
pub fn offered(view: &State, command: &Command, context: &Context) -> bool {
    let steps = &view.frame.protocol.steps;
    // What was begun before a stop that was ended is begun, and seen to, again.
    let again = |i: usize| view.closed_seq > view.steps[i].seq && view.steps[i].started_at.is_some();
    match command {
        Command::SignHoldPoint { step, signed } => {
            let Some(index) = view.frame.protocol.index_of(step) else { return false };
            let next = view.furthest().map_or(0, |f| f + 1);
            let turn = index == next || view.in_hand == Some(index) || again(index);
            let asked = if signed.holds() {
                !hold_point_refusals(view, &steps[index], signed.hold_point, context).is_empty()
            } else {
                !view.signatures.iter().any(|s| s.signed == *signed)
            };
            turn && asked
        }
        Command::StartStep { step } => {
            let index = view.frame.protocol.index_of(step);
            index.is_some_and(|i| view.in_hand != Some(i) || again(i))
        }
        Command::ReadStop { whole, .. } => view.stop.is_some_and(|s| s.read != Some(*whole)),
        Command::OfferHandover { to } => view.offered_to != Some(*to),
        _ => true,
    }
}

/// What is tapped as a fact.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
pub enum Tap {
    /// Product touched.
    Touch = 1,
    /// The whole head runs clear.
    Clear,
    /// Stop and rinse.
    Stop,
    /// It stings.
    Sting,
    /// Closing begun without contact.
    Closing,
    /// The station's first fact is taken back.
    TakeBack,
}

impl Tap {
    /// On which page.
    pub const fn on_page(station: usize) -> &'static [Tap] {
        if station == 0 {
            &[Tap::Touch, Tap::Stop, Tap::Sting]
        } else {
            &[Tap::Clear, Tap::Stop, Tap::Sting, Tap::Closing, Tap::TakeBack]
        }
    }

    /// The page shows it.
    pub fn shown(self, view: &State) -> bool {
        match self {
            Tap::Touch => view.in_hand == Some(0),
            Tap::Clear | Tap::Sting => view.product_on(),
            Tap::Closing => view.hair_open(),
            Tap::Stop => view.furthest().is_some(),
            Tap::TakeBack => true,
        }
    }

    fn happened(self, station: u8) -> Happened {
        match self {
            Tap::Touch => {
                Happened::SectionStarted { step: "apply".into(), section: Section::BackRight, pass: 1 }
            }
            Tap::Clear => Happened::SectionRinsed { step: "rinse-a".into(), section: None, clear: true },
            Tap::Stop => Happened::StopRecorded,
            Tap::Sting => Happened::StingReported { place: HeadPlace::Nape },
            Tap::Closing => Happened::ClosingStarted { step: "neutralise".into(), answers: Vec::new() },
            Tap::TakeBack => {
                Happened::FactWithdrawn { fact_id: fact_id(station, 0), reason: "mistaken".into() }
            }
        }
    }
}

/// The name a station gives its n-th fact.
pub const fn fact_id(station: u8, n: u8) -> FactId {
    FactId(1 + station as u128 * 10 + n as u128)
}

/// The fact as it is sent.
pub fn fact(station: u8, n: u8, tap: Tap, tick: u8) -> Fact {
    Fact {
        fact_id: fact_id(station, n),
        happened_at: super::service::at(tick),
        happened: tap.happened(station),
    }
}
