//! The floor of safety: `shared/tables/floor.toml` into the domain's rows, every fault reported.

use std::collections::BTreeSet;
use std::sync::LazyLock;

use super::spanned::{LineFault, Node, Page, peek};
use super::{Files, Reference, ReferenceFault, fault};
use crate::domain::chemistry::Strength;
use crate::domain::chemistry::family::Group;
use crate::domain::protocol::floor::{Ask, Bounds, Closer, Floor, Row, Subject};
use crate::domain::protocol::{Head, HoldPoint, LookFor, Mark, Section};
use toml::de::DeTable;

const FILE: &str = "tables/floor.toml";

static SHIPPED: LazyLock<Floor> = LazyLock::new(|| {
    let text = Reference::text(FILE).expect("the floor is embedded: a test holds it");
    parse(text).expect("the shipped floor holds: a test holds it")
});

/// The floor shipped in the binary: what every protocol is held to.
pub fn shipped() -> &'static Floor {
    &SHIPPED
}

/// The floor of these files.
///
/// # Errors
/// Missing, or every fault of it in one message.
pub fn load(files: &Files) -> Result<Floor, ReferenceFault> {
    let text = files.text(FILE)?;
    parse(text).map_err(|faults| {
        let lines: Vec<_> =
            faults.iter().map(|f| format!("line {}: {}: {}", f.line, f.at, f.reason)).collect();
        fault(FILE, lines.join("; "))
    })
}

/// Reads the table.
///
/// # Errors
/// Every fault, by line.
pub fn parse(text: &str) -> Result<Floor, Vec<LineFault>> {
    let page = Page::new(text);
    let table = DeTable::parse(text).map_err(|e| {
        let line = e.span().map_or(1, |s| page.line(s.start));
        vec![LineFault { line, at: "table".into(), reason: e.message().to_owned() }]
    })?;
    let floor = {
        let root = Node::root(&page, table.get_ref(), "table");
        let bounds = root.node_if("bounds", "bounds");
        if bounds.is_none() {
            root.fault("bounds", "bounds is missing");
        }
        let count = |key| bounds.as_ref().map_or(0, |b| b.count(key));
        let bounds = Bounds {
            title_chars: count("title_chars"),
            words_chars: count("words_chars"),
            caution_chars: count("caution_chars"),
            steps: count("steps"),
            minutes: count("minutes"),
        };
        let rows = root.nodes("rows", |t| format!("row {}", peek(t, "id")));
        let mut ids = BTreeSet::new();
        let rows = rows.iter().filter_map(|node| read_row(node, &mut ids)).collect();
        Floor { bounds, rows }
    };
    let faults = page.into_faults();
    if faults.is_empty() { Ok(floor) } else { Err(faults) }
}

fn read_row(node: &Node<'_>, ids: &mut BTreeSet<String>) -> Option<Row> {
    let row = Row {
        id: node.text("id"),
        subjects: node.words("applies_to", Subject::from_code),
        why: node.text("why"),
        mark: node.word("mark", Mark::from_code, Mark::Memory),
        asks: read_ask(node)?,
    };
    if !ids.insert(row.id.clone()) {
        node.fault("id", "two rows carry this id");
    }
    if row.why.is_empty() {
        node.fault("why", "a row says why");
    }
    Some(row)
}

fn read_ask(node: &Node<'_>) -> Option<Ask> {
    let asks = node.text("asks");
    let minutes = || node.count("minutes");
    let point = || node.word("hold_point", HoldPoint::from_code, HoldPoint::Scalp);
    let head = || node.word("head", Head::from_code, Head::Any);
    Some(match asks.as_str() {
        "hold-point" => Ask::HoldPoint(point()),
        "first-hold-point" => Ask::FirstHoldPoint(point()),
        "at-work-hold-point" => Ask::AtWorkHoldPoint(point()),
        "exposure-from-sheet" => Ask::ExposureFromSheet,
        "exposure-most" => Ask::ExposureMost(minutes()),
        "phase-most" => Ask::PhaseMost(minutes()),
        "phase-least" => Ask::PhaseLeast(minutes()),
        "window-most" => Ask::WindowMost(minutes()),
        "rinsed" => Ask::Rinsed,
        "closed-by" => Ask::ClosedBy(node.word("closer", Closer::from_code, Closer::Neutraliser)),
        "rinse-least" => Ask::RinseLeast(minutes()),
        "no-heat" => Ask::NoHeat,
        "last-section" => Ask::LastSection(node.word("section", Section::from_code, Section::Hairline)),
        "back-first" => Ask::BackFirst,
        "new-growth" => Ask::NewGrowth(head()),
        "not-root-to-end" => Ask::NotRootToEnd(head()),
        "strength-most" => {
            Ask::StrengthMost(head(), node.word("strength", Strength::from_code, Strength::Mild))
        }
        "mixed" => Ask::Mixed,
        "watched" => {
            let look = node.word("look", LookFor::from_code, LookFor::TestCurl);
            Ask::Watched(look, minutes(), node.count("from"))
        }
        "never-with" => Ask::NeverWith(node.word("group", Group::from_code, Group::Unknown)),
        "stylist-hands" => Ask::StylistHands,
        "qualified" => Ask::Qualified,
        "not-optional" => Ask::NotOptional,
        "stop-words" => Ask::StopWords(node.words("words", |w| Some(w.to_owned()))),
        other => {
            node.fault("asks", format!("asks is not known: {other:?}"));
            return None;
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_floor_has_the_trades_ceilings() {
        // trade-rules.md, "Times": 15 minutes of both passes and of the cover (CP); lotion 65 from first touch (M), 20
        // covered (C); neutraliser 10 to 15 after re-forming (CP), 5 to 10 after a wave (H); rinse 3 (H); hydroxide 15
        // (C); colour 45 (M).
        let floor = shipped();
        let has = |subject, asks| floor.rows.iter().any(|r| r.asks == asks && r.subjects.contains(&subject));
        assert!(has(Subject::ThioStraightening, Ask::WindowMost(15)));
        assert!(has(Subject::ThioStraightening, Ask::PhaseMost(15)));
        assert!(has(Subject::CurlLotion, Ask::ExposureMost(65)));
        assert!(has(Subject::CurlLotion, Ask::PhaseMost(20)));
        assert!(has(Subject::Hydroxide, Ask::ExposureMost(15)));
        assert!(has(Subject::Colour, Ask::ExposureMost(45)));
        assert!(has(Subject::NeutraliserReforming, Ask::PhaseLeast(10)));
        assert!(has(Subject::NeutraliserReforming, Ask::PhaseMost(15)));
        assert!(has(Subject::NeutraliserWave, Ask::PhaseLeast(5)));
        assert!(has(Subject::NeutraliserWave, Ask::PhaseMost(10)));
        assert!(has(Subject::AlkalineWave, Ask::RinseLeast(3)));
    }

    #[test]
    fn every_fault_of_the_table_is_told_with_its_line() {
        let text = "[bounds]\ntitle_chars = 60\nwords_chars = 400\ncaution_chars = 240\nsteps = 60\nminutes = 240\n\n\
            [[rows]]\nid = \"a\"\napplies_to = [\"opening\", \"shaving\"]\nasks = \"hold-point\"\nhold_point = \"gloves\"\n\
            why = \"w\"\nmark = \"H\"\n\n[[rows]]\nid = \"a\"\napplies_to = [\"opening\"]\nasks = \"luck\"\nwhy = \"w\"\nmark = \"H\"\n";
        let faults = parse(text).expect_err("two faults");
        let found: Vec<_> = faults.iter().map(|f| f.line).collect();
        assert_eq!(found, [10, 19], "{faults:?}");
    }
}
