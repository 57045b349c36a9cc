//! The service of a draft as a whole, as a form: its words, when it is due again, its sections, how strong its products
//! may be.

use crate::domain::length;
use serde::Deserialize;

use super::draft::sentences;
use crate::domain::chemistry::Strength;
use crate::domain::protocol::edit::ServiceChange;
use crate::domain::protocol::{Chemical, Protocol, Retouch, Section};
use crate::web::form::{Choice, Errors};
use crate::web::typed;

/// Places of a list of sections: quadrants or nine blocks, and the hairline.
const SECTION_PLACES: usize = 10;

/// The service as typed, one field a text.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    pub once: String,
    pub version: i32,
    /// The unit the form was shown in.
    pub unit: String,
    pub title: String,
    /// One an application, in their order.
    pub application: Vec<String>,
    /// The strongest, one an application that opens, in their order; empty for what the hair takes.
    pub strength: Vec<String>,
    pub target_mm: String,
    pub least_weeks: String,
    pub middle_weeks: String,
    pub latest_weeks: String,
    /// In the order they are worked; empty places count for nothing.
    pub sections: Vec<String>,
    /// A sentence a line.
    pub stop_words: String,
}

impl Typed {
    /// What stands in the form when nothing was typed.
    pub fn of(p: &Protocol) -> Typed {
        let r = p.retouch;
        let weeks = |w: fn(Retouch) -> u16| r.map(|r| w(r).to_string()).unwrap_or_default();
        let opening = p.applications.iter().filter(|a| a.chemical == Chemical::Opening);
        Typed {
            title: p.title.clone(),
            application: p.applications.iter().map(|a| a.title.clone()).collect(),
            strength: opening
                .map(|a| a.strength_most.map(|s| s.code().to_owned()).unwrap_or_default())
                .collect(),
            target_mm: r.map(|r| length::written(r.target_mm)).unwrap_or_default(),
            least_weeks: weeks(|r| r.least_weeks),
            middle_weeks: weeks(|r| r.middle_weeks),
            latest_weeks: weeks(|r| r.latest_weeks),
            sections: p.sections.iter().map(|s| s.code().to_owned()).collect(),
            stop_words: p.stop_words.join("\n"),
            ..Typed::default()
        }
    }

    /// Everything typed, with its label, to be copied where it has no place any more.
    pub fn texts(&self) -> Vec<(&'static str, String)> {
        vec![
            (tr!("Title"), self.title.clone()),
            (tr!("Products"), self.application.join("\n")),
            (tr!("Said when anybody stops the service"), self.stop_words.clone()),
        ]
    }

    /// What was meant, as far as it can be read; whether it keeps the floor is judged of the whole.
    pub fn read(&self, p: &Protocol) -> (ServiceChange, Errors) {
        let mut e = Errors::none();
        let title = typed::line(&mut e, "title", &self.title, 200);
        let mut applications = Vec::new();
        for (i, a) in p.applications.iter().enumerate() {
            let raw = self.application.get(i).map_or("", String::as_str);
            applications.push(typed::line(&mut e, &format!("application-{}", a.letter), raw, 200));
        }
        let mut strengths = Vec::new();
        for a in p.applications.iter().filter(|a| a.chemical == Chemical::Opening) {
            let raw = self.strength.get(strengths.len()).map_or("", String::as_str);
            let read = Strength::from_code(raw);
            if read.is_none() && !raw.is_empty() {
                e.note(format!("strength-{}", a.letter), tr!("Choose the strongest it may be."));
            }
            strengths.push(read);
        }
        let figure = |e: &mut Errors, name: &str, raw: &String, most: f64, what: &str| {
            typed::needed_number(e, name, raw, (1.0, most), what)
        };
        let retouch = p.retouch.map(|kept| {
            let mut weeks =
                |name: &str, raw: &String| figure(&mut e, name, raw, 104.0, tr!("whole weeks")) as u16;
            let least_weeks = weeks("least_weeks", &self.least_weeks);
            let middle_weeks = weeks("middle_weeks", &self.middle_weeks);
            let latest_weeks = weeks("latest_weeks", &self.latest_weeks);
            let target_mm = typed::needed_length(
                &mut e,
                "target_mm",
                &self.target_mm,
                (1.0, 300.0),
                tr!("the new growth to treat"),
            );
            Retouch { target_mm, least_weeks, middle_weeks, latest_weeks, mark: kept.mark }
        });
        let stop = typed::lines(&mut e, "stop_words", &self.stop_words, 6000);
        let change = ServiceChange {
            title,
            applications,
            strengths,
            retouch,
            sections: read_sections(&self.sections),
            stop_words: sentences(&stop),
        };
        (change, e)
    }
}

/// The sections chosen, place by place.
pub fn read_sections(typed: &[String]) -> Vec<Section> {
    typed.iter().take(SECTION_PLACES).filter_map(|c| Section::from_code(c)).collect()
}

/// Each place of a list of sections, with what may stand there.
pub fn section_places(chosen: &[String]) -> Vec<Vec<Choice>> {
    let all = || Section::ALL.iter().map(|s| (s.code(), s.words()));
    let chosen: Vec<&str> = chosen.iter().map(String::as_str).filter(|c| !c.is_empty()).collect();
    let place = |i: usize| {
        let here = chosen.get(i).copied().unwrap_or_default();
        Choice::list(std::iter::once(("", "–")).chain(all()), &[here])
    };
    (0..SECTION_PLACES).map(place).collect()
}

/// A product as the form shows it.
pub struct ProductFields {
    pub letter: char,
    pub title: String,
    /// How strong it may be; none for what closes.
    pub strengths: Vec<Choice>,
    /// What is wrong with what it is called; empty for nothing.
    pub wrong: String,
}

/// The products, with what was typed of them.
pub fn products(p: &Protocol, f: &Typed, errors: &Errors) -> Vec<ProductFields> {
    let mut openings = 0;
    let mut fields = Vec::new();
    for (i, a) in p.applications.iter().enumerate() {
        let mut strengths = Vec::new();
        if a.chemical == Chemical::Opening {
            let chosen = f.strength.get(openings).map_or("", String::as_str);
            let all = Strength::ALL.iter().map(|s| (s.code(), s.words()));
            strengths = Choice::list(std::iter::once(("", tr!("what the hair takes"))).chain(all), &[chosen]);
            openings += 1;
        }
        let title = f.application.get(i).cloned().unwrap_or_default();
        let wrong = errors.of(&format!("application-{}", a.letter)).to_owned();
        fields.push(ProductFields { letter: a.letter, title, strengths, wrong });
    }
    fields
}
