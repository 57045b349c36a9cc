//! `strand`: a history, the hair it leaves, and what a plan would meet on it.

use super::{BadInput, Fields, Node, Tree, answer};
use crate::domain::chemistry::{Family, Strength};
use crate::domain::strand::{
    Exposure, Finding, Health, Known, MetalTest, Piece, PlannedApplication, Strand, StrandRefusal, Zone,
    check_plan, worst_verdict,
};
use crate::reference::Reference;
use serde::Serialize;
use time::Date;

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

#[derive(Serialize)]
struct Answer<'a> {
    length_mm: f64,
    demarcation_mm: f64,
    pieces: Vec<PieceAnswer>,
    demarcations: Vec<DemarcationAnswer>,
    verdict: &'static str,
    findings: Vec<FindingAnswer<'a>>,
}

#[derive(Serialize)]
struct PieceAnswer {
    from_mm: f64,
    to_mm: f64,
    exposures: Vec<ExposureAnswer>,
}

#[derive(Serialize)]
struct ExposureAnswer {
    family: &'static str,
    on: String,
    known: &'static str,
}

#[derive(Serialize)]
struct DemarcationAnswer {
    at_mm: f64,
    sd_mm: f64,
}

#[derive(Serialize)]
struct FindingAnswer<'a> {
    application: usize,
    verdict: &'static str,
    from_mm: f64,
    to_mm: f64,
    rule: &'a str,
    why: &'a str,
    source: &'a str,
    mark: &'static str,
    until: Option<String>,
    clears_by_trim_mm: Option<f64>,
    clears_by_trim_sure_mm: Option<f64>,
    changes: Vec<String>,
}

pub(super) fn run(input: Node<'_>) -> Result<String, BadInput> {
    let fields = input.fields(&[
        "length_mm",
        "on",
        "rate_mm_per_day",
        "rate_sd",
        "events",
        "as_of",
        "plan",
        "metal_test",
    ])?;
    let strand = read_strand(fields)?;
    let plan_node = fields.find("plan");
    let plan = match plan_node {
        Some(list) => list.list()?.map(read_application).collect::<Result<Vec<_>, _>>()?,
        None => Vec::new(),
    };
    let health = Health { metal_test: read_metal_test(fields)? };
    let named = plan.iter().filter(|p| !matches!(p.zone, Zone::NewGrowth | Zone::RootToEnd)).count();
    let pieces = strand.pieces().count() + 2 * named + 1;
    let too_much = || plan_node.unwrap_or(input).bad("too large a plan for so long a history");
    if plan.len().saturating_mul(pieces) > MOST_LOOKS {
        return Err(too_much());
    }
    let rules = &Reference::shipped().rules;
    let findings = check_plan(&strand, &plan, rules, health).map_err(|_| too_much())?;
    answer(&Answer {
        length_mm: strand.length_mm(),
        demarcation_mm: strand.demarcation_mm(),
        pieces: strand.pieces().map(piece_answer).collect(),
        demarcations: strand
            .demarcations()
            .map(|(at_mm, sd_mm)| DemarcationAnswer { at_mm, sd_mm })
            .collect(),
        verdict: worst_verdict(&findings).code(),
        findings: findings.iter().map(finding_answer).collect(),
    })
}

fn piece_answer(piece: Piece<'_>) -> PieceAnswer {
    let exposure = |e: &Exposure| ExposureAnswer {
        family: e.family.code(),
        on: e.on.to_string(),
        known: e.known.code(),
    };
    PieceAnswer {
        from_mm: piece.from_mm,
        to_mm: piece.to_mm,
        exposures: piece.exposures.iter().map(exposure).collect(),
    }
}

fn finding_answer<'t>(finding: &Finding<'t>) -> FindingAnswer<'t> {
    FindingAnswer {
        application: finding.application,
        verdict: finding.verdict.code(),
        from_mm: finding.from_mm,
        to_mm: finding.to_mm,
        rule: &finding.rule.code,
        why: &finding.rule.why,
        source: &finding.rule.source,
        mark: finding.rule.mark.code(),
        until: finding.until.map(|day| day.to_string()),
        clears_by_trim_mm: finding.clears_by_trim_mm,
        clears_by_trim_sure_mm: finding.clears_by_trim_sure_mm,
        changes: finding.ways_out(),
    }
}

/// The strand as it stands at `as_of`.
fn read_strand(fields: Fields<'_>) -> Result<Strand, BadInput> {
    let length_node = fields.need("length_mm")?;
    let length_mm = length_node.not_negative()?;
    let on = fields.need("on")?.day()?;
    let rate_node = fields.need("rate_mm_per_day")?;
    let rate = rate_node.positive()?;
    let rate_sd = fields.find("rate_sd").map_or(Ok(DEFAULT_RATE_SD), |sd| sd.positive())?;
    let mut strand = Strand::new(length_mm, on, rate, rate_sd);
    bounded(&strand, length_node)?;
    for (index, event) in fields.need("events")?.list()?.enumerate() {
        happen(&mut strand, event)?;
        bounded(&strand, event)?;
        // Counting the history walks the whole strand: now and then is enough, one event adds no more than it has.
        if index % WEIGH_EVERY == 0 && strand.burden() > MOST_BURDEN {
            return Err(event.bad("too long a history for one strand"));
        }
    }
    let as_of = fields.need("as_of")?;
    strand.grow_to(as_of.day()?).map_err(|why| as_of.bad(words(why)))?;
    bounded(&strand, rate_node)?;
    if strand.burden() > MOST_BURDEN {
        return Err(fields.bad("too long a history for one strand"));
    }
    if strand.demarcations().any(|(_, sd_mm)| !sd_mm.is_finite()) {
        return Err(fields.bad("these numbers are too large to reckon with"));
    }
    Ok(strand)
}

fn bounded(strand: &Strand, blame: Node<'_>) -> Result<(), BadInput> {
    let length_mm = strand.roughly_mm();
    if length_mm.is_nan() || length_mm > MOST_LENGTH_MM {
        Err(blame.bad("too long to be hair"))
    } else {
        Ok(())
    }
}

/// Grows to an event's day, then does what it says.
fn happen(strand: &mut Strand, event: Node<'_>) -> Result<(), BadInput> {
    #[derive(Clone, Copy)]
    enum Did {
        Apply,
        Measure,
        Trim,
    }
    let all = event.fields(&[
        "on",
        "did",
        "family",
        "zone",
        "known",
        "on_sd_days",
        "new_growth_mm",
        "sd_mm",
        "mm",
    ])?;
    let dated = all.need("on")?;
    let on = dated.day()?;
    let kinds = [("apply", Did::Apply), ("measure", Did::Measure), ("trim", Did::Trim)];
    let did = all.need("did")?.one_of(&kinds)?;
    match did {
        Did::Apply => {
            let fields = event.fields(&["on", "did", "family", "zone", "known", "on_sd_days"])?;
            let exposure = read_exposure(fields, on)?;
            let zone = read_zone(fields.need("zone")?)?;
            grow(strand, on, dated)?;
            strand.apply(zone, exposure);
            Ok(())
        }
        Did::Measure => {
            let fields = event.fields(&["on", "did", "new_growth_mm", "sd_mm"])?;
            let measured = fields.need("new_growth_mm")?.positive()?;
            let sd_mm = fields.need("sd_mm")?.positive()?;
            grow(strand, on, dated)?;
            strand.measure(measured, sd_mm).map_err(|why| event.bad(words(why)))
        }
        Did::Trim => {
            let cut = event.fields(&["on", "did", "mm"])?.need("mm")?;
            let mm = cut.positive()?;
            grow(strand, on, dated)?;
            strand.trim(mm).map_err(|why| cut.bad(words(why)))
        }
    }
}

fn grow(strand: &mut Strand, on: Date, dated: Node<'_>) -> Result<(), BadInput> {
    strand.grow_to(on).map_err(|why| dated.bad(words(why)))
}

fn words(why: StrandRefusal) -> &'static str {
    match why {
        StrandRefusal::DateOutOfOrder => "earlier than what came before it",
        StrandRefusal::TrimTakesAll => "a trim of the whole length or more",
        StrandRefusal::RootNotBare => "the root is not bare: there is no new growth to measure",
        StrandRefusal::NothingBehind => "nothing lies behind the new growth to measure from",
    }
}

fn read_exposure(fields: Fields<'_>, on: Date) -> Result<Exposure, BadInput> {
    let known = match fields.find("known") {
        Some(known) => known.one_of(&Known::ALL.map(|k| (k.code(), k)))?,
        None => Known::Recorded,
    };
    let on_sd_days = fields.find("on_sd_days").map_or(Ok(0.0), |sd| sd.not_negative())?;
    Ok(Exposure { family: read_family(fields)?, on, known, on_sd_days })
}

fn read_family(fields: Fields<'_>) -> Result<Family, BadInput> {
    fields.need("family")?.one_of(&Family::ALL.map(|f| (f.code(), f)))
}

fn read_zone(node: Node<'_>) -> Result<Zone, BadInput> {
    if matches!(node.tree(), Tree::Text(_)) {
        return node.one_of(&[("new-growth", Zone::NewGrowth), ("root-to-end", Zone::RootToEnd)]);
    }
    let fields = node.fields(&["ends_from_mm", "from_mm", "to_mm"])?;
    if let Some(from) = fields.find("ends_from_mm") {
        let fields = node.fields(&["ends_from_mm"])?;
        return fields.need("ends_from_mm").and(from.not_negative()).map(Zone::EndsFrom);
    }
    let from = fields.need("from_mm")?.not_negative()?;
    let far = fields.need("to_mm")?;
    let to = far.not_negative()?;
    if to < from { Err(far.bad("nearer than from_mm")) } else { Ok(Zone::Between(from, to)) }
}

fn read_application(node: Node<'_>) -> Result<PlannedApplication, BadInput> {
    let fields = node.fields(&["family", "zone", "straightens", "strength"])?;
    Ok(PlannedApplication {
        family: read_family(fields)?,
        zone: read_zone(fields.need("zone")?)?,
        straightens: fields.find("straightens").map_or(Ok(false), |flag| flag.flag())?,
        strength: fields
            .find("strength")
            .map(|strength| strength.one_of(&Strength::ALL.map(|s| (s.code(), s))))
            .transpose()?,
    })
}

fn read_metal_test(fields: Fields<'_>) -> Result<MetalTest, BadInput> {
    let values =
        [("not-cleared", MetalTest::NotCleared), ("negative-no-silver", MetalTest::NegativeNoSilver)];
    fields.find("metal_test").map_or(Ok(MetalTest::NotCleared), |node| node.one_of(&values))
}
