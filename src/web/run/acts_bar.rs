//! The bar of acts of the Run screen.

use super::view::{Maker, link};
use crate::domain::protocol::Step;
use crate::domain::run::HeadPlace;
use crate::domain::run::headline::{Headline, NextAct};
use crate::domain::words::capital;
use crate::web::bar::{Bar, Early, MainAct, Reach, Stings, Stop};
use crate::web::once;

impl Maker<'_> {
    /// Product is on, the hair is open, or a chemical step is in hand.
    pub(super) fn gloved(&self) -> bool {
        self.state.ended.is_none()
            && self.state.started_at.is_some()
            && (self.state.product_on()
                || self.state.hair_open()
                || self.state.step_in_hand().is_some_and(Step::is_chemical))
    }

    pub(super) fn bar(&self, headline: &Headline) -> Bar {
        let facts = self.to("facts");
        let open = self.state.ended.is_none() && self.state.started_at.is_some();
        let fact =
            |kind: &str| vec![("kind".to_string(), kind.to_string()), ("fact_id".to_string(), once::key())];
        let main = open
            .then(|| self.write_down(&headline.act).or_else(|| self.main_act(headline, &facts)))
            .flatten();
        let early = main.as_ref().and_then(|m| {
            let words = self.early(&headline.act)?;
            Some(Early { words, act: m.words.clone() })
        });
        let touched = self.gloved() || self.state.chemistry_met();
        Bar {
            main,
            early,
            stings: self.gloved().then(|| Stings {
                action: facts.clone(),
                hidden: fact("sting_reported"),
                places: HeadPlace::offered(self.loaded.frame.sections())
                    .iter()
                    .map(|p| (p.code().to_string(), p.words().to_string()))
                    .collect(),
                words: tr!(
                    "Believe it: rinse that place now, then read the scalp before anything more goes on."
                )
                .into(),
            }),
            stop: (open && touched && self.state.stop.is_none()).then(|| Stop {
                action: facts.clone(),
                hidden: fact("stop_recorded"),
                aid: self.loaded.frame.protocol.stop_words.clone(),
            }),
            said: self.signing(),
        }
    }

    pub(super) fn main_act(&self, headline: &Headline, facts: &str) -> Option<MainAct> {
        let title = |code: &crate::domain::protocol::StepCode| {
            self.loaded.frame.protocol.step(code).map(|s| s.title.clone()).unwrap_or_default()
        };
        let called = |code: &crate::domain::protocol::StepCode| {
            self.loaded.frame.protocol.step(code).map(|s| self.state.closing_title(s)).unwrap_or_default()
        };
        let permission = |path: &str, words: String, mut fields: Vec<(String, String)>| {
            fields.push(("once".into(), once::key()));
            fields.push(("known".into(), self.state.seq.to_string()));
            Some(MainAct { words, action: self.to(path), reach: Reach::Permission, hidden: fields })
        };
        let pair = |a: &str, b: &str| (a.to_string(), b.to_string());
        let fact = |kind: &str, words: String, mut fields: Vec<(String, String)>| {
            fields.extend([pair("kind", kind), ("fact_id".to_string(), once::key())]);
            Some(MainAct {
                words,
                action: facts.to_string(),
                reach: Reach::Fact(kind.into()),
                hidden: fields,
            })
        };
        match &headline.act {
            NextAct::StartStep(code) => permission(
                "steps",
                tr!("Start: {}", called(code)),
                vec![pair("step", code.as_str()), pair("do", "start")],
            ),
            NextAct::FinishStep(code) => permission(
                "steps",
                tr!("Done: {}", title(code)),
                vec![pair("step", code.as_str()), pair("do", "finish")],
            ),
            NextAct::StartSection { step, section, pass } => fact(
                "section_started",
                tr!("Touching {}", section.words()),
                vec![
                    pair("step", step.as_str()),
                    pair("section", section.code()),
                    ("pass".into(), pass.to_string()),
                ],
            ),
            NextAct::RinseSection { step, section } => fact(
                "section_rinsed",
                tr!("{} runs clear", capital(section.words())),
                vec![pair("step", step.as_str()), pair("section", section.code()), pair("clear", "yes")],
            ),
            NextAct::WaterOn { step } => fact(
                "section_rinsed",
                tr!("Water is on the whole head").into(),
                vec![pair("step", step.as_str()), pair("clear", "no")],
            ),
            NextAct::RinsePlace { place } => fact(
                "place_rinsed",
                tr!("{} rinsed", capital(place.words())),
                vec![pair("place", place.code())],
            ),
            NextAct::RinseClear { step } => fact(
                "section_rinsed",
                tr!("Whole head runs clear").into(),
                vec![pair("step", step.as_str()), pair("clear", "yes")],
            ),
            NextAct::FinishRun => {
                permission("endings", tr!("End the service").into(), vec![pair("how", "finished")])
            }
            NextAct::CloseStop => {
                permission("endings", tr!("End the stopped service").into(), vec![pair("how", "finished")])
            }
            NextAct::ReadCurl => link(tr!("Read the test curl"), "#curls"),
            NextAct::ReadLook(_) => link(tr!("Look at the hair"), "#looks"),
            NextAct::ReadScalp => link(tr!("Read the scalp"), "#scalp"),
            NextAct::ReadStop => link(tr!("Look, then answer"), "#stop"),
            NextAct::StartRun | NextAct::Nothing => None,
        }
    }
}
