//! Lessons as printed: words for a person, or JSON with unrounded numbers.

use crate::domain::growth::lesson::{Both, Learned};
use crate::domain::growth::{Lesson, Rate};
use crate::domain::ids::SalonId;
use serde_json::{Value, json};
use std::fmt::Write;

/// One curl and what its clients teach.
#[derive(Clone, Debug)]
pub struct Group {
    /// Code of the curl.
    pub curl: String,
    /// The study of the published prior; none when the document gave its own.
    pub source: Option<String>,
    /// The lesson.
    pub lesson: Lesson,
}

/// One salon's lessons.
#[derive(Clone, Debug)]
pub struct Salon {
    /// Which.
    pub id: SalonId,
    /// Its name.
    pub name: String,
    /// One for each curl that has a published row.
    pub groups: Vec<Group>,
}

/// The lessons of salons.
pub fn of_salons(salons: &[Salon], as_json: bool) -> String {
    if as_json {
        let one = |s: &Salon| json!({"salon": s.id.0, "name": s.name, "groups": groups_json(&s.groups)});
        return json!({"salons": salons.iter().map(one).collect::<Vec<_>>()}).to_string();
    }
    if salons.is_empty() {
        return "No salon is here yet.".into();
    }
    let one = |s: &Salon| format!("Salon {}, {}\n{}", s.id, s.name, groups_text(&s.groups));
    salons.iter().map(one).collect::<Vec<_>>().join("\n\n")
}

/// The lessons of a document.
pub fn of_document(groups: &[Group], as_json: bool) -> String {
    if as_json { json!({"groups": groups_json(groups)}).to_string() } else { groups_text(groups) }
}

fn groups_json(groups: &[Group]) -> Vec<Value> {
    let rate = |r: Rate| json!({"mean_mm_per_day": r.mean, "sd_mm_per_day": r.sd});
    let both = |b: Both<f64>| json!({"published": b.published, "learned": b.learned});
    let one = |g: &Group| {
        let (l, learned) = (&g.lesson, g.lesson.learned.as_ref());
        json!({
            "curl": g.curl,
            "published": rate(l.published),
            "source": g.source,
            "clients": l.clients,
            "intervals": l.intervals,
            "learned": learned.map(|x| rate(x.likeliest)),
            "learned_with_least_spread": learned.map(|x| rate(x.prior)),
            "log_likelihood": learned.map(|x| json!({"learning": both(x.teaching), "held_back": both(x.held_back)})),
            "band_80_held": learned.map(|x| json!({"published": x.in_band.published, "learned": x.in_band.learned})),
            "used": l.used(),
            "why": l.why(),
            "prior": rate(l.prior()),
        })
    };
    groups.iter().map(one).collect()
}

fn groups_text(groups: &[Group]) -> String {
    if groups.is_empty() {
        return "  No client is given.".into();
    }
    let mut text = String::new();
    for group in groups {
        let l = &group.lesson;
        let source = group.source.as_deref().unwrap_or("given");
        // Writing to a String cannot fail.
        let _ = writeln!(text, "  Curl {}", group.curl);
        let _ = writeln!(text, "    published   {} ({source})", rate_words(l.published));
        match &l.learned {
            None => {
                let _ = writeln!(
                    text,
                    "    learned     nothing: {} clients, {} intervals",
                    l.clients, l.intervals
                );
            }
            Some(learned) => learned_text(&mut text, l, learned),
        }
        let _ = writeln!(text, "    {}: {}", if l.used() { "used" } else { "not used" }, l.why());
    }
    text.trim_end().to_owned()
}

fn learned_text(text: &mut String, l: &Lesson, learned: &Learned) {
    let raised = if learned.prior.sd > learned.likeliest.sd {
        format!(" (used with {:.4}, half the published spread)", learned.prior.sd)
    } else {
        String::new()
    };
    let (teaching, back, held) = (learned.teaching, learned.held_back, learned.in_band);
    let share = |n: usize| format!("{n} of {} ({:.0} %)", l.intervals, 100.0 * n as f64 / l.intervals as f64);
    let _ = write!(
        text,
        "    learned     {}{raised} from {} clients, {} intervals
    log-likelihood of all who taught it      published {:.2}, learned {:.2}
    log-likelihood of each fifth held back   published {:.2}, learned {:.2}
    80 % band held on what was held back     published {}, learned {}
",
        rate_words(learned.likeliest),
        l.clients,
        l.intervals,
        teaching.published,
        teaching.learned,
        back.published,
        back.learned,
        share(held.published),
        share(held.learned),
    );
}

fn rate_words(rate: Rate) -> String {
    format!("{:.4} ± {:.4} mm a day", rate.mean, rate.sd)
}
