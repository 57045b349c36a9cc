//! The plan check: what a planned service would meet, piece by piece, and what that means.
//!
//! Doubt makes it stricter, never laxer: a zone named by number meets a piece up to 1.96 sd beyond its edges, and a
//! vague date counts as its latest likely day.

use super::doubt::{NUMERIC_PLACE_MM2, WIDE};
use super::pieces::{Exposure, Piece, Strand, Zone};
use crate::domain::chemistry::{Family, Group, NewUse, Rule, RuleTable, Strength, Verdict};
use crate::domain::length;
use crate::domain::units::SAME_PLACE_MM;
use crate::words;
use time::{Date, Duration};

/// Most findings of one check.
const MOST_FINDINGS: usize = 50_000;

/// More days than the calendar has.
const MOST_DAYS: f64 = 1e7;

/// One product planned for one zone. Two passes of one product are one application.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlannedApplication {
    /// Its chemistry.
    pub family: Family,
    /// Where it goes.
    pub zone: Zone,
    /// Whether a thio-group product straightens (otherwise it waves).
    pub straightens: bool,
    /// Its strength, when it has one.
    pub strength: Option<Strength>,
}

/// What a metallic-salt test and the client's history say.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum MetalTest {
    /// Not done, positive, or silver is named in the history (silver can look like a pass).
    #[default]
    NotCleared,
    /// Read negative, and the history names no silver.
    NegativeNoSilver,
}

/// What else bears on the rules.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Health {
    /// The metallic-salt test.
    pub metal_test: MetalTest,
}

/// One thing the plan check found.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding<'t> {
    /// Index of the application in the plan.
    pub application: usize,
    /// What it means.
    pub verdict: Verdict,
    /// Nearer edge of the stretch, mm.
    pub from_mm: f64,
    /// Farther edge of the stretch, mm.
    pub to_mm: f64,
    /// The rule: its code, words, mark and source.
    pub rule: &'t Rule,
    /// The earlier chemistry it is about; none for an empty zone.
    pub met: Option<Group>,
    /// A wait ends this day.
    pub until: Option<Date>,
    /// What holds from that day.
    pub then: Option<Verdict>,
    /// A trim of this much removes the stretch as drawn, mm.
    pub clears_by_trim_mm: Option<f64>,
    /// A trim of this much removes it 19 times in 20, mm.
    pub clears_by_trim_sure_mm: Option<f64>,
    /// The planned strength is above the mild the rule allows.
    pub too_strong: bool,
}

impl Finding<'_> {
    /// What would change it, one sentence each, in the order to try.
    pub fn ways_out(&self) -> Vec<String> {
        let mut ways = Vec::new();
        if let Some(until) = self.until {
            ways.push(match self.then {
                Some(Verdict::TestFirst) => tr!("From {until} a strand test decides.", until = until),
                _ => tr!("Clear from {until}.", until = until),
            });
        }
        if self.verdict == Verdict::TestFirst {
            ways.push(tr!("A strand test passed.").into());
        }
        if self.rule.mild_at_most {
            ways.push(tr!("Mild strength at most.").into());
        }
        if let (Some(least), Verdict::Refuse) = (self.clears_by_trim_mm, self.verdict) {
            ways.push(match self.clears_by_trim_sure_mm {
                Some(sure) => tr!(
                    "Ask the client: gone after a trim of at least {least}, {sure} to be sure; then look.",
                    least = length::said(length::cut(least)),
                    sure = length::figure(length::cut(sure))
                ),
                None => tr!(
                    "Ask the client: gone after a trim of at least {least}; then look.",
                    least = length::said(length::cut(least))
                ),
            });
        }
        if !self.rule.say.is_empty() {
            ways.push(words::of(&self.rule.say).into());
        }
        ways
    }

    /// The exposures this finding is about, each once, in the order met along the hair.
    pub fn met_in(&self, strand: &Strand) -> Vec<Exposure> {
        let within = |p: &Piece<'_>| p.to_mm > self.from_mm && p.from_mm < self.to_mm;
        let mut met: Vec<Exposure> = Vec::new();
        for exposure in strand.pieces().filter(within).flat_map(|piece| piece.exposures) {
            if Some(exposure.family.group()) == self.met && !met.contains(exposure) {
                met.push(*exposure);
            }
        }
        met
    }
}

/// Why a plan could not be checked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlanRefusal {
    /// More findings than anybody reads.
    TooManyFindings,
}

/// The worst verdict of some findings; clear when there are none.
pub fn worst_verdict(findings: &[Finding<'_>]) -> Verdict {
    findings.iter().map(|finding| finding.verdict).max().unwrap_or(Verdict::Clear)
}

/// Checks a plan on the strand as it stands on `strand.on()`: worst first, then by application, then from the scalp.
///
/// # Errors
/// [`PlanRefusal::TooManyFindings`].
pub fn check_plan<'t>(
    strand: &Strand,
    plan: &[PlannedApplication],
    table: &'t RuleTable,
    health: Health,
) -> Result<Vec<Finding<'t>>, PlanRefusal> {
    let straightens =
        |p: &PlannedApplication| p.family.planned_as(p.straightens) == Some(NewUse::ThioStraightening);
    let mut check = Check {
        hair: Laid::new(strand),
        table,
        health,
        reforming: plan.iter().any(straightens),
        findings: Vec::new(),
    };
    for (index, application) in plan.iter().enumerate() {
        check.meet(index, application);
        if check.findings.len() > MOST_FINDINGS {
            return Err(PlanRefusal::TooManyFindings);
        }
    }
    let mut findings = check.findings;
    findings.sort_by(|a, b| {
        let order = (b.verdict, a.application).cmp(&(a.verdict, b.application));
        order.then(a.from_mm.total_cmp(&b.from_mm))
    });
    Ok(findings)
}

/// Exposures of a piece as the rules see them: for each group the latest likely day, and which hydroxides.
#[derive(Clone, Copy, Default)]
struct Met {
    latest: [Option<Date>; Group::ALL.len()],
    hydroxides: u32,
}

impl Met {
    fn add(&mut self, family: Family, on: Date, on_sd_days: f64) {
        let latest = &mut self.latest[family.group() as usize];
        *latest = (*latest).max(Some(latest_likely(on, on_sd_days)));
        if family.group() == Group::Hydroxide {
            self.hydroxides |= 1 << family as u32;
        }
    }

    fn groups(&self) -> impl Iterator<Item = (Group, Date)> {
        Group::ALL.into_iter().filter_map(|group| Some((group, self.latest[group as usize]?)))
    }
}

/// A vague date counts as date + 1.96 sd, rounded up to a day.
fn latest_likely(on: Date, on_sd_days: f64) -> Date {
    // Longer than the calendar is the calendar's end.
    let days = (WIDE * on_sd_days).ceil().min(MOST_DAYS);
    on.checked_add(Duration::days(days as i64)).unwrap_or(Date::MAX)
}

/// A piece during the check.
#[derive(Clone, Copy)]
struct LaidPiece {
    from_mm: f64,
    to_mm: f64,
    /// Doubt of the farther edge, mm; 0 at the tip.
    end_sd_mm: f64,
    met: Met,
}

/// The strand during the check: its own pieces and what earlier applications of the plan put there.
struct Laid<'s> {
    strand: &'s Strand,
    pieces: Vec<LaidPiece>,
}

impl<'s> Laid<'s> {
    fn new(strand: &'s Strand) -> Self {
        let sds = strand.demarcations().map(|(_, sd_mm)| sd_mm).chain([0.0]);
        let lay = |(piece, end_sd_mm): (Piece<'_>, f64)| {
            let mut met = Met::default();
            piece.exposures.iter().for_each(|e| met.add(e.family, e.on, e.on_sd_days));
            LaidPiece { from_mm: piece.from_mm, to_mm: piece.to_mm, end_sd_mm, met }
        };
        Laid { strand, pieces: strand.pieces().zip(sds).map(lay).collect() }
    }

    /// Puts a planned product on a zone. Zones stay those of the strand as it stands, and so do its demarcations:
    /// neighbours are not joined.
    fn put_on(&mut self, family: Family, (from, to): (f64, f64)) {
        let (start, end) = (self.split_at(from), self.split_at(to));
        let today = self.strand.on();
        self.pieces[start..end].iter_mut().for_each(|piece| piece.met.add(family, today, 0.0));
    }

    /// Index of the piece that begins at a place, splitting one if need be, as a recorded application would.
    fn split_at(&mut self, place: f64) -> usize {
        let index = self.pieces.partition_point(|piece| piece.to_mm <= place + SAME_PLACE_MM);
        match self.pieces.get_mut(index) {
            Some(piece) if piece.from_mm < place - SAME_PLACE_MM => {
                let near = LaidPiece { to_mm: place, end_sd_mm: NUMERIC_PLACE_MM2.sqrt(), ..*piece };
                piece.from_mm = place;
                self.pieces.insert(index, near);
                index + 1
            }
            _ => index,
        }
    }
}

/// A stretch one rule applies to, before neighbours are joined.
#[derive(Clone, Copy)]
struct Stretch {
    from: f64,
    to: f64,
    /// The nearest the hair it is about may begin.
    surely_from: f64,
    verdict: Verdict,
    until: Option<Date>,
    then: Option<Verdict>,
    met: Group,
}

struct Check<'s, 't> {
    hair: Laid<'s>,
    table: &'t RuleTable,
    health: Health,
    reforming: bool,
    findings: Vec<Finding<'t>>,
}

impl<'t> Check<'_, 't> {
    fn meet(&mut self, index: usize, application: &PlannedApplication) {
        let Some(zone) = self.hair.strand.resolve(application.zone) else {
            self.report_empty(index, application);
            return;
        };
        let numeric = matches!(application.zone, Zone::EndsFrom(_) | Zone::Between(..));
        let new = application.family.planned_as(application.straightens);
        let mut found: Vec<(&'t Rule, Vec<Stretch>)> = Vec::new();
        for (piece, met) in self.lies(zone, numeric) {
            for (group, on) in met.groups() {
                let Some(rule) = self.table.rule(new, group) else { continue };
                let Some((verdict, until, then)) = self.judge(rule, on) else { continue };
                let stretch = Stretch { verdict, until, then, met: group, ..piece };
                match found.iter_mut().find(|(known, _)| known.code == rule.code) {
                    Some((_, stretches)) => stretches.push(stretch),
                    None => found.push((rule, vec![stretch])),
                }
            }
        }
        for (rule, stretches) in found {
            for stretch in join(stretches) {
                self.report(index, application, rule, stretch);
            }
        }
        if application.zone == Zone::NewGrowth {
            self.look_beside(index, application);
        }
        self.hair.put_on(application.family, zone);
    }

    /// Where pieces that met something lie within the zone; verdicts still to come.
    fn lies(&self, (from, to): (f64, f64), numeric: bool) -> impl Iterator<Item = (Stretch, Met)> {
        let length = self.hair.strand.length_mm();
        let mut before = 0.0;
        self.hair.pieces.iter().filter_map(move |piece| {
            let behind = WIDE * piece.end_sd_mm;
            let ahead = std::mem::replace(&mut before, behind);
            let surely_from = (piece.from_mm - ahead).max(0.0);
            let (near, far) = if numeric {
                (surely_from, (piece.to_mm + behind).min(length))
            } else {
                (piece.from_mm, piece.to_mm)
            };
            let (near, far) = (near.max(from), far.min(to));
            let stretch = Stretch {
                from: near,
                to: far,
                surely_from: surely_from.min(near),
                verdict: Verdict::Clear,
                until: None,
                then: None,
                met: Group::Neutraliser,
            };
            (far - near > SAME_PLACE_MM).then_some((stretch, piece.met))
        })
    }

    /// The verdict of a rule for an exposure whose latest likely day is `on`; `None` when clear.
    fn judge(&self, rule: &Rule, on: Date) -> Option<(Verdict, Option<Date>, Option<Verdict>)> {
        let mut verdict = rule.verdict;
        if let (true, Some(reforming)) = (self.reforming, rule.when_reforming) {
            verdict = reforming;
        }
        if let (MetalTest::NegativeNoSilver, Some(tested)) = (self.health.metal_test, rule.when_metal_tested)
        {
            verdict = tested;
        }
        let wait = i64::from(rule.wait_days);
        if wait > 0 && (self.hair.strand.on() - on).whole_days() < wait {
            let until = on.checked_add(Duration::days(wait)).unwrap_or(Date::MAX);
            return Some((Verdict::Wait, Some(until), Some(verdict)));
        }
        (verdict != Verdict::Clear).then_some((verdict, None, None))
    }

    /// Product combed or rinsed past the line meets what begins there.
    fn look_beside(&mut self, index: usize, application: &PlannedApplication) {
        let line = self.hair.strand.demarcation_mm();
        let at = self.hair.pieces.partition_point(|piece| piece.to_mm <= line + SAME_PLACE_MM);
        let Some(LaidPiece { to_mm, met, .. }) = self.hair.pieces.get(at).copied() else { return };
        let sd_mm = at.checked_sub(1).map_or(0.0, |before| self.hair.pieces[before].end_sd_mm);
        let has = |group: Group| met.latest[group as usize].is_some();
        let (rule, group) = match application.family.group() {
            Group::Thio if has(Group::Hydroxide) => (&self.table.beside_other, Group::Hydroxide),
            Group::Hydroxide if has(Group::Thio) => (&self.table.beside_other, Group::Thio),
            Group::Hydroxide if met.hydroxides & !(1 << application.family as u32) != 0 => {
                (&self.table.beside_hydroxide, Group::Hydroxide)
            }
            _ => return,
        };
        let stretch = Stretch {
            from: line,
            to: to_mm,
            surely_from: (line - WIDE * sd_mm).max(0.0),
            verdict: rule.verdict,
            until: None,
            then: None,
            met: group,
        };
        self.report(index, application, rule, stretch);
    }

    fn report_empty(&mut self, application: usize, planned: &PlannedApplication) {
        let length = self.hair.strand.length_mm();
        let at = match planned.zone {
            Zone::NewGrowth | Zone::RootToEnd => 0.0,
            Zone::EndsFrom(from) | Zone::Between(from, _) => from.min(length),
        };
        let rule = &self.table.empty_zone;
        self.findings.push(Finding {
            application,
            verdict: rule.verdict,
            from_mm: at,
            to_mm: at,
            rule,
            met: None,
            until: None,
            then: None,
            clears_by_trim_mm: None,
            clears_by_trim_sure_mm: None,
            too_strong: false,
        });
    }

    fn report(&mut self, application: usize, planned: &PlannedApplication, rule: &'t Rule, found: Stretch) {
        let length = self.hair.strand.length_mm();
        let trim = |from: f64| (from > SAME_PLACE_MM).then_some(length - from);
        self.findings.push(Finding {
            application,
            verdict: found.verdict,
            from_mm: found.from,
            to_mm: found.to,
            rule,
            met: Some(found.met),
            until: found.until,
            then: found.then,
            clears_by_trim_mm: trim(found.from),
            clears_by_trim_sure_mm: trim(found.surely_from),
            too_strong: rule.mild_at_most
                && planned.strength.is_some_and(|strength| strength > Strength::Mild),
        });
    }
}

/// Joins stretches that touch: the worst verdict, the latest wait.
fn join(mut stretches: Vec<Stretch>) -> Vec<Stretch> {
    stretches.sort_by(|a, b| a.from.total_cmp(&b.from));
    stretches.dedup_by(|next, kept| {
        let touches = next.from <= kept.to + SAME_PLACE_MM;
        if touches {
            kept.to = kept.to.max(next.to);
            if next.verdict > kept.verdict {
                kept.met = next.met;
            }
            kept.verdict = kept.verdict.max(next.verdict);
            kept.until = kept.until.max(next.until);
            kept.then = kept.then.max(next.then);
        }
        touches
    });
    stretches
}
