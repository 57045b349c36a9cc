//! What the database checks of a protocol and of the floor, as JSON: every figure and code, no words but the stop
//! words and the cautions of law. The database holds the same rows against it (`migrations/0015_floor.sql`).

use serde_json::{Map, Value, json};

use crate::domain::protocol::floor::{Ask, Floor, Row};
use crate::domain::protocol::{Protocol, SectionWork, Source, Step, Times, lawful};

/// A protocol's document.
pub fn of(protocol: &Protocol) -> Value {
    let applications: Vec<Value> = protocol
        .applications
        .iter()
        .map(|a| {
            json!({
                "letter": a.letter.to_string(),
                "family": a.family.code(),
                "zone": a.zone.code(),
                "straightens": a.straightens,
                "strength_most": a.strength_most.map(|s| s.code()),
                "chemical": a.chemical.code(),
                "steps": a.steps.iter().map(|s| s.as_str()).collect::<Vec<_>>(),
            })
        })
        .collect();
    json!({
        "code": protocol.code,
        "revision": protocol.revision,
        "kind": protocol.kind.code(),
        "head": protocol.head.code(),
        "family": protocol.family.code(),
        "sections": protocol.sections.iter().map(|s| s.code()).collect::<Vec<_>>(),
        "stop_words": protocol.stop_words,
        "retouch": protocol.retouch.is_some(),
        "applications": applications,
        "steps": protocol.steps.iter().map(|s| step(protocol, s)).collect::<Vec<_>>(),
    })
}

fn step(protocol: &Protocol, s: &Step) -> Value {
    let (work, pass) = match s.sections {
        None => (None, None),
        Some(SectionWork::Apply { pass }) => (Some("apply"), Some(pass)),
        Some(SectionWork::Smooth) => (Some("smooth"), None),
        Some(SectionWork::Rinse) => (Some("rinse"), None),
    };
    json!({
        "code": s.code.as_str(),
        "chemical": s.chemical.code(),
        "family": s.family.map(|f| f.code()),
        "normalises": s.normalises,
        "application": s.application.map(String::from),
        "work": work,
        "pass": pass,
        "sections": s.sections.map(|_| protocol.sections_of(s).iter().map(|x| x.code()).collect::<Vec<_>>()),
        "rinses": s.rinses.iter().map(|l| l.to_string()).collect::<Vec<_>>(),
        "mix": s.mix.as_ref().map(|m| json!({
            "for": m.application.to_string(),
            "parts": m.parts.iter().map(|p| p.code()).collect::<Vec<_>>(),
        })),
        "heat": s.heat.code(),
        "look": s.look.map(|l| json!({"what": l.what.code(), "every": l.every_min, "from": l.from_min})),
        "records": s.records.map(|r| r.code()),
        "rods": s.rods,
        "optional": s.optional,
        "needs": s.hold_points.iter().map(|p| p.code()).collect::<Vec<_>>(),
        "phase": s.phase.map(times),
        "exposure": s.exposure.map(times),
        "window": s.window_min,
        "hands": s.hands.code(),
        "count": s.hands_count,
        "least": s.minutes_least,
        "typical": s.minutes_typical,
        "qualification": s.qualification.map(|f| f.code()),
        "law": lawful::of_step(s).map(|c| c.words.as_str()).collect::<Vec<_>>(),
    })
}

fn times(t: Times) -> Value {
    let source = match t.source {
        Source::Sheet => "sheet",
        Source::Default { mark } => mark.code(),
    };
    json!({"target": t.target_min, "least": t.least_min, "most": t.most_min, "source": source})
}

/// The floor's document: what each row asks, without its reason.
pub fn of_floor(floor: &Floor) -> Value {
    Value::Array(floor.rows.iter().map(row).collect())
}

fn row(row: &Row) -> Value {
    let mut of = Map::new();
    let mut put = |key: &str, value: Value| of.insert(key.to_owned(), value);
    put("id", row.id.clone().into());
    put("of", row.subjects.iter().map(|s| s.code()).collect::<Vec<_>>().into());
    let asks = match &row.asks {
        Ask::HoldPoint(p) => ("hold-point", Some(("hold_point", p.code().into()))),
        Ask::FirstHoldPoint(p) => ("first-hold-point", Some(("hold_point", p.code().into()))),
        Ask::AtWorkHoldPoint(p) => ("at-work-hold-point", Some(("hold_point", p.code().into()))),
        Ask::ExposureFromSheet => ("exposure-from-sheet", None),
        Ask::ExposureMost(m) => ("exposure-most", Some(("minutes", (*m).into()))),
        Ask::PhaseMost(m) => ("phase-most", Some(("minutes", (*m).into()))),
        Ask::PhaseLeast(m) => ("phase-least", Some(("minutes", (*m).into()))),
        Ask::WindowMost(m) => ("window-most", Some(("minutes", (*m).into()))),
        Ask::Rinsed => ("rinsed", None),
        Ask::ClosedBy(c) => ("closed-by", Some(("closer", c.code().into()))),
        Ask::RinseLeast(m) => ("rinse-least", Some(("minutes", (*m).into()))),
        Ask::NoHeat => ("no-heat", None),
        Ask::LastSection(s) => ("last-section", Some(("section", s.code().into()))),
        Ask::BackFirst => ("back-first", None),
        Ask::NewGrowth(h) => ("new-growth", Some(("head", h.code().into()))),
        Ask::NotRootToEnd(h) => ("not-root-to-end", Some(("head", h.code().into()))),
        Ask::StrengthMost(h, s) => {
            put("strength", s.code().into());
            ("strength-most", Some(("head", h.code().into())))
        }
        Ask::Mixed => ("mixed", None),
        Ask::Watched(l, m, from) => {
            put("look", l.code().into());
            put("from", (*from).into());
            ("watched", Some(("minutes", (*m).into())))
        }
        Ask::NeverWith(g) => ("never-with", Some(("group", g.code().into()))),
        Ask::StylistHands => ("stylist-hands", None),
        Ask::Qualified => ("qualified", None),
        Ask::NotOptional => ("not-optional", None),
        Ask::StopWords(words) => ("stop-words", Some(("words", words.clone().into()))),
    };
    put("asks", asks.0.into());
    if let Some((key, value)) = asks.1 {
        put(key, value);
    }
    Value::Object(of)
}
