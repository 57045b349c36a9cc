//! What is answered about a strand.

use crate::calc::codes::Coded;
use crate::calc::kinds::Day;
use crate::domain::chemistry::{Family, Mark, Verdict};
use crate::domain::strand::{Exposure, Finding, Known, Piece, Settling, Strand, worst_verdict};
use schemars::JsonSchema;
use serde::Serialize;

/// The strand on the day asked about, and what the plan would meet.
#[derive(Serialize, JsonSchema)]
pub(in crate::calc) struct Answer {
    /// Its length (mm of stretched hair).
    length_mm: f64,
    /// Length of the bare piece at the scalp when something lies behind it, else 0 (mm).
    demarcation_mm: f64,
    /// Pieces from the scalp outward, without a gap.
    pieces: Vec<PieceAnswer>,
    /// Every boundary between neighbouring pieces, scalp outward.
    demarcations: Vec<DemarcationAnswer>,
    /// The worst verdict of all findings; clear when there is none.
    verdict: Coded<Verdict>,
    /// Worst first, then by application, then by `from_mm`.
    findings: Vec<FindingAnswer>,
}

/// A stretch of hair with one history.
#[derive(Serialize, JsonSchema)]
struct PieceAnswer {
    /// Nearer edge (mm from the scalp).
    from_mm: f64,
    /// Farther edge (mm from the scalp).
    to_mm: f64,
    /// What it met, in the order met.
    exposures: Vec<ExposureAnswer>,
}

/// One thing met.
#[derive(Serialize, JsonSchema)]
struct ExposureAnswer {
    /// Its chemistry.
    family: Coded<Family>,
    /// When.
    on: Day,
    /// How it is known.
    known: Coded<Known>,
}

/// A boundary.
#[derive(Serialize, JsonSchema)]
struct DemarcationAnswer {
    /// Where it is drawn (mm from the scalp).
    at_mm: f64,
    /// Standard deviation of that place (mm).
    sd_mm: f64,
}

/// What stands against one application on one unbroken stretch, by one rule.
#[derive(Serialize, JsonSchema)]
struct FindingAnswer {
    /// Index of the application in the plan.
    application: usize,
    /// What it means.
    verdict: Coded<Verdict>,
    /// Nearer edge of the stretch (mm from the scalp).
    from_mm: f64,
    /// Farther edge of the stretch (mm from the scalp).
    to_mm: f64,
    /// Code of the rule; unknown-pair where nobody gave one.
    rule: &'static str,
    /// Why, in a sentence.
    why: &'static str,
    /// Where the rule comes from.
    source: &'static str,
    /// How well it is known: L law, P published, H handbook teaching, CP common practice, C consumer pages, M memory.
    mark: Coded<Mark>,
    /// The day a wait ends; null without a wait.
    until: Option<Day>,
    /// What holds from the day a wait ends; null without a wait.
    then: Option<Coded<Verdict>>,
    /// The test that would settle it, now or when the wait is over; null where no test helps.
    settled_by: Option<Coded<Settling>>,
    /// The least trim that removes the stretch as drawn; null where it begins at the scalp (mm).
    clears_by_trim_mm: Option<f64>,
    /// The trim that removes it 19 times in 20; null where it may begin at the scalp (mm).
    clears_by_trim_sure_mm: Option<f64>,
    /// What would change it, a sentence each, in the order to try.
    changes: Vec<String>,
}

impl Answer {
    pub(super) fn of(strand: &Strand, findings: &[Finding<'static>]) -> Self {
        let demarcation = |(at_mm, sd_mm)| DemarcationAnswer { at_mm, sd_mm };
        Answer {
            length_mm: strand.length_mm(),
            demarcation_mm: strand.demarcation_mm(),
            pieces: strand.pieces().map(piece_answer).collect(),
            demarcations: strand.demarcations().map(demarcation).collect(),
            verdict: Coded(worst_verdict(findings)),
            findings: findings.iter().map(finding_answer).collect(),
        }
    }
}

fn piece_answer(piece: Piece<'_>) -> PieceAnswer {
    let exposure =
        |e: &Exposure| ExposureAnswer { family: Coded(e.family), on: Day(e.on), known: Coded(e.known) };
    PieceAnswer {
        from_mm: piece.from_mm,
        to_mm: piece.to_mm,
        exposures: piece.exposures.iter().map(exposure).collect(),
    }
}

fn finding_answer(finding: &Finding<'static>) -> FindingAnswer {
    FindingAnswer {
        application: finding.application,
        verdict: Coded(finding.verdict),
        from_mm: finding.from_mm,
        to_mm: finding.to_mm,
        rule: &finding.rule.code,
        why: &finding.rule.why,
        source: &finding.rule.source,
        mark: Coded(finding.rule.mark),
        until: finding.until.map(Day),
        then: finding.then.map(Coded),
        settled_by: finding.settled_by().map(Coded),
        clears_by_trim_mm: finding.clears_by_trim_mm,
        clears_by_trim_sure_mm: finding.clears_by_trim_sure_mm,
        changes: finding.ways_out(),
    }
}
