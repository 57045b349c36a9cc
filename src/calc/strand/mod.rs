//! `strand`: a history, the hair it leaves, and what a plan would meet on it.

mod answer;
mod question;

use super::area::Area;
use super::{BadInput, bad};
use crate::domain::strand::{
    Exposure, Health, Known, MetalTest, PlannedApplication, Strand, StrandRefusal, Zone, check_plan,
};
use crate::reference::Reference;
use answer::Answer;
use question::{Application, Event, Question};

/// Between clients, mm a day, when the input names none (3-calc.md).
const DEFAULT_RATE_SD: f64 = 0.05;
/// No hair is longer, mm; beyond this millimetre arithmetic means nothing.
const MOST_LENGTH_MM: f64 = 1e9;
/// Most exposures and measurements one strand carries, all pieces together.
const MOST_BURDEN: usize = 200_000;
/// Events between two countings of that.
const WEIGH_EVERY: usize = 32;
/// Most pieces looked at by all applications of a plan together.
const MOST_LOOKS: usize = 2_000_000;
/// Steps of work of one such look.
const LOOK_WORK: u64 = 20;

pub(super) struct StrandHistory;

impl Area for StrandHistory {
    const NAME: &'static str = "strand";
    const EXAMPLE: &'static str = r#"{"length_mm":200,"on":"2025-01-10","rate_mm_per_day":0.30,"rate_sd":0.05,"events":[
    {"on":"2025-01-10","did":"apply","family":"sodium-hydroxide","zone":"root-to-end"},
    {"on":"2025-04-10","did":"measure","new_growth_mm":28,"sd_mm":2},
    {"on":"2025-04-10","did":"trim","mm":10},
    {"on":"2025-04-10","did":"apply","family":"thio","zone":"new-growth","known":"recorded"}],
 "as_of":"2025-09-01","plan":[
    {"family":"thio","zone":"new-growth","straightens":true,"strength":"mild"},
    {"family":"oxidative-colour","zone":{"from_mm":0,"to_mm":60}}]}"#;
    type Question = Question;
    type Answer = Answer;

    /// Every event walks the pieces that those before it left: two new edges each at most.
    fn work(question: &Question) -> Result<u64, BadInput> {
        let events = question.events.0.len() as u64;
        let plan = question.plan.as_ref().map_or(0, |plan| plan.0.len() as u64);
        let looks = (plan * (2 * events + 2 * plan + 1)).min(MOST_LOOKS as u64);
        Ok(2 * events * events + LOOK_WORK * looks)
    }

    fn dear() -> String {
        format!(
            "Steps are 2 × events × events, and {LOOK_WORK} for each look of an application at a piece: applications × (2 × \
             events + 2 × applications + 1) at most. A strand carries at most {MOST_BURDEN} exposures and measurements, all \
             pieces together, and a plan takes at most {MOST_LOOKS} looks."
        )
    }

    fn answer(question: Question) -> Result<Answer, BadInput> {
        let strand = grown(&question)?;
        let given = question.plan.as_ref().map_or(&[][..], |plan| &plan.0);
        let plan = given.iter().enumerate().map(|(i, a)| planned(i, a)).collect::<Result<Vec<_>, _>>()?;
        let metal_test = match question.metal_test {
            Some(question::MetalTest::NegativeNoSilver) => MetalTest::NegativeNoSilver,
            Some(question::MetalTest::NotCleared) | None => MetalTest::NotCleared,
        };
        let named = plan.iter().filter(|p| !matches!(p.zone, Zone::NewGrowth | Zone::RootToEnd)).count();
        let pieces = strand.pieces().count() + 2 * named + 1;
        let too_much = || bad("/plan", "too large a plan for so long a history");
        if plan.len().saturating_mul(pieces) > MOST_LOOKS {
            return Err(too_much());
        }
        let rules = &Reference::shipped().rules;
        let findings = check_plan(&strand, &plan, rules, Health { metal_test }).map_err(|_| too_much())?;
        Ok(Answer::of(&strand, &findings))
    }
}

/// The strand as it stands at `as_of`.
fn grown(question: &Question) -> Result<Strand, BadInput> {
    let rate_sd = question.rate_sd.map_or(DEFAULT_RATE_SD, |sd| sd.0);
    let mut strand = Strand::new(question.length_mm.0, question.on.0, question.rate_mm_per_day.0, rate_sd);
    bounded(&strand, || "/length_mm".into())?;
    for (index, event) in question.events.0.iter().enumerate() {
        happen(&mut strand, index, event)?;
        bounded(&strand, || event_at(index, ""))?;
        // Counting the history walks the whole strand: now and then is enough, one event adds no more than it has.
        if index % WEIGH_EVERY == 0 && strand.burden() > MOST_BURDEN {
            return Err(bad(event_at(index, ""), "too long a history for one strand"));
        }
    }
    strand.grow_to(question.as_of.0).map_err(|why| bad("/as_of", words(why)))?;
    bounded(&strand, || "/rate_mm_per_day".into())?;
    if strand.burden() > MOST_BURDEN {
        return Err(bad("", "too long a history for one strand"));
    }
    if strand.demarcations().any(|(_, sd_mm)| !sd_mm.is_finite()) {
        return Err(bad("", "these numbers are too large to reckon with"));
    }
    Ok(strand)
}

fn event_at(index: usize, below: &str) -> String {
    format!("/events/{index}{below}")
}

fn bounded(strand: &Strand, at: impl Fn() -> String) -> Result<(), BadInput> {
    let length_mm = strand.roughly_mm();
    if length_mm.is_nan() || length_mm > MOST_LENGTH_MM {
        Err(bad(at(), "too long to be hair"))
    } else {
        Ok(())
    }
}

/// Grows to an event's day, then does what it says.
fn happen(strand: &mut Strand, index: usize, event: &Event) -> Result<(), BadInput> {
    let at = |below: &'static str| move |why| bad(event_at(index, below), words(why));
    strand.grow_to(event.on()).map_err(at("/on"))?;
    match event {
        Event::Apply { on, family, zone, known, on_sd_days } => {
            let zone = zone.checked(|| event_at(index, "/zone"))?;
            let known = known.map_or(Known::Recorded, |known| known.0);
            let on_sd_days = on_sd_days.unwrap_or_default().0;
            strand
                .apply(zone, Exposure { family: family.0, on: on.0, known, on_sd_days, straightened: None });
            Ok(())
        }
        Event::Measure { new_growth_mm, sd_mm, .. } => {
            strand.measure(new_growth_mm.0, sd_mm.0).map_err(at(""))
        }
        Event::Trim { mm, .. } => strand.trim(mm.0).map_err(at("/mm")),
    }
}

fn words(why: StrandRefusal) -> &'static str {
    match why {
        StrandRefusal::DateOutOfOrder => "earlier than what came before it",
        StrandRefusal::TrimTakesAll => "a trim of the whole length or more",
        StrandRefusal::RootNotBare => "the root is not bare: there is no new growth to measure",
        StrandRefusal::NothingBehind => "nothing lies behind the new growth to measure from",
    }
}

fn planned(index: usize, application: &Application) -> Result<PlannedApplication, BadInput> {
    Ok(PlannedApplication {
        family: application.family.0,
        zone: application.zone.checked(|| format!("/plan/{index}/zone"))?,
        straightens: application.straightens.unwrap_or(false),
        strength: application.strength.map(|strength| strength.0),
    })
}
