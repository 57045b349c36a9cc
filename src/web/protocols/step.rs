//! One step of a draft as a form: its words, times, hands, places and what it waits for.

use askama::Template;
use axum::extract::{Path, Query};
use axum::response::Response;
use axum_extra::extract::Form;
use serde::Deserialize;

use super::document::of_step;
use super::draft::{open, saved_words, sentences};
use super::meanwhile::{self, Meanwhile};
use super::one::found;
use super::problem;
use super::service::{read_sections, section_places};
use crate::domain::access::Act;
use crate::domain::protocol::edit::{ClockFigures, StepChange};
use crate::domain::protocol::{Hands, HoldPoint, Place, SectionWork, Source, Step, StepCode};
use crate::flow::protocols as flow;
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

/// A step as typed.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    once: String,
    version: i32,
    of: String,
    title: String,
    words: String,
    cautions: String,
    hold_points: Vec<String>,
    phase_target: String,
    phase_least: String,
    phase_most: String,
    exposure_target: String,
    exposure_least: String,
    exposure_most: String,
    window: String,
    look_every: String,
    look_from: String,
    minutes_typical: String,
    minutes_least: String,
    hands: String,
    hands_count: String,
    places: Vec<String>,
    /// Its own sections in their order; none: as the service has them.
    sections: Vec<String>,
    optional: String,
}

impl Typed {
    /// Everything typed, with its label, to be copied where it has no place any more.
    fn texts(&self) -> Vec<(&'static str, String)> {
        vec![
            (tr!("Title"), self.title.clone()),
            (tr!("What is done"), self.words.clone()),
            (tr!("Cautions"), self.cautions.clone()),
        ]
    }

    fn of(step: &Step) -> Typed {
        let m = |minutes: Option<u16>| minutes.map(|m| m.to_string()).unwrap_or_default();
        let c = StepChange::of(step);
        Typed {
            of: step.code.to_string(),
            title: c.title,
            words: c.words,
            cautions: c.cautions.join("\n"),
            hold_points: c.hold_points.iter().map(|p| p.code().to_owned()).collect(),
            phase_target: m(c.phase.target_min),
            phase_least: m(c.phase.least_min),
            phase_most: m(c.phase.most_min),
            exposure_target: m(c.exposure.target_min),
            exposure_least: m(c.exposure.least_min),
            exposure_most: m(c.exposure.most_min),
            window: m(c.window_min),
            look_every: m(c.look.map(|l| l.0)),
            look_from: m(c.look.and_then(|l| l.1)),
            minutes_typical: c.minutes_typical.to_string(),
            minutes_least: c.minutes_least.to_string(),
            hands: c.hands.code().to_owned(),
            hands_count: c.hands_count.to_string(),
            places: c.places.iter().map(|p| p.code().to_owned()).collect(),
            sections: c.order.unwrap_or_default().iter().map(|s| s.code().to_owned()).collect(),
            optional: if c.optional { "yes".to_owned() } else { String::new() },
            ..Typed::default()
        }
    }

    /// What was meant, as far as it can be read; whether it keeps the floor is judged of the whole.
    fn read(&self, step: &Step) -> (StepChange, Errors) {
        let mut e = Errors::none();
        let title = typed::line(&mut e, "title", &self.title, 200);
        let words = typed::line(&mut e, "words", &self.words, 2000);
        let cautions = typed::lines(&mut e, "cautions", &self.cautions, 6000);
        let hold_points = self.hold_points.iter().filter_map(|c| HoldPoint::from_code(c)).collect();
        let mut clock = |name: &str, [target, least, most]: [&String; 3]| ClockFigures {
            target_min: whole(&mut e, &format!("{name}_target"), target),
            least_min: whole(&mut e, &format!("{name}_least"), least),
            most_min: whole(&mut e, &format!("{name}_most"), most),
        };
        let phase = clock("phase", [&self.phase_target, &self.phase_least, &self.phase_most]);
        let exposure = clock("exposure", [&self.exposure_target, &self.exposure_least, &self.exposure_most]);
        let window_min = whole(&mut e, "window", &self.window);
        let every = whole(&mut e, "look_every", &self.look_every);
        let look =
            step.look.map(|l| (every.unwrap_or(l.every_min), whole(&mut e, "look_from", &self.look_from)));
        let change = StepChange {
            title,
            words,
            cautions: sentences(&cautions),
            hold_points,
            phase,
            exposure,
            window_min,
            look,
            minutes_typical: needed(&mut e, "minutes_typical", &self.minutes_typical),
            minutes_least: needed(&mut e, "minutes_least", &self.minutes_least),
            hands: typed::code(
                &mut e,
                "hands",
                &self.hands,
                Hands::from_code,
                tr!("Choose whose hands it needs."),
            )
            .unwrap_or(step.hands),
            hands_count: u8::try_from(needed(&mut e, "hands_count", &self.hands_count)).unwrap_or(u8::MAX),
            places: self.places.iter().filter_map(|c| Place::from_code(c)).collect(),
            order: Some(read_sections(&self.sections)).filter(|s| !s.is_empty()),
            optional: self.optional == "yes",
        };
        (change, e)
    }
}

/// Whole minutes, or nothing.
fn whole(e: &mut Errors, name: &str, raw: &str) -> Option<u16> {
    let text = raw.trim();
    if text.is_empty() {
        return None;
    }
    let read = text.parse().ok().filter(|m: &u16| *m <= 999);
    if read.is_none() {
        e.note(name, tr!("Write whole minutes, from 0 to 999."));
    }
    read
}

fn needed(e: &mut Errors, name: &str, raw: &str) -> u16 {
    if raw.trim().is_empty() {
        e.note(name, tr!("Write a whole number, from 0 to 999."));
        return 0;
    }
    whole(e, name, raw).unwrap_or(0)
}

#[derive(Template)]
#[template(path = "protocols/step.html")]
struct StepPage {
    shell: Shell,
    errors: Errors,
    once_key: String,
    code: String,
    service: String,
    title: String,
    number: usize,
    version: i32,
    typed: Typed,
    hold_points: Vec<Choice>,
    hands: Vec<Choice>,
    places: Vec<Choice>,
    /// What the step does to the hair stays: said in a sentence.
    fixed: String,
    phase_sheet: bool,
    exposure: bool,
    exposure_sheet: bool,
    window: bool,
    look: &'static str,
    /// How it works by sections; empty where it does not.
    work: String,
    sections: Vec<Vec<Choice>>,
    meanwhile: Option<Meanwhile>,
}

/// The field of the form that a fault speaks of.
fn field_of(field: &str) -> &str {
    match field {
        "title" | "words" | "cautions" | "hold_points" | "window" | "hands" | "places" | "optional" => field,
        "sections" | "order" => "sections",
        "phase" => "phase_most",
        "exposure" => "exposure_most",
        "look" => "look_every",
        "minutes" => "minutes_typical",
        _ => "",
    }
}

/// What stays as it is.
fn fixed_words(step: &Step) -> String {
    let on = step.family.map(|f| f.words()).unwrap_or_default();
    match step.chemical {
        crate::domain::protocol::Chemical::Opening => tr!("It opens the hair ({on}).", on = on),
        crate::domain::protocol::Chemical::Closing => tr!("It closes the hair.").to_owned(),
        crate::domain::protocol::Chemical::None if !step.rinses.is_empty() => {
            tr!("It rinses product off, and waits for nothing.").to_owned()
        }
        crate::domain::protocol::Chemical::None => String::new(),
    }
}

/// Which step.
#[derive(Default, Deserialize)]
#[serde(default)]
pub struct Which {
    of: String,
}

async fn render(
    seat: &Seat,
    code: &str,
    of: &str,
    typed: Option<(&Typed, Errors)>,
    stale: bool,
) -> Result<Response, Problem> {
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let (open, _) = open(&mut s, seat, code).await?;
    s.commit().await?;
    let at = open.protocol.index_of(&StepCode(of.to_owned())).ok_or(Problem::NotFound)?;
    let step = &open.protocol.steps[at];
    let refused = typed.is_some();
    // Shown as kept, what is wrong with it stands beside its fields.
    let (f, errors) = match typed {
        Some((f, errors)) => (f.clone(), errors),
        None => {
            let mut errors = Errors::none();
            of_step(at, &open.faults).for_each(|x| errors.note(field_of(x.field), x.reason.clone()));
            (Typed::of(step), errors)
        }
    };
    let saved = saved_words(seat, &open)?;
    let meanwhile = stale.then(|| {
        let mut typed = open.protocol.clone();
        typed.steps[at].change(f.read(step).0);
        Meanwhile::of(&open.protocol, &typed, saved)
    });
    let holds: Vec<&str> = f.hold_points.iter().map(String::as_str).collect();
    let places: Vec<&str> = f.places.iter().map(String::as_str).collect();
    let sheet = |t: Option<crate::domain::protocol::Times>| t.is_some_and(|t| t.source == Source::Sheet);
    let shown = StepPage {
        shell: seat.shell(now, "/protocols", &["protocols"]),
        once_key: once::key(),
        code: open.protocol.code.clone(),
        service: open.protocol.title.clone(),
        title: step.title.clone(),
        number: at + 1,
        version: open.draft.version,
        hold_points: Choice::list(HoldPoint::ALL.map(|p| (p.code(), p.title())), &holds),
        hands: Choice::list(Hands::ALL.map(|h| (h.code(), h.words())), &[f.hands.as_str()]),
        places: Choice::list(Place::ALL.map(|p| (p.code(), p.code())), &places),
        fixed: fixed_words(step),
        phase_sheet: sheet(step.phase),
        exposure: step.exposure.is_some(),
        exposure_sheet: sheet(step.exposure),
        window: step.window_min.is_some(),
        look: step.look.map_or("", |l| l.what.words()),
        work: step.sections.map_or("", work_words).to_owned(),
        sections: section_places(&f.sections),
        meanwhile,
        typed: f,
        errors,
    };
    Ok(match (shown.meanwhile.is_some(), refused) {
        (true, _) => meanwhile::again(&shown),
        (false, true) => page::refused(&shown),
        (false, false) => page::html(&shown),
    })
}

fn work_words(work: SectionWork) -> &'static str {
    match work {
        SectionWork::Apply { .. } => tr!("touched"),
        SectionWork::Smooth => tr!("smoothed"),
        SectionWork::Rinse => tr!("rinsed"),
    }
}

/// The form, with what is wrong with the step beside its fields.
pub async fn show(seat: Seat, Path(code): Path<String>, Query(q): Query<Which>) -> Answered {
    seat.require(Act::KeepProtocols)?;
    render(&seat, &code, &q.of, None, false).await
}

/// Keeps the step in the draft, below the floor or not; only a number that cannot be read is sent back. Over a draft that
/// was saved meanwhile nothing is kept: the form comes back with what was typed, and what differs beside it.
pub async fn keep(seat: Seat, Path(code): Path<String>, Form(f): Form<Typed>) -> Answered {
    let by = seat.require(Act::KeepProtocols)?.id;
    let mut s = seat.begin().await?;
    let service = found(&mut s, &seat, &code).await?;
    let draft = format!("/protocols/{code}/draft");
    let open = flow::draft(&mut s, &seat.app, &code).await?;
    let place = open.and_then(|o| Some((o.protocol.index_of(&StepCode(f.of.clone()))?, o.protocol)));
    let Some((at, mut changed)) = place else {
        if let Some(again) = once::claim(&mut s, &f.once, &draft).await? {
            return Ok(again);
        }
        drop(s);
        let what = tr!("This step, or the whole draft, was taken out meanwhile");
        return meanwhile::gone(&seat, &code, what, f.texts()).await;
    };
    let (change, errors) = f.read(&changed.steps[at]);
    if !errors.is_empty() {
        drop(s);
        return render(&seat, &code, &f.of, Some((&f, errors)), false).await;
    }
    changed.steps[at].change(change);
    if let Some(again) = once::claim(&mut s, &f.once, &draft).await? {
        return Ok(again);
    }
    match flow::save_draft(&mut s, f.version, &changed, by).await {
        Ok(()) => {}
        Err(flow::ProtocolRefused::Stale) => {
            drop(s);
            return render(&seat, &code, &f.of, Some((&f, Errors::none())), true).await;
        }
        Err(why) => return Err(problem(why, &draft)),
    }
    let wrong = of_step(at, &flow::judge(&changed, &service.shipped)).next().is_some();
    let to = if wrong { format!("{draft}/step?of={}", f.of) } else { format!("{draft}#step-{}", f.of) };
    let answer = once::settle(&mut s, &f.once, &to).await?;
    s.commit().await?;
    Ok(answer)
}
