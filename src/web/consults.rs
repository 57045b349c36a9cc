//! The consult: read in the chair, and what follows from it.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::{Form, Query};
use serde::Deserialize;
use time::{Date, OffsetDateTime};

use crate::domain::access::Act;
use crate::domain::chemistry::family::Family;
use crate::domain::consult::{
    Finding, HomeColour, LengthRefusal, OwnQuestion, Scalp, Sought, TOLD_ROWS, Weight, needs_guardian,
};
use crate::domain::growth::Rate;
use crate::flow::consults::{self as flow, ConsultRefused};
use crate::store::clients::Client;
use crate::store::{Scoped, answers, consults, people, strands};
use crate::web::clients::{client_id, find, tabs, zone};
use crate::web::consult_form::{Chair, RowTyped, Typed, own_field};
use crate::web::form::{Choice, Errors};
use crate::web::home_answers::{AtHome, at_home};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::{ClientTabs, Shell};
use crate::web::{once, page, typed};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/clients/{id}/consult" Open::To(Act::SeeHealth) => show,
    post "/clients/{id}/consult" Open::To(Act::TakeConsult) => take,
];

/// A finding in words.
pub struct FindingShown {
    /// clear, test, wait or refuse: the mark and class.
    pub mark: &'static str,
    pub verdict: &'static str,
    /// Against what, or until when; may be empty.
    pub heading: String,
    pub words: String,
    pub way_out: String,
    pub source: &'static str,
}

impl FindingShown {
    /// How the screens say a finding of the consult.
    pub fn of(f: &Finding) -> FindingShown {
        let against = f.family.map_or(tr!("every chemical service"), Family::words);
        let (mark, verdict, heading) = match (f.weight, f.until) {
            (Weight::Refuse, _) => ("refuse", tr!("Refused"), against.to_string()),
            (Weight::Wait, Some(day)) => {
                ("wait", tr!("Wait"), tr!("until {}", crate::calendar::day_words(day)))
            }
            (Weight::Wait, None) => ("wait", tr!("Wait"), String::new()),
            (Weight::Test, _) => ("test", tr!("Test first"), String::new()),
            (Weight::Advise, _) => ("test", tr!("To be said"), String::new()),
        };
        let (words, way_out) = (f.words.clone(), f.way_out.clone());
        FindingShown { mark, verdict, heading, words, way_out, source: f.source }
    }
}

/// The headline over findings.
fn answer(findings: &[Finding]) -> (String, bool) {
    let worst = findings.iter().map(|f| f.weight).max();
    let every = findings.iter().any(|f| f.weight == Weight::Refuse && f.family.is_none());
    match worst {
        Some(Weight::Refuse) if every => (tr!("Refused today").into(), true),
        Some(Weight::Refuse) => {
            let names: Vec<&str> = findings
                .iter()
                .filter(|f| f.weight == Weight::Refuse)
                .filter_map(|f| f.family.map(Family::words))
                .collect();
            (tr!("Refused: {}", names.join(", ")), true)
        }
        Some(Weight::Wait) => match findings.iter().filter_map(|f| f.until).max() {
            Some(day) => (tr!("Wait until {}", crate::calendar::day_words(day)), false),
            None => (tr!("Wait").into(), false),
        },
        Some(Weight::Test) => (tr!("Test first").into(), false),
        Some(Weight::Advise) => (tr!("Possible, with something to be said").into(), false),
        None => (tr!("The consult brings nothing against it").into(), false),
    }
}

#[derive(Template)]
#[template(path = "consults/show.html")]
struct ShowPage {
    shell: Shell,
    tabs: ClientTabs,
    answer: String,
    refused: bool,
    /// Taken on another day: to be read again before a service.
    old: bool,
    taken: String,
    findings: Vec<FindingShown>,
    facts: Vec<(&'static str, String)>,
    reason: String,
    words: String,
    base: String,
    at_home: Option<AtHome>,
}

#[derive(Template)]
#[template(path = "consults/form.html")]
struct FormPage {
    shell: Shell,
    tabs: ClientTabs,
    errors: Errors,
    typed: Typed,
    once_key: String,
    action: String,
    reactions: Vec<Choice>,
    black_henna: Vec<Choice>,
    black_henna_reaction: Vec<Choice>,
    scalp: Vec<Choice>,
    scratched: Vec<Choice>,
    pregnant: Vec<Choice>,
    medication: Vec<Choice>,
    scalp_treatment: Vec<Choice>,
    home_colour: Vec<Choice>,
    home_colour_left: Vec<Choice>,
    silver: Vec<Choice>,
    account: Vec<Choice>,
    rows: Vec<RowShown>,
    more: Vec<RowShown>,
    /// The record has no date of birth.
    ask_born: bool,
    /// No strand yet: length and account are asked.
    first: bool,
    cannot_consent: Vec<Choice>,
    minor: bool,
    /// The kinds of service to read it for: address, words, chosen.
    kinds: Vec<(String, &'static str, bool)>,
    /// What the chosen kind asks of its own.
    own: Vec<OwnShown>,
    /// What was answered at home since the last consult.
    at_home: Option<AtHome>,
}

/// One of a service's own questions.
struct OwnShown {
    legend: &'static str,
    name: String,
    hint: &'static str,
    choices: Vec<Choice>,
}

/// One row of what is already in the hair.
pub struct RowShown {
    n: usize,
    typed: RowTyped,
    families: Vec<Choice>,
}

impl RowShown {
    /// Id of a field of this row; its error stands under the same name.
    fn id(&self, field: &str) -> String {
        format!("row_{field}_{}", self.n)
    }
}

fn yes_no(chosen: &str) -> Vec<Choice> {
    Choice::list([("no", "no"), ("yes", "yes")], &[chosen])
}

/// Families a client can have met or reacted to.
fn told_families() -> impl Iterator<Item = (&'static str, &'static str)> {
    Family::ALL.into_iter().map(|f| (f.code(), f.words()))
}

fn row_shown(n: usize, typed: &Typed) -> RowShown {
    let row = typed.row(n);
    let skipped = [Family::PeroxideNeutraliser.code(), Family::BromateNeutraliser.code()];
    let known = told_families().filter(|(code, _)| !skipped.contains(code));
    let families = Choice::list(std::iter::once(("", tr!("nothing"))).chain(known), &[row.family.as_str()]);
    RowShown { n, typed: row, families }
}

/// The kinds as links; choosing one asks for its form anew, before anything is typed.
fn kinds(o: &Opened, chosen: Option<Sought>) -> Vec<(String, &'static str, bool)> {
    let base = format!("/clients/{}/consult?again=1", o.client.client_id);
    Sought::ALL.map(|k| (format!("{base}&sought={}", k.code()), k.words(), chosen == Some(k))).to_vec()
}

fn own_shown(typed: &Typed) -> Vec<OwnShown> {
    let questions = typed.sought().map_or(&[][..], Sought::questions);
    let shown = |q: &OwnQuestion| OwnShown {
        legend: q.words(),
        name: own_field(*q),
        hint: q.hint(),
        choices: Choice::list(q.answers().iter().map(|a| (a.code(), a.words())), &[typed.own(*q)]),
    };
    questions.iter().map(shown).collect()
}

struct Opened {
    client: Client,
    now: OffsetDateTime,
    today: Date,
    first: bool,
    at_home: Option<AtHome>,
}

async fn open(seat: &Seat, s: &mut Scoped, id: &str) -> Result<Opened, Problem> {
    let client = find(s, client_id(id)?).await?;
    let now = s.now().await?;
    let first = strands::find_beginning(s, client.id()).await?.is_none();
    let zone = zone(seat)?;
    let since = consults::latest(s, client.id()).await?.map(|c| c.taken_at);
    let at_home = at_home(s, &zone, client.id(), since).await?;
    Ok(Opened { now, today: zone.day_of(now), first, client, at_home })
}

fn form_page(seat: &Seat, o: Opened, typed: Typed, errors: Errors) -> FormPage {
    let reacted: Vec<&str> = typed.reactions.iter().map(String::as_str).collect();
    let shown = typed.rows_filled().clamp(3, TOLD_ROWS);
    FormPage {
        shell: seat.shell(o.now, "/clients", &[]),
        tabs: tabs(seat, &o.client, "consult"),
        once_key: once::key(),
        action: format!("/clients/{}/consult", o.client.client_id),
        reactions: Choice::list(told_families().filter(|(code, _)| *code != "unknown"), &reacted),
        black_henna: yes_no(&typed.black_henna),
        black_henna_reaction: yes_no(&typed.black_henna_reaction),
        scalp: Choice::list(Scalp::ALL.map(|x| (x.code(), x.words())), &[typed.scalp.as_str()]),
        scratched: yes_no(&typed.scratched),
        pregnant: yes_no(&typed.pregnant),
        medication: yes_no(&typed.medication),
        scalp_treatment: yes_no(&typed.scalp_treatment),
        home_colour: Choice::list(
            HomeColour::ALL.map(|x| (x.code(), x.words())),
            &[typed.home_colour.as_str()],
        ),
        home_colour_left: yes_no(&typed.home_colour_left),
        silver: yes_no(&typed.silver),
        account: Choice::list(
            [("whole", tr!("yes, all of it")), ("up-to", tr!("only up to here, from the scalp:"))],
            &[typed.account.as_str()],
        ),
        rows: (0..shown).map(|n| row_shown(n, &typed)).collect(),
        more: (shown..TOLD_ROWS).map(|n| row_shown(n, &typed)).collect(),
        ask_born: o.client.born_on.is_none(),
        first: o.first,
        cannot_consent: Choice::list(
            [("yes", tr!("Somebody else consents for this client"))],
            &[typed.cannot_consent.as_str()],
        ),
        minor: needs_guardian(o.client.born_on, o.today),
        kinds: kinds(&o, typed.sought()),
        own: own_shown(&typed),
        at_home: o.at_home,
        errors,
        typed,
    }
}

/// What was asked of the screen.
#[derive(Deserialize, Default)]
pub struct Asked {
    #[serde(default)]
    again: String,
    /// The kind of service to read it for.
    #[serde(default)]
    sought: String,
}

/// The findings of the latest consult, or the form.
pub async fn show(seat: Seat, Path(id): Path<String>, Query(q): Query<Asked>) -> Answered {
    seat.require(Act::SeeHealth)?;
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    let latest = consults::latest(&mut s, o.client.id()).await?;
    let Some(latest) = latest.filter(|_| q.again.is_empty()) else {
        seat.require(Act::TakeConsult)?;
        // What stands for good is shown ticked; everything else is asked anew.
        let reactions = consults::list_reactions_ever(&mut s, o.client.id()).await?;
        s.commit().await?;
        let sought = Sought::from_code(&q.sought).map_or("", Sought::code).to_string();
        let reactions = reactions.iter().map(|f| f.code().to_string()).collect();
        let typed = Typed { reactions, sought, ..Typed::default() };
        return Ok(page::html(&form_page(&seat, o, typed, Errors::none())));
    };
    let zone = zone(&seat)?;
    let least = u8::try_from(seat.salon_row.least_age).unwrap_or(u8::MAX);
    let findings = flow::find_findings(&mut s, &seat.app.reference, &o.client, (&zone, least), o.today, &[])
        .await?
        .unwrap_or_default();
    let by = people::find(&mut s, latest.taken_by).await?.map(|p| p.name).unwrap_or_default();
    let mut said = [String::new(), String::new()];
    for (slot, answer_id) in said.iter_mut().zip([latest.reason_id, latest.words_id]) {
        if let Some(answer_id) = answer_id {
            *slot = answers::find(&mut s, o.client.id(), answer_id).await?.unwrap_or_default();
        }
    }
    s.commit().await?;
    let [reason, words] = said;
    let (answer, refused) = answer(&findings);
    Ok(page::html(&ShowPage {
        shell: seat.shell(o.now, "/clients", &[&format!("client:{}", o.client.client_id)]),
        tabs: tabs(&seat, &o.client, "consult"),
        answer,
        refused,
        old: zone.day_of(latest.taken_at) != o.today,
        taken: format!("{} {}, {by}", zone.day_words(latest.taken_at), zone.clock(latest.taken_at)),
        findings: findings.iter().map(FindingShown::of).collect(),
        facts: facts(&latest),
        reason,
        words,
        base: format!("/clients/{}", o.client.client_id),
        at_home: o.at_home,
    }))
}

fn facts(c: &consults::Consult) -> Vec<(&'static str, String)> {
    let t = &c.told;
    let yes = |is: bool| if is { tr!("yes") } else { tr!("no") }.to_string();
    let reactions: Vec<&str> = t.reactions.iter().map(|f| f.words()).collect();
    let mut facts = vec![
        (
            tr!("Past reactions"),
            if reactions.is_empty() { tr!("no reaction told").into() } else { reactions.join(", ") },
        ),
        (
            tr!("Temporary black tattoo"),
            tr!("{}, reaction to it: {}", yes(t.black_henna), yes(t.black_henna_reaction)),
        ),
        (tr!("Scalp"), t.scalp.words().to_string()),
        (tr!("Scratched or brushed hard in 3 days"), yes(t.scratched_within_3_days)),
        (
            tr!("Braids, weave, glue out on"),
            t.braids_out_on.map_or_else(|| "no".into(), crate::calendar::day_words),
        ),
        (tr!("Pregnancy"), yes(t.pregnant)),
        (tr!("Medication"), yes(t.medication)),
        (tr!("Scalp treatment"), yes(t.scalp_treatment)),
        (tr!("Colour at home"), t.home_colour.words().to_string()),
        (tr!("Silver in the history"), yes(t.silver_in_history)),
    ];
    if let Some(sought) = t.own.sought {
        facts.push((tr!("Read for"), sought.words().to_string()));
    }
    facts.extend(t.own.answers.iter().map(|(q, a)| (q.words(), a.words().to_string())));
    if let Some(guardian) = &c.guardian {
        facts.push((tr!("Read by the guardian"), guardian.clone()));
    }
    facts
}

/// The rate this client's hair is first taken to grow at.
pub fn start_rate(seat: &Seat, client: &Client) -> Result<Rate, Problem> {
    let growth = &seat.app.reference.growth;
    let curl = client.curl_group.as_deref().unwrap_or("tight");
    growth.find_start(curl).or_else(|| growth.find_start("tight")).map(|m| m.rate).ok_or(Problem::Broken)
}

fn refuse_row(errors: &mut Errors, why: LengthRefusal) {
    let (n, field, words) = match why {
        LengthRefusal::BeyondTip(n) => (n, "from", tr!("This lies beyond the ends of the hair.")),
        LengthRefusal::EndsFirst(n) => (n, "to", tr!("This ends before it begins.")),
        LengthRefusal::TooNearScalp(n) => (
            n,
            "from",
            tr!("Hair treated on that day lies further out by now. Look at the day and the place again."),
        ),
        LengthRefusal::GrownOut(n) => (
            n,
            "on",
            tr!(
                "Hair treated root to end on that day has grown past the ends by now. Look at the day again, or say from where it lies."
            ),
        ),
        LengthRefusal::BeforeRecorded(n) => (
            n,
            "on",
            tr!(
                "Something later is already on record for this hair. Write the day of that, and give or take as many days as it may have been earlier."
            ),
        ),
    };
    errors.note(format!("row_{field}_{n}"), words);
}

/// Keeps a consult.
pub async fn take(seat: Seat, Path(id): Path<String>, Form(f): Form<Typed>) -> Answered {
    let person = seat.require(Act::TakeConsult)?;
    typed::measure_as_sent(&f.unit);
    let (by, decides) = (person.id, seat.may(Act::SignJudgement));
    let mut s = seat.begin().await?;
    let here = format!("/clients/{}/consult", client_id(&id)?);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let o = open(&seat, &mut s, &id).await?;
    let chair = Chair { today: o.today, born_on: o.client.born_on, first: o.first, decides };
    let (taken, mut errors) = f.read(&chair);
    if errors.is_empty() {
        let rate = start_rate(&seat, &o.client)?;
        match flow::take_consult(&mut s, o.client.id(), by, o.today, rate, &taken).await {
            Ok(()) => {
                let answer = once::settle(&mut s, &f.once, &here).await?;
                s.commit().await?;
                return Ok(answer);
            }
            Err(ConsultRefused::Hair(rows)) => rows.into_iter().for_each(|why| refuse_row(&mut errors, why)),
            Err(ConsultRefused::Store(e)) => return Err(e.into()),
        }
    }
    Ok(page::refused(&form_page(&seat, o, f, errors)))
}
