//! A kept plan as its screen shows it: the verdict in words, the ruler, the findings, the trim, what to say.

use crate::domain::length;
use askama::Template;
use time::OffsetDateTime;

use crate::domain::access::Act;
use crate::domain::chemistry::Verdict as Judged;
use crate::domain::protocol::Protocol;
use crate::domain::strand::{Strand, Zone};
use crate::flow::plans::{kept_zone, trimmed};
use crate::flow::strands::{Told, day_words};
use crate::store::clients::Client;
use crate::store::plans::{KeptApplication, KeptFinding, Plan};
use crate::store::products::Product;
use crate::web::clients::{tabs, zone};
use crate::web::form::{Choice, Errors, Reason};
use crate::web::picture::Verdict;
use crate::web::picture::strand_ruler::{Found, Planned, StrandRuler};
use crate::web::plan_form::{self, Fields};
use crate::web::problem::Problem;
use crate::web::seat::Seat;
use crate::web::shell::{ClientTabs, Shell};
use crate::web::{once, strand_words, typed};
use crate::words;

/// Findings drawn under the hair; the list has them all.
const MOST_DRAWN: usize = 8;

/// Everything a page of a plan is made of.
pub struct Shown<'a> {
    pub seat: &'a Seat,
    pub now: OffsetDateTime,
    pub plan: &'a Plan,
    pub client: &'a Client,
    pub protocol: &'a Protocol,
    pub told: Option<&'a Told>,
    pub shelf: &'a [Product],
    pub waiting: Vec<Reason>,
    pub chairs: Vec<Choice>,
    pub reasons: Vec<Reason>,
    pub errors: Errors,
    pub offer: Option<(String, String)>,
}

struct ShownWay {
    words: String,
    href: String,
}

struct ShownFinding {
    number: usize,
    verdict: Verdict,
    title: String,
    why: String,
    rule: String,
    source: String,
    until: String,
    /// At least, to be sure, and the second as the form sends it.
    trim: Option<(String, String, String)>,
    ways: Vec<ShownWay>,
}

/// The page.
#[derive(Template)]
#[template(path = "plans/show.html")]
pub struct PlanPage {
    shell: Shell,
    tabs: ClientTabs,
    errors: Errors,
    reasons: Vec<Reason>,
    refused: bool,
    answer: String,
    lead: String,
    title: String,
    when: String,
    by: String,
    newer: String,
    ruler: Option<StrandRuler>,
    start: bool,
    start_key: String,
    plan_id: i64,
    chairs: Vec<Choice>,
    run: String,
    waiting: Vec<Reason>,
    findings: Vec<ShownFinding>,
    change: bool,
    action: String,
    once_key: String,
    protocol: String,
    fields: Vec<Fields>,
    answers: Vec<Choice>,
    trim_mm: String,
    /// The planned trim, as said.
    trim_said: String,
    back: String,
    here: String,
    after: Option<StrandRuler>,
    after_words: String,
    cut: bool,
    cut_key: String,
    say: Vec<String>,
    offer_key: String,
    offer: String,
    offer_answer: String,
}

/// A stored verdict in a word.
pub fn verdict_word(code: &str) -> &'static str {
    match code {
        "clear" => tr!("clear"),
        "test-first" => tr!("test first"),
        "wait" => tr!("wait"),
        _ => tr!("refused"),
    }
}

/// Where a way out is done.
pub fn href(at: &str, client: i64) -> String {
    match at {
        "tests" | "readings" | "consult" => format!("/clients/{client}/{at}"),
        "patch-test" | "strand-test" | "metallic-salt-test" => {
            format!("/clients/{client}/test-visits#{at}")
        }
        "record" => format!("/clients/{client}"),
        // The questions of one kind of service, asked anew.
        "ask-curl" | "ask-wave" | "ask-relaxer" | "ask-colour" | "ask-lightener" => {
            format!("/clients/{client}/consult?again=1&sought={}", at.trim_start_matches("ask-"))
        }
        "shelf" => "/shelf".into(),
        _ => String::new(),
    }
}

fn judged(code: &str) -> Judged {
    Judged::from_code(code).unwrap_or(Judged::Refuse)
}

fn mark(verdict: Judged) -> Verdict {
    match verdict {
        Judged::Clear => Verdict::Clear,
        Judged::TestFirst => Verdict::Test,
        Judged::Wait => Verdict::Wait,
        Judged::Refuse => Verdict::Refuse,
    }
}

/// The day a kept wait ends, in words.
fn until_words(f: &KeptFinding) -> Option<String> {
    let day = f.until.as_deref()?;
    let mut errors = Errors::none();
    typed::day(&mut errors, "until", day).map(day_words)
}

/// The verdict in words: the screen's answer.
fn answer(plan: &Plan, tests_open: bool) -> String {
    match judged(&plan.verdict) {
        Judged::Refuse => tr!("Refused as planned").into(),
        Judged::Wait => {
            let waits = || plan.findings.iter().filter(|f| f.verdict == "wait");
            let last = waits().filter_map(|f| f.until.clone()).max();
            match (last, waits().all(|f| f.until.is_some())) {
                (Some(day), true) => {
                    let f = waits().find(|f| f.until.as_deref() == Some(day.as_str()));
                    f.and_then(until_words)
                        .map_or(tr!("Not yet").into(), |day| tr!("Wait until {day}", day = day))
                }
                _ => tr!("Not yet").into(),
            }
        }
        Judged::TestFirst if tests_open => tr!("Test first").into(),
        Judged::TestFirst => tr!("Clear, the tests are passed").into(),
        Judged::Clear => tr!("Clear").into(),
    }
}

fn lead(plan: &Plan, tests_open: bool) -> String {
    if plan.verdict == "test-first" && !tests_open {
        return tr!("Everything that was asked for first is passed.").into();
    }
    let Some(first) = plan.findings.first() else {
        return tr!("Nothing on this head stands against it.").into();
    };
    let same = plan.findings.iter().filter(|f| f.verdict == first.verdict && f.verdict != "clear").count();
    let more = match same {
        0 => return tr!("Nothing on this head stands against it.").into(),
        1 => String::new(),
        2 => tr!(" One more finding is as heavy.").into(),
        n => tr!(" {} more findings are as heavy.", n - 1),
    };
    let trim = plan
        .findings
        .iter()
        .filter_map(|f| f.trim_mm)
        .map(|(_, sure)| sure)
        .fold(None, |most: Option<f64>, mm| Some(most.map_or(mm, |m| m.max(mm))));
    let all_by_trim = plan.findings.iter().filter(|f| f.verdict == "refuse").all(|f| f.trim_mm.is_some());
    let way = match trim {
        Some(sure) if all_by_trim => {
            tr!(" Possible with a trim of {}, to be sure: ask the client.", length::said(length::cut(sure)))
        }
        _ => String::new(),
    };
    format!(
        "{}.{more}{way}",
        first.in_words(words::speaking(), words::measuring()).title.trim_end_matches('.')
    )
}

fn span(strand: &Strand, a: &KeptApplication) -> (f64, f64) {
    let length = strand.length_mm();
    match kept_zone(a) {
        Some(Zone::NewGrowth) => (0.0, strand.demarcation_mm()),
        Some(Zone::EndsFrom(from)) => (from.min(length), length),
        Some(Zone::Between(from, to)) => (from.min(length), to.min(length)),
        Some(Zone::RootToEnd) | None => (0.0, length),
    }
}

fn zone_words(strand: &Strand, a: &KeptApplication) -> String {
    let (from, to) = span(strand, a);
    match a.zone.as_str() {
        "new-growth" => tr!("new growth").into(),
        "root-to-end" => tr!("root to end").into(),
        _ => tr!("{from} to {to}", from = length::figure(from), to = length::said(to)),
    }
}

fn brackets(strand: &Strand, plan: &Plan) -> Vec<Planned> {
    plan.applications
        .iter()
        .map(|a| {
            let (from_mm, to_mm) = span(strand, a);
            let strength =
                if a.strength.is_empty() { String::new() } else { format!("{}, ", words::of(&a.strength)) };
            Planned {
                letter: a.letter.clone(),
                words: format!("{}, {strength}{}", words::of(&a.title), zone_words(strand, a)),
                from_mm,
                to_mm,
            }
        })
        .collect()
}

fn ruler(strand: &Strand, plan: &Plan) -> StrandRuler {
    let planned = brackets(strand, plan);
    let refused: Vec<(f64, f64)> =
        plan.findings.iter().filter(|f| f.verdict == "refuse").filter_map(|f| f.span_mm).collect();
    let said = if refused.is_empty() {
        tr!("Nothing of it is refused.").to_string()
    } else {
        let spans: Vec<String> = refused
            .iter()
            .map(|(a, b)| tr!("{a} to {b}", a = format_args!("{:.0}", a), b = format_args!("{:.0}", b)))
            .collect();
        tr!("Refused from {}.", spans.join(", "))
    };
    let words: Vec<String> = planned.iter().map(|p| format!("{} {}", p.letter, p.words)).collect();
    let mut ruler = strand_words::ruler(
        strand,
        tr!("Planned service on the strand. {}. {said}", words.join("; "), said = said),
    );
    ruler.planned = planned;
    for piece in &mut ruler.pieces {
        let meets = |(from, to): &(f64, f64)| *to - 0.5 > piece.from_mm && *from + 0.5 < piece.to_mm;
        if refused.iter().any(meets) {
            piece.refused = "refused".into();
        }
    }
    ruler.found = plan
        .findings
        .iter()
        .enumerate()
        .filter(|(_, f)| f.verdict != "clear")
        .filter_map(|(at, f)| {
            let (from_mm, to_mm) = f.span_mm?;
            Some(Found { number: at + 1, verdict: mark(judged(&f.verdict)), from_mm, to_mm })
        })
        .take(MOST_DRAWN)
        .collect();
    ruler
}

fn findings(plan: &Plan) -> Vec<ShownFinding> {
    plan.findings
        .iter()
        .enumerate()
        .map(|(at, f)| (at, f, f.in_words(words::speaking(), words::measuring())))
        .map(|(at, f, said)| ShownFinding {
            number: at + 1,
            verdict: mark(judged(&f.verdict)),
            title: said.title,
            why: said.why,
            rule: words::of(&f.rule.replace('-', " ")).into(),
            source: said.source.trim_end_matches('.').into(),
            until: until_words(f).unwrap_or_default(),
            trim: f
                .trim_mm
                .map(|(least, sure)| (length::cut(least), length::cut(sure)))
                .map(|(least, sure)| (length::said(least), length::said(sure), length::written(sure))),
            ways: f
                .ways
                .iter()
                .zip(said.ways)
                .filter(|(_, words)| !words.is_empty())
                .map(|(w, words)| ShownWay { words, href: href(&w.at, plan.client_id) })
                .collect(),
        })
        .collect()
}

/// What to say to the client, and what can be done today (trade-rules.md, Moments: common practice).
fn say(plan: &Plan) -> Vec<String> {
    let mut words = Vec::new();
    match judged(&plan.verdict) {
        Judged::Refuse => {
            words.push(tr!("“On this hair it would break. Today we can trim, treat and set; here is when we look again.”").into());
            if plan.findings.iter().any(|f| f.trim_mm.is_some()) {
                words.push(tr!("A trim is the client’s to say yes to: ask, then look. Wet hair that hangs straight is still relaxed.").into());
            }
        }
        Judged::Wait => {
            let dated = plan.findings.iter().filter(|f| f.verdict == "wait").filter_map(until_words);
            words.extend(dated.map(|day| {
                tr!("“From {day} we can look again. Until then we can wash, treat and set.”", day = day)
            }));
            words.dedup();
            if words.is_empty() {
                words.push(tr!("Today we can trim, treat and set.").into());
            }
        }
        Judged::TestFirst | Judged::Clear => {}
    }
    words
}

/// Makes the page.
pub fn page(x: Shown<'_>) -> Result<PlanPage, Problem> {
    let zone = zone(x.seat)?;
    let plan = x.plan;
    let may_plan = x.seat.may(Act::MakePlan) && plan.run_id.is_none();
    let strand = x.told.map(|t| &t.strand);
    let trim = plan.trim_mm.map(f64::from);
    // A plan whose trim the client agreed to was checked on the shorter strand; the whole one is drawn.
    let left = trim.zip(strand).and_then(|(mm, strand)| trimmed(strand, mm));
    let after = left.as_ref().map(|left| {
        let mut ruler = strand_words::ruler(
            left,
            tr!("After the trim the hair is {} long.", length::said(left.length_mm())),
        );
        ruler.planned = brackets(left, plan);
        ruler.edges.clear();
        ruler.cut_mm = trim.unwrap_or(0.0);
        ruler
    });
    let after_words = left.as_ref().map_or(String::new(), |left| {
        let asked = match plan.trim_agreed {
            Some(true) => tr!("The client said yes. Cut, look, and check again."),
            Some(false) => tr!("The client said no: the plan stands without it."),
            None => tr!("Ask the client; the answer goes into the plan."),
        };
        tr!("What stays: {}. {asked}", strand_words::answer(left), asked = asked)
    });
    let typed = plan_form::of(plan);
    let base = format!("/clients/{}", plan.client_id);
    let (offer, offer_answer) = x.offer.unwrap_or_else(|| {
        (plan.offer.clone().unwrap_or_default(), plan.offer_answer.clone().unwrap_or_default())
    });
    Ok(PlanPage {
        shell: x.seat.shell(x.now, "/clients", &[&format!("client:{}", plan.client_id)]),
        tabs: tabs(x.seat, x.client, "plan"),
        errors: x.errors,
        refused: judged(&plan.verdict) == Judged::Refuse,
        answer: answer(plan, !x.waiting.is_empty()),
        lead: lead(plan, !x.waiting.is_empty()),
        title: x.protocol.title.clone(),
        when: format!("{} {}", zone.day_words(plan.made_at), zone.clock(plan.made_at)),
        by: plan.made_by_name.clone(),
        newer: plan.newer_id.map(|id| format!("/plans/{id}")).unwrap_or_default(),
        ruler: strand.map(|strand| ruler(strand, plan)),
        start: plan.run_id.is_none() && x.waiting.is_empty() && x.seat.may(Act::StartRun),
        start_key: once::key(),
        plan_id: plan.plan_id,
        chairs: x.chairs,
        run: plan.run_id.map(|id| format!("/runs/{id}")).unwrap_or_default(),
        // Said once: a refused act has its reasons above.
        waiting: if x.reasons.is_empty() { x.waiting } else { Vec::new() },
        reasons: x.reasons,
        findings: findings(plan),
        change: may_plan,
        action: format!("{base}/plans"),
        once_key: once::key(),
        protocol: plan.protocol.clone(),
        fields: if may_plan { plan_form::fields(x.protocol, x.shelf, &typed) } else { Vec::new() },
        answers: plan_form::answers(&typed),
        trim_mm: typed.get("trim_mm").cloned().unwrap_or_default(),
        trim_said: plan.trim_mm.map(|mm| length::as_written(f64::from(mm))).unwrap_or_default(),
        back: format!("{base}/plan"),
        here: format!("/plans/{}", plan.plan_id),
        after,
        after_words,
        cut: may_plan && plan.trim_agreed == Some(true) && !plan.stale,
        cut_key: once::key(),
        say: say(plan),
        offer_key: once::key(),
        offer,
        offer_answer,
    })
}
