//! What the strand says of each application, in words.

use super::{Found, Head, PlannedProduct, Way};
use crate::domain::chemistry::family::Group;
use crate::domain::chemistry::{RuleTable, Verdict};
use crate::domain::length;
use crate::domain::protocol::TestKind;
use crate::domain::strand::doubt::WIDE;
use crate::domain::strand::{Finding, Health, PlannedApplication, Strand, Zone, check_plan};
use crate::words;

/// Hair that met a group, as a stylist calls it.
fn hair_words(group: Group) -> &'static str {
    match group {
        Group::Thio => tr!("hair a thio product re-formed"),
        Group::Hydroxide => tr!("relaxed hair"),
        Group::OxidativeColour => tr!("coloured hair"),
        Group::DirectDye => tr!("dyed hair"),
        Group::Lightener => tr!("lightened hair"),
        Group::MetallicSalt => tr!("hair with metallic-salt colour"),
        Group::PlantColour => tr!("hennaed hair"),
        Group::AldehydeSmoothing => tr!("hair smoothed with an aldehyde"),
        Group::Neutraliser => tr!("neutralised hair"),
        Group::Unknown => tr!("hair whose history is not known"),
    }
}

pub(super) fn check(plan: &[PlannedProduct], head: &Head<'_>, rules: &RuleTable, all: &mut Vec<Found>) {
    if !head.odd.is_empty() {
        all.push(
            Found::new(
                Verdict::TestFirst,
                "record-odd",
                tr!("The record of this hair does not fit together"),
            )
            .why(head.odd.join(" "))
            .source(tr!("common practice, no source"))
            .tested()
            .way(Way::Visit(
                TestKind::StrandTest,
                tr!("Look at the hair; a strand test on the worst place decides").into(),
            )),
        );
    }
    let Some(strand) = head.strand else {
        all.push(
            Found::new(Verdict::Wait, "no-strand", tr!("What is in the hair was never asked"))
                .why(tr!("Length and every earlier treatment are told in the consult."))
                .source(tr!("common practice, no source"))
                .way(Way::Consult(tr!("Ask what is in the hair, and when").into())),
        );
        return;
    };
    let planned: Vec<PlannedApplication> = plan
        .iter()
        .map(|p| PlannedApplication {
            family: p.family,
            zone: p.zone,
            straightens: p.straightens,
            strength: p.strength,
        })
        .collect();
    let health = Health { metal_test: head.metal.cleared() };
    match check_plan(strand, &planned, rules, health) {
        Ok(findings) => {
            for finding in &findings {
                all.extend(worded(finding, &plan[finding.application], strand));
            }
        }
        Err(_) => all.push(
            Found::new(
                Verdict::Refuse,
                "too-many-findings",
                tr!("This hair has met more than can be checked"),
            )
            .source(tr!("common practice, no source"))
            .way(Way::Words(tr!("Cut it back; plan again on what is left.").into())),
        ),
    }
    for p in plan.iter().filter(|p| p.opening) {
        all.extend(stops_short(p, strand, rules));
    }
}

fn worded(finding: &Finding<'_>, product: &PlannedProduct, strand: &Strand) -> Vec<Found> {
    let rule = finding.rule;
    let (from, to) = (finding.from_mm, finding.to_mm);
    let letter = product.letter;
    let title = match finding.met {
        None => tr!("{letter} finds no hair in its zone", letter = letter),
        Some(met) if rule.code == "beside" => {
            tr!(
                "{letter} would lie beside {}, {from} to {to}",
                hair_words(met),
                letter = letter,
                from = length::figure(from),
                to = length::said(to)
            )
        }
        Some(met) if finding.verdict == Verdict::Wait => {
            tr!(
                "{letter} comes too soon after: {}, {from} to {to}",
                hair_words(met),
                letter = letter,
                from = length::figure(from),
                to = length::said(to)
            )
        }
        Some(met) if finding.verdict == Verdict::Refuse => {
            tr!(
                "{letter} runs over {}, {from} to {to}",
                hair_words(met),
                letter = letter,
                from = length::figure(from),
                to = length::said(to)
            )
        }
        Some(met) => tr!(
            "{letter} meets {}, {from} to {to}",
            hair_words(met),
            letter = letter,
            from = length::figure(from),
            to = length::said(to)
        ),
    };
    let mut found = Found::new(finding.verdict, &rule.code, title)
        .of(product)
        .why(said(finding, strand))
        .source(words::of(&rule.source));
    found.span_mm = Some((from, to));
    found.until = finding.until;
    found.strand_test = finding.verdict == Verdict::TestFirst || finding.then == Some(Verdict::TestFirst);
    if finding.verdict == Verdict::Refuse {
        found.trim_mm = finding
            .clears_by_trim_mm
            .map(|least| (least, finding.clears_by_trim_sure_mm.unwrap_or(least).max(least)));
    }
    if finding.verdict == Verdict::TestFirst {
        found.ways.push(Way::Visit(TestKind::StrandTest, tr!("Strand test of this product, passed").into()));
    } else if !rule.say.is_empty() {
        found.ways.push(Way::Words(words::of(&rule.say).into()));
    }
    if finding.met == Some(Group::MetallicSalt) && finding.verdict > Verdict::TestFirst {
        // What it is, and whether it is still there, cut strands tell.
        found
            .ways
            .push(Way::Visit(TestKind::MetallicSaltTest, tr!("Metallic-salt test on cut strands").into()));
    }
    let mut both = vec![found];
    if finding.too_strong {
        both.push(too_strong(
            product,
            tr!("This hair takes mild strength at most."),
            &rule.source,
            Some((from, to)),
        ));
    }
    both
}

/// Why the rule stands, and what it is about: which product, of when.
fn said(finding: &Finding<'_>, strand: &Strand) -> String {
    let mut met: Vec<String> = Vec::new();
    for exposure in finding.met_in(strand) {
        let about = if exposure.on_sd_days > 0.0 { tr!("about ") } else { "" };
        let (day, family) = (exposure.on, exposure.family.words());
        let words = tr!(
            "{family} of {about}{} {} {}",
            day.day(),
            words::of(&day.month().to_string()),
            day.year(),
            family = family,
            about = about
        );
        if !met.contains(&words) && met.len() < 4 {
            met.push(words);
        }
    }
    let met = if met.is_empty() { String::new() } else { tr!(" It has met: {}.", met.join("; ")) };
    format!("{}{met}", words::of(&finding.rule.why))
}

/// A product stronger than the hair takes.
pub(super) fn too_strong(
    product: &PlannedProduct,
    why: &str,
    source: &str,
    span_mm: Option<(f64, f64)>,
) -> Found {
    let strength = product.strength.map_or("strong", |s| s.words());
    let mut found = Found::new(
        Verdict::Refuse,
        "too-strong",
        tr!("{} is too strong here: {} is {strength}", product.letter, product.product, strength = strength),
    )
    .of(product)
    .why(why)
    .source(source)
    .way(Way::Words(tr!("Choose a milder product.").into()));
    found.span_mm = span_mm;
    found
}

/// A zone named by number that ends before hair it would be refused on: said, with what lies between.
fn stops_short(product: &PlannedProduct, strand: &Strand, rules: &RuleTable) -> Option<Found> {
    let Zone::Between(_, to) = product.zone else { return None };
    let new = product.family.planned_as(product.straightens);
    let mut edges = strand.demarcations();
    let mut edge = (0.0, 0.0);
    for piece in strand.pieces() {
        let refused = piece
            .exposures
            .iter()
            .map(|e| e.family.group())
            .find(|group| rules.rule(new, *group).is_some_and(|rule| rule.verdict == Verdict::Refuse));
        let surely = edge.0 - WIDE * edge.1;
        if let (Some(group), true) = (refused, surely >= to) {
            let words = hair_words(group);
            let mut found =
                Found::new(Verdict::Clear, "stops-short", tr!("{} stops short of {words}", product.letter, words = words))
                    .of(product)
                    .why(tr!("{} ends at {to}. That hair begins at {}, and not before {surely}, 19 times in 20: {} between.", product.letter, length::said(edge.0), length::said(surely - to), to = length::said(to), surely = length::said(surely)))
                    .source(tr!("edge taken at its doubt, 1.96 standard deviations"));
            found.span_mm = Some((to, edge.0));
            return Some(found);
        }
        edge = edges.next().unwrap_or((strand.length_mm(), 0.0));
    }
    None
}
