//! Servers broken on purpose, one for each rule: a search that cannot find them proves nothing.

use super::book::Record;
use rinsebell::domain::protocol::HoldPoint;
use rinsebell::domain::run::state::StepState;
use rinsebell::domain::run::{
    Breach, Command, Context, Event, EventKind, Granted, NewEvent, Refusal, Refusals, RunFrame, State, decide,
};

/// How the server is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Not at all.
    None,
    /// Opening steps do not wait for the scalp.
    ScalpSkipped,
    /// Opening steps do not wait for a stop.
    StopForgotten,
    /// The breach of a late stop is left out.
    BreachLeftOut,
    /// A breach is on record that is none.
    BreachInvented,
    /// Rinsing waits until a stop was read.
    RinseShutOut,
    /// A fact sent again is recorded again.
    FactDoubled,
    /// A fact that comes late is thanked for and dropped.
    FactDropped,
    /// A station numbers events as they come in.
    FoldedByArrival,
    /// An offer hands the run over.
    OfferIsEnough,
    /// A stop is ended without a reading.
    StopClosedUnread,
    /// The longest allowed passes in silence.
    OverrunLeftOut,
    /// A begin that nobody tapped on the head map leaves no product on.
    BeginForgotten,
    /// After a stop was ended an opening step begins again, closed hair or not.
    ClosingForgotten,
}

impl Fault {
    /// `decide`, broken or not.
    pub fn decide(
        self,
        record: &Record,
        command: &Command,
        context: &Context,
    ) -> Result<Vec<NewEvent>, Refusals> {
        let state = &record.state;
        match (self, command) {
            (Fault::ScalpSkipped, Command::StartStep { .. }) => {
                let frame = without_scalp(state.frame);
                decide(&State::fold(&frame, &record.events), command, context)
            }
            (Fault::StopForgotten, Command::StartStep { .. }) => {
                decide(&State { stop: None, ..state.clone() }, command, context)
            }
            (Fault::RinseShutOut, Command::StartStep { step }) => {
                let unread = state.stop.is_some_and(|s| s.read.is_none());
                if unread && step.as_str().starts_with("rinse") {
                    return Err(vec![Refusal::StopReadingMissing]);
                }
                decide(state, command, context)
            }
            (Fault::ClosingForgotten, Command::StartStep { .. }) => {
                let mut open = state.clone();
                open.steps.iter_mut().skip(2).for_each(|s| *s = StepState::default());
                decide(&open, command, context)
            }
            (Fault::FactDoubled, Command::Record(_)) => {
                decide(&State { facts: Default::default(), ..state.clone() }, command, context)
            }
            (Fault::FactDropped, Command::Record(fact)) if fact.happened_at < context.now => Ok(Vec::new()),
            (Fault::OfferIsEnough, Command::OfferHandover { to }) => {
                let mut new = decide(state, command, context)?;
                let accepted = EventKind::Granted(Granted::HandoverAccepted);
                new.push(NewEvent { by: Some(*to), kind: accepted, ..new[0].clone() });
                new.remove(0);
                Ok(new)
            }
            (Fault::StopClosedUnread, Command::CloseStop { .. }) => {
                let mut read = state.clone();
                if let Some(stop) = &mut read.stop {
                    stop.read = Some(true);
                }
                decide(&read, command, context)
            }
            _ => decide(state, command, context),
        }
    }

    /// What the record says went wrong.
    pub fn breaches(self, record: &Record) -> Vec<Breach> {
        let mut all = record.state.breaches(super::service::long_after());
        all.retain(|b| match self {
            Fault::BreachLeftOut => !matches!(b, Breach::OpenedAfterStop { .. }),
            Fault::OverrunLeftOut => !matches!(b, Breach::MostPassed { .. }),
            _ => true,
        });
        if self == Fault::BreachInvented {
            all.push(Breach::LeftOpen { at: super::service::long_after() });
        }
        all
    }

    /// Whether product is on.
    pub fn product_on(self, record: &Record) -> bool {
        if self != Fault::BeginForgotten {
            return record.state.product_on();
        }
        let begun = |e: &Event| matches!(e.kind, EventKind::Granted(Granted::StepStarted { .. }));
        let events: Vec<Event> = record.events.iter().filter(|e| !begun(e)).cloned().collect();
        State::fold(record.state.frame, &events).product_on()
    }

    /// How a station numbers what it reads.
    pub fn read(self, events: &mut [Event]) {
        if self == Fault::FoldedByArrival {
            for (seq, event) in (1..).zip(events) {
                event.seq = seq;
            }
        }
    }
}

fn without_scalp(frame: &RunFrame) -> RunFrame {
    let mut frame = frame.clone();
    for step in &mut frame.protocol.steps {
        step.hold_points.retain(|p| *p != HoldPoint::Scalp);
    }
    frame
}
