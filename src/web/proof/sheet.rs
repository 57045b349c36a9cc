//! What a visit's sheet shows, worked out from its record.

use askama::Template;
use time::{Duration, OffsetDateTime};

use super::book::how_words;
use super::words::{Names, curl, rod, signed};
use crate::calendar::Zone;
use crate::domain::ids::StationId;
use crate::domain::protocol::Source;
use crate::domain::run::exposure::{Exposure, SectionExposure};
use crate::domain::run::{Event, EventKind, Granted, Happened, State};
use crate::flow::runs::Loaded;
use crate::store::plans::{KeptFinding, Plan};
use crate::store::visits::Incident;
use crate::web::plan_view::verdict_word;
use crate::web::result_photos::Photos;
use crate::web::shell::Shell;

/// The chain as followed.
pub struct Proven {
    pub head: String,
    pub events: i32,
    /// Everything that does not hold.
    pub broken: Vec<String>,
    /// Where it stands in the ledger; none while the service is under way.
    pub ledger: Option<i64>,
}

/// A visit with what names its numbers.
pub(super) struct Sheet<'a> {
    pub loaded: &'a Loaded,
    pub state: State<'a>,
    pub names: Names<'a>,
    pub zone: &'a Zone,
}

pub struct Signature {
    pub at: String,
    pub words: String,
    pub holds: bool,
    pub step: String,
    pub by: String,
    pub station: String,
}

pub struct Quadrant {
    pub name: &'static str,
    pub from: String,
    pub to: String,
    pub minutes: String,
    pub mark: &'static str,
}

pub struct Contact {
    pub title: String,
    pub summary: String,
    pub quadrants: Vec<Quadrant>,
}

pub struct Told {
    pub seq: i64,
    pub at: String,
    pub words: String,
    pub by: String,
    pub station: String,
    pub marks: String,
}

#[derive(Template)]
#[template(path = "proof/visit.html")]
pub struct VisitPage {
    pub shell: Shell,
    pub name: String,
    pub day: String,
    pub summary: String,
    pub client_href: String,
    pub run_href: String,
    pub under_way: bool,
    pub proven: Proven,
    pub plan_href: String,
    pub plan_said: String,
    pub findings: Vec<KeptFinding>,
    pub products: Vec<(String, String)>,
    pub trim: String,
    pub signatures: Vec<Signature>,
    pub contacts: Vec<Contact>,
    pub curls: Vec<(String, String, String)>,
    pub rods: String,
    pub lots: Vec<(String, String, String)>,
    pub breaches: Vec<String>,
    pub incidents: Vec<(String, String, String)>,
    pub handovers: Vec<(String, String, String)>,
    pub told: Vec<Told>,
    /// What two stations told of one place, each without knowing of the other.
    pub apart: Vec<String>,
    pub photos: Photos,
}

fn minutes(d: Duration) -> String {
    let seconds = d.whole_seconds().max(0);
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

fn incident_words(kind: &str) -> &'static str {
    match kind {
        "stop-and-rinse" => tr!("Stop and rinse"),
        "sting" => tr!("It stings"),
        "over-processed" => tr!("Over-processed"),
        "most-time-passed" => tr!("Longest allowed passed"),
        "late-breach" => tr!("Against the rules, known late"),
        _ => tr!("Something else"),
    }
}

impl Sheet<'_> {
    /// The wall clock to the second.
    fn at(&self, at: OffsetDateTime) -> String {
        let local = self.zone.local(at);
        format!("{:02}:{:02}:{:02}", local.hour(), local.minute(), local.second())
    }

    fn by(&self, event: &Event) -> String {
        event.by.map_or_else(|| tr!("this station").to_owned(), |p| self.names.person(p))
    }

    fn station(&self, event: &Event) -> String {
        self.names.stations.get(&event.station.0).cloned().unwrap_or_default()
    }

    fn apart(&self) -> Vec<String> {
        let station =
            |id: StationId| self.names.stations.get(&id.0).cloned().unwrap_or_else(|| id.to_string());
        let pairs = self.state.told_apart(&self.loaded.events);
        pairs.iter().map(|pair| pair.words(&|at| self.at(at), &station)).collect()
    }

    fn signatures(&self) -> Vec<Signature> {
        let row = |event: &Event| match &event.kind {
            EventKind::Granted(Granted::HoldPointSigned { step, signed: s }) => Some(Signature {
                at: self.at(event.recorded_at),
                words: signed(s),
                holds: s.holds(),
                step: self.names.step(step),
                by: self.by(event),
                station: self.station(event),
            }),
            _ => None,
        };
        self.loaded.events.iter().filter_map(row).collect()
    }

    fn contact(&self, exposure: &Exposure) -> Contact {
        let until = self.state.ended.map_or(self.loaded.now, |(_, at)| at);
        let figures = self.state.exposure_figures(exposure.letter);
        let allowed = figures.map_or_else(String::new, |f| {
            let source = match f.most_source {
                Source::Sheet => tr!("product sheet"),
                Source::Default { mark } => mark.words(),
            };
            f.most_min.map_or_else(String::new, |most| {
                tr!(" Longest allowed {most} min ({source}).", most = most, source = source)
            })
        });
        let product = self.loaded.products.iter().find(|p| p.application.starts_with(exposure.letter));
        let name = product.map_or_else(String::new, |p| format!(" {}", p.name));
        Contact {
            title: format!("{}{name}", exposure.letter),
            summary: tr!(
                "First touch {}. Longest {}, shortest {}, first to last {}.{allowed}",
                self.at(exposure.first_touch),
                minutes(exposure.longest(until)),
                minutes(exposure.shortest(until)),
                minutes(exposure.spread(until)),
                allowed = allowed
            ),
            quadrants: exposure.sections.iter().map(|s| self.quadrant(s, until)).collect(),
        }
    }

    fn quadrant(&self, section: &SectionExposure, until: OffsetDateTime) -> Quadrant {
        let end = section.spells.last().and_then(|s| s.end);
        Quadrant {
            name: section.section.words(),
            from: section.spells.first().map_or_else(String::new, |s| self.at(s.start)),
            to: end.map_or_else(|| tr!("still on").to_owned(), |e| self.at(e)),
            minutes: minutes(section.total(until)),
            mark: if section.assumed { tr!("not tapped: counted from first touch") } else { "" },
        }
    }

    fn told(&self, event: &Event) -> Told {
        let mut marks = Vec::new();
        if event.was_kept() {
            let (station, told) = (self.station(event), self.at(event.recorded_at));
            marks.push(if station.is_empty() {
                tr!("kept without contact, told at {told}", told = told)
            } else {
                tr!("kept at {station}, told at {told}", station = station, told = told)
            });
        }
        if matches!(&event.kind, EventKind::Happened(Happened::ClosingStarted { .. })) {
            marks.push(tr!("not confirmed").to_owned());
        }
        if self.state.is_taken_back(event) {
            marks.push(tr!("taken back").to_owned());
        }
        Told {
            seq: event.seq,
            at: self.at(event.happened_at),
            words: self.names.event(&event.kind),
            by: self.by(event),
            station: self.station(event),
            marks: marks.join("; "),
        }
    }

    /// Events of some kinds: when, what, by whom.
    fn of_kind(&self, which: impl Fn(&EventKind) -> bool) -> Vec<(String, String, String)> {
        let events = self.loaded.events.iter().filter(|e| which(&e.kind));
        events.map(|e| (self.at(e.happened_at), self.names.event(&e.kind), self.by(e))).collect()
    }

    fn summary(&self) -> String {
        let run = &self.loaded.run;
        let ended = run.ended_at.map_or_else(String::new, |at| tr!(" to {}", self.zone.clock(at)));
        let stylists: Vec<String> = self.state.stylists.iter().map(|p| self.names.person(*p)).collect();
        format!(
            "{}, {}, {}{ended}, {}. {}.",
            self.loaded.frame.protocol.title,
            run.chair,
            self.zone.clock(run.started_at),
            how_words(run.ended_how.as_deref()),
            stylists.join(tr!(", then "))
        )
    }
}

impl VisitPage {
    pub(super) fn new(
        sheet: &Sheet<'_>,
        shell: Shell,
        proven: Proven,
        plan: Option<Plan>,
        incidents: &[Incident],
        photos: Photos,
    ) -> Self {
        let (run, state) = (&sheet.loaded.run, &sheet.state);
        let at = |instant| sheet.at(instant);
        let opened_by = |i: &Incident| {
            let person = i.opened_by.map(crate::domain::ids::PersonId);
            person.map_or_else(|| tr!("this station").to_owned(), |p| sheet.names.person(p))
        };
        let trim = plan
            .as_ref()
            .and_then(|p| p.trim_mm)
            .map_or_else(String::new, |mm| tr!("{mm} mm planned", mm = mm));
        VisitPage {
            shell,
            name: run.client_name.clone(),
            day: format!(
                "{} {}",
                sheet.zone.day_words(run.started_at),
                sheet.zone.local(run.started_at).year()
            ),
            summary: sheet.summary(),
            client_href: format!("/clients/{}/visits", run.client_id),
            run_href: format!("/runs/{}", run.run_id),
            under_way: run.ended_at.is_none(),
            proven,
            plan_href: format!("/plans/{}", run.plan_id),
            plan_said: plan.as_ref().map_or_else(String::new, |p| {
                tr!(
                    "{}, checked {} by {}",
                    verdict_word(&p.verdict),
                    sheet.zone.clock(p.made_at),
                    p.made_by_name
                )
            }),
            findings: plan.map(|p| p.findings.0).unwrap_or_default(),
            products: sheet
                .loaded
                .products
                .iter()
                .map(|p| (p.application.clone(), format!("{} ({} {})", p.name, p.strength, p.family)))
                .collect(),
            trim: match (trim.is_empty(), state.trimmed_mm > 0.0) {
                (_, true) => tr!("{} mm cut off the ends", format_args!("{:.0}", state.trimmed_mm)),
                (false, false) => trim,
                (true, false) => String::new(),
            },
            signatures: sheet.signatures(),
            contacts: state.exposures.iter().map(|e| sheet.contact(e)).collect(),
            curls: state
                .test_curls
                .iter()
                .map(|c| (at(c.at), rod(c.rod).to_owned(), curl(c.reading).to_owned()))
                .collect(),
            rods: state.rods.map_or_else(String::new, |r| {
                tr!(
                    "{} rods; first {}, last {}, noted {}",
                    r.count,
                    r.first_at.words(),
                    r.last_at.words(),
                    at(r.at)
                )
            }),
            lots: state
                .dispensed
                .iter()
                .map(|d| {
                    (
                        at(d.at),
                        format!("{} {}", d.application, sheet.names.lot(d.lot.0)),
                        format!("{} g", d.grams),
                    )
                })
                .collect(),
            breaches: state
                .breaches(sheet.loaded.now)
                .iter()
                .map(|b| b.words(&sheet.loaded.frame.protocol, &at))
                .collect(),
            incidents: incidents
                .iter()
                .map(|i| {
                    let place = i.place.as_ref().map_or_else(String::new, |p| format!(", {p}"));
                    (at(i.opened_at), format!("{}{place}", incident_words(&i.kind)), opened_by(i))
                })
                .collect(),
            handovers: sheet.of_kind(|k| {
                matches!(
                    k,
                    EventKind::Granted(
                        Granted::HandoverOffered { .. }
                            | Granted::HandoverAccepted
                            | Granted::HandsNamed { .. }
                            | Granted::StopRead { .. }
                            | Granted::StopClosed { .. }
                    )
                )
            }),
            told: sheet.loaded.events.iter().map(|e| sheet.told(e)).collect(),
            apart: sheet.apart(),
            photos,
        }
    }
}
