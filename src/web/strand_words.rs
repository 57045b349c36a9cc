//! A strand in words and as a picture: pieces, edges, the answer over the Strand screen.

use crate::calendar::month_words;
use crate::domain::chemistry::family::{Family, Group};
use crate::domain::length;
use crate::domain::strand::doubt::WIDE;
use crate::domain::strand::{Exposure, Piece, Strand};
use crate::flow::strands::day_words;
use crate::web::picture::Pattern;
use crate::web::picture::strand_ruler::{self, Edge, Lane, Size, StrandRuler};

/// Lanes of one piece that are still drawn; the table has them all.
const MOST_LANES: usize = 4;

/// The pattern of a chemistry; thio that straightened has its own.
pub const fn pattern(family: Family, straightened: bool) -> Pattern {
    match family {
        Family::Thio if straightened => Pattern::ThioStraightening,
        Family::Thio => Pattern::ThioCurl,
        Family::ThioEster => Pattern::Ester,
        Family::Sulfite | Family::Cysteine => Pattern::Sulfite,
        Family::SodiumHydroxide | Family::PotassiumHydroxide | Family::LithiumHydroxide => Pattern::Hydroxide,
        Family::GuanidineHydroxide => Pattern::Guanidine,
        Family::OxidativeColour => Pattern::Colour,
        Family::DirectDye => Pattern::Direct,
        Family::Lightener => Pattern::Lightener,
        Family::MetallicSalt => Pattern::Metallic,
        Family::PlantColour => Pattern::Henna,
        Family::AldehydeSmoothing => Pattern::Aldehyde,
        Family::PeroxideNeutraliser | Family::BromateNeutraliser => Pattern::Neutral,
        Family::Unknown => Pattern::Blank,
    }
}

/// A month and, where it is not this year's, the year: "Feb", "Dec 2025".
fn short_day(exposure: &Exposure, this_year: i32) -> String {
    let month = month_words(exposure.on.month());
    if exposure.on.year() == this_year {
        month.to_string()
    } else {
        format!("{} {}", month, exposure.on.year())
    }
}

/// A day as told: "about 1 July 2025, give or take a month".
pub fn told_day(exposure: &Exposure) -> String {
    let day = day_words(exposure.on);
    match exposure.on_sd_days {
        sd if sd <= 0.0 => day,
        sd if sd < 11.0 => tr!("about {day}, give or take {} days", (sd).ceil(), day = day),
        sd if sd < 25.0 => tr!("about {day}, give or take {} weeks", (sd / 7.0).round(), day = day),
        sd if sd < 45.0 => tr!("about {day}, give or take a month", day = day),
        sd => tr!("about {day}, give or take {} months", (sd / 30.4).round(), day = day),
    }
}

/// The hair as it lies on the ruler.
pub fn ruler(strand: &Strand, label: String) -> StrandRuler {
    let year = strand.on().year();
    StrandRuler {
        size: Size::Large,
        length_mm: strand.length_mm(),
        scale_mm: 0.0,
        pieces: strand.pieces().map(|piece| drawn(&piece, year)).collect(),
        edges: strand.demarcations().map(|(at_mm, sd_mm)| Edge { at_mm, sd_mm }).collect(),
        planned: Vec::new(),
        found: Vec::new(),
        cut_mm: 0.0,
        label,
    }
}

fn drawn(piece: &Piece<'_>, year: i32) -> strand_ruler::Piece {
    let lane = |e: &Exposure| Lane {
        pattern: pattern(e.family, e.straightened == Some(true)),
        words: format!("{}, {}", met_words(e), short_day(e, year)),
    };
    strand_ruler::Piece {
        from_mm: piece.from_mm,
        to_mm: piece.to_mm,
        lanes: piece.exposures.iter().rev().take(MOST_LANES).map(lane).collect(),
        words: if piece.from_mm > 0.0 { tr!("nothing yet").into() } else { tr!("new growth").into() },
        refused: String::new(),
    }
}

/// What a piece met: of what re-forms hair also which way, where that is known.
pub fn met_words(e: &Exposure) -> String {
    match e.straightened {
        Some(true) => tr!("{}, straightened", e.family.words()),
        Some(false) => tr!("{}, curled", e.family.words()),
        None => e.family.words().to_owned(),
    }
}

/// What somebody calls hair that met a group, heaviest first.
const HEAVIEST: [(Group, &str); 9] = [
    (Group::Hydroxide, mark!("relaxed")),
    (Group::Unknown, mark!("with a history nobody knows")),
    (Group::MetallicSalt, mark!("with metallic-salt colour")),
    (Group::Lightener, mark!("lightened")),
    (Group::Thio, mark!("re-formed")),
    (Group::AldehydeSmoothing, mark!("smoothed")),
    (Group::OxidativeColour, mark!("coloured")),
    (Group::PlantColour, mark!("hennaed")),
    (Group::DirectDye, mark!("dyed")),
];

/// The screen's answer: "148 mm of hair, the last 52 relaxed".
pub fn answer(strand: &Strand) -> String {
    let length = strand.length_mm();
    if length < 0.5 {
        return tr!("No hair on record").into();
    }
    let pieces: Vec<Piece<'_>> = strand.pieces().collect();
    let has = |piece: &Piece<'_>, group| piece.exposures.iter().any(|e| e.family.group() == group);
    for (group, words) in HEAVIEST {
        let Some(last) = pieces.iter().rposition(|piece| has(piece, group)) else { continue };
        let words = crate::words::of(words);
        let first = pieces[..=last].iter().rposition(|p| !has(p, group)).map_or(0, |at| at + 1);
        let (from, to) = (pieces[first].from_mm, pieces[last].to_mm);
        let tip = length - to < 0.5;
        return match (from < 0.5, tip) {
            (true, true) => {
                tr!("{length} of hair, all of it {words}", length = length::said(length), words = words)
            }
            (false, true) => tr!(
                "{length} of hair, the last {} {words}",
                length::figure(to - from),
                length = length::said(length),
                words = words
            ),
            _ => tr!(
                "{length} of hair, {words} from {from} to {to}",
                length = length::said(length),
                words = words,
                from = length::figure(from),
                to = length::figure(to)
            ),
        };
    }
    tr!("{length} of hair, nothing has met it yet", length = length::said(length))
}

/// One row of "What is in the hair".
pub struct Row {
    /// "1", and "0 to 23 mm".
    pub number: usize,
    pub span: String,
    /// How far its nearer edge may lie elsewhere: "± 5", empty at the scalp.
    pub doubt: String,
    /// Exposures in the order met: words, whether it weighs, when, how known.
    pub met: Vec<Met>,
    /// Words for a piece that met nothing: when it grew, how known.
    pub bare: Option<(String, String)>,
}

/// One exposure in words.
pub struct Met {
    pub words: String,
    pub weighs: bool,
    pub when: String,
    pub known: String,
}

/// The table beside the ruler. `grown_since` and `measured` are about the new growth.
pub fn rows(strand: &Strand, grown_since: Option<String>, measured: bool) -> Vec<Row> {
    let edges: Vec<(f64, f64)> = strand.demarcations().collect();
    strand
        .pieces()
        .enumerate()
        .map(|(at, piece)| Row {
            number: at + 1,
            span: tr!("{} to {}", length::figure(piece.from_mm), length::said(piece.to_mm)),
            doubt: at
                .checked_sub(1)
                .and_then(|before| edges.get(before))
                .map(|(_, sd)| (WIDE * sd).round())
                .filter(|mm| *mm >= 1.0)
                .map_or(String::new(), |mm| tr!("edge ± {mm}", mm = length::figure(mm))),
            met: piece
                .exposures
                .iter()
                .map(|e| Met {
                    words: met_words(e),
                    weighs: matches!(
                        e.family.group(),
                        Group::Hydroxide | Group::MetallicSalt | Group::Unknown | Group::Lightener
                    ),
                    when: told_day(e),
                    known: e.known.words().into(),
                })
                .collect(),
            bare: piece.exposures.is_empty().then(|| {
                let when = match (&grown_since, at) {
                    (Some(day), 0) => tr!("grown since {day}", day = day),
                    _ => tr!("as far as is known").to_string(),
                };
                let known = match (at, measured, &grown_since) {
                    (0, true, _) => tr!("measured today"),
                    (0, false, Some(_)) => tr!("estimated, not measured today"),
                    _ => tr!("told by the client"),
                };
                (when, known.to_string())
            }),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::strand::{Known, Zone};
    use time::macros::date;

    fn met(family: Family, on: time::Date) -> Exposure {
        Exposure { family, on, known: Known::Told, on_sd_days: 30.0, straightened: None }
    }

    // Hester Quaye's hair as the drawing has it (mock/strand.html).
    #[test]
    fn the_answer_is_the_heaviest_thing_in_the_hair() {
        let mut strand = Strand::new(148.0, date!(2026 - 05 - 14), 0.3, 0.05);
        assert_eq!(answer(&strand), "148 mm of hair, nothing has met it yet");
        strand.apply(Zone::EndsFrom(96.0), met(Family::SodiumHydroxide, date!(2025 - 07 - 01)));
        strand.apply(Zone::RootToEnd, met(Family::OxidativeColour, date!(2025 - 12 - 04)));
        assert_eq!(answer(&strand), "148 mm of hair, the last 52 relaxed");
        let rows = rows(&strand, None, false);
        assert_eq!(rows[1].span, "96 to 148 mm");
        assert_eq!(rows[1].met[0].when, "about 1 July 2025, give or take a month");
        let mut all = Strand::new(60.0, date!(2026 - 05 - 14), 0.3, 0.05);
        all.apply(Zone::RootToEnd, met(Family::Thio, date!(2026 - 01 - 01)));
        assert_eq!(answer(&all), "60 mm of hair, all of it re-formed");
    }
}
