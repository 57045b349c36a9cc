//! One lot: its state, what was judged of it, its grams, where it went.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;
use time::Date;

use crate::calendar::day_words;
use crate::domain::access::Act;
use crate::domain::ids::{LotId, ProductId};
use crate::domain::lot::{self as law, NoteKind, REASON_MOST_CHARS, Verdict};
use crate::flow::lots as flow;
use crate::store::lots::{self, JudgedAnew, Lot};
use crate::store::stock_notes::{self, StockNote};
use crate::store::{Scoped, products, recall};
use crate::web::clients::zone;
use crate::web::contents::{LimitLine, kept_limit_lines, texts};
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::recall::Head;
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/shelf/lots/{id}" Open::To(Act::SeeShelf) => show,
    post "/shelf/lots/{id}/opening" Open::To(Act::KeepShelf) => open_lot,
    post "/shelf/lots/{id}/withdrawal" Open::To(Act::KeepShelf) => withdraw,
    post "/shelf/lots/{id}/stock" Open::To(Act::KeepShelf) => note,
];

/// A lot in a table.
pub struct LotLine {
    pub href: String,
    pub code: String,
    pub received: String,
    pub last_day: String,
    pub opened: String,
    pub left: String,
    pub state: &'static str,
}

/// How a lot stands on a day, in words.
pub fn state(l: &Lot, today: Date) -> &'static str {
    if l.withdrawn_at.is_some() {
        tr!("out of use")
    } else if l.quarantined {
        "quarantined"
    } else if l.usable_on(today) {
        tr!("in date")
    } else {
        tr!("out of date")
    }
}

impl LotLine {
    /// A lot as a line on this day.
    pub fn of(l: &Lot, today: Date) -> LotLine {
        LotLine {
            href: format!("/shelf/lots/{}", l.lot_id),
            code: l.code.clone(),
            received: day_words(l.received_on),
            last_day: l
                .last_day()
                .map_or_else(|| tr!("no date given").into(), |d| format!("{} {}", day_words(d), d.year())),
            opened: l.opened_on.map_or_else(|| tr!("not opened").into(), day_words),
            left: tr!(
                "{} of {} g",
                format_args!("{:.0}", l.left_grams()),
                format_args!("{:.0}", l.received_grams)
            ),
            state: state(l, today),
        }
    }
}

/// A line of the stock record.
struct NoteLine {
    when: String,
    what: String,
    grams: String,
    by: String,
}

/// A judgement on record.
struct AnewLine {
    when: String,
    by: String,
    why: String,
    so: String,
}

fn anew_line(j: &JudgedAnew, at: impl Fn(time::OffsetDateTime) -> String) -> AnewLine {
    let verdict = Verdict::from_code(&j.law_verdict).unwrap_or(Verdict::NotJudged).words();
    AnewLine {
        when: at(j.judged_at),
        by: j.judged_by.clone(),
        why: j.why.clone(),
        so: match (&j.quarantine_reason, j.out_of_quarantine) {
            (Some(reason), _) => tr!("{verdict}; apart: {reason}", verdict = verdict, reason = reason),
            (None, true) => tr!("{verdict}; let out of quarantine", verdict = verdict),
            (None, false) => tr!("{verdict}; for use", verdict = verdict),
        },
    }
}

/// What is noted of grams, as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct NoteTyped {
    once: String,
    kind: String,
    grams: String,
    reason: String,
}

/// Why it leaves use, as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct WithdrawTyped {
    once: String,
    withdrawn_reason: String,
}

#[derive(Template)]
#[template(path = "shelf/lot.html")]
struct LotPage {
    shell: Shell,
    errors: Errors,
    product: String,
    product_href: String,
    line: LotLine,
    /// Why it stands apart or left use; empty for neither.
    why: String,
    verdict: &'static str,
    outside: bool,
    judged: String,
    limits: Vec<LimitLine>,
    label_seen: Vec<String>,
    /// What is entered now would be within the law, where it stands apart.
    mended: bool,
    may_release: bool,
    anew: Vec<AnewLine>,
    notes: Vec<NoteLine>,
    kinds: Vec<Choice>,
    note: NoteTyped,
    withdraw: WithdrawTyped,
    heads: Vec<Head>,
    base: String,
    once_keys: [String; 3],
    opened: bool,
    withdrawn: bool,
    may_keep: bool,
}

async fn find(s: &mut Scoped, id: &str) -> Result<Lot, Problem> {
    let id: LotId = id.parse().map_err(|_| Problem::NotFound)?;
    lots::find(s, id).await?.ok_or(Problem::NotFound)
}

fn note_line(n: &StockNote, at: impl Fn(time::OffsetDateTime) -> String) -> NoteLine {
    let kind = NoteKind::from_code(&n.kind).map_or("", NoteKind::words);
    let counted =
        n.counted_grams.map(|g| tr!(": {g} g there", g = format_args!("{:.0}", g))).unwrap_or_default();
    let reason = if n.reason.is_empty() { String::new() } else { format!(". {}", n.reason) };
    NoteLine {
        when: at(n.noted_at),
        what: format!("{kind}{counted}{reason}"),
        grams: format!("{:+.0} g", n.change_grams),
        by: n.noted_by.clone(),
    }
}

async fn lot_page(
    seat: &Seat,
    s: &mut Scoped,
    lot: &Lot,
    (note, withdraw): (NoteTyped, WithdrawTyped),
    errors: Errors,
) -> Result<LotPage, Problem> {
    let id = LotId(lot.lot_id);
    let product = products::find(s, ProductId(lot.product_id)).await?.ok_or(Problem::NotFound)?;
    let kept = lots::find_judgement(s, id).await?.ok_or(Problem::NotFound)?;
    let anew = lots::list_judgements(s, id).await?;
    let own = kept.contents.as_ref().map(flow::contents_of);
    let law_now =
        law::verdict(&flow::checks(&seat.app, &seat.salon_row.place, &product, own.as_deref(), kept.ph));
    let notes = stock_notes::list_by_lot(s, id).await?;
    let went = recall::list_went(s, id).await?;
    let tested = recall::list_tested(s, id).await?;
    let now = s.now().await?;
    let zone = zone(seat)?;
    let day = |at| format!("{} {}", zone.day_words(at), zone.day_of(at).year());
    let verdict = Verdict::from_code(&lot.law_verdict).unwrap_or(Verdict::NotJudged);
    let why = match (&lot.withdrawn_reason, &lot.quarantine_reason) {
        (Some(reason), _) => {
            tr!(
                "Out of use: {reason}, {}.",
                kept.withdrawn_by.as_deref().unwrap_or("nobody noted"),
                reason = reason
            )
        }
        (None, Some(reason)) => tr!("Quarantined: {reason}", reason = reason),
        (None, None) => String::new(),
    };
    Ok(LotPage {
        shell: seat.shell(now, "/shelf", &["shelf"]),
        product: product.name,
        product_href: format!("/shelf/products/{}", lot.product_id),
        line: LotLine::of(lot, zone.day_of(now)),
        why,
        verdict: verdict.words(),
        outside: verdict == Verdict::Outside,
        judged: match (kept.judged_at, &kept.judged_by) {
            (Some(at), Some(by)) => tr!("{} by {by}", day(at), by = by),
            _ => tr!("never, it came in before lots were").into(),
        },
        limits: kept_limit_lines(&kept.law),
        label_seen: texts(&kept.label_seen)
            .iter()
            .map(|w| crate::words::of(w).trim_end_matches('.').to_string())
            .collect(),
        mended: lot.quarantined && lot.withdrawn_at.is_none() && law_now == Verdict::Within,
        may_release: seat.may(Act::ReleaseLot),
        anew: anew.iter().map(|j| anew_line(j, |at| format!("{} {}", day(at), zone.clock(at)))).collect(),
        notes: notes.iter().map(|n| note_line(n, |at| format!("{} {}", day(at), zone.clock(at)))).collect(),
        kinds: Choice::list(
            [NoteKind::ThrownAway, NoteKind::Spilled, NoteKind::Counted].map(|k| (k.code(), k.words())),
            &[note.kind.as_str()],
        ),
        note,
        withdraw,
        heads: Head::list(&went, &tested, &[], &zone),
        base: format!("/shelf/lots/{}", lot.lot_id),
        once_keys: [once::key(), once::key(), once::key()],
        opened: lot.opened_on.is_some(),
        withdrawn: lot.withdrawn_at.is_some(),
        may_keep: seat.may(Act::KeepShelf),
        errors,
    })
}

/// One lot, and where it went.
pub async fn show(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeShelf)?;
    let mut s = seat.begin().await?;
    let lot = find(&mut s, &id).await?;
    let shown = lot_page(&seat, &mut s, &lot, Default::default(), Errors::none()).await?;
    s.commit().await?;
    Ok(page::html(&shown))
}

/// An act with nothing to type.
#[derive(Deserialize)]
pub struct Plain {
    #[serde(default)]
    once: String,
}

async fn settled(mut s: Scoped, key: &str, here: &str) -> Answered {
    let answer = once::settle(&mut s, key, here).await?;
    s.commit().await?;
    Ok(answer)
}

/// Opened today.
pub async fn open_lot(seat: Seat, Path(id): Path<String>, Form(f): Form<Plain>) -> Answered {
    seat.require(Act::KeepShelf)?;
    let mut s = seat.begin().await?;
    let lot = find(&mut s, &id).await?;
    let here = format!("/shelf/lots/{}", lot.lot_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let today = zone(&seat)?.day_of(s.now().await?);
    flow::open_lot(&mut s, LotId(lot.lot_id), today).await?;
    settled(s, &f.once, &here).await
}

/// Taken out of use, for good, and why.
pub async fn withdraw(seat: Seat, Path(id): Path<String>, Form(f): Form<WithdrawTyped>) -> Answered {
    let by = seat.require(Act::KeepShelf)?.id;
    let mut s = seat.begin().await?;
    let lot = find(&mut s, &id).await?;
    let here = format!("/shelf/lots/{}", lot.lot_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let mut e = Errors::none();
    let words = tr!("Say why it leaves use: recalled, spoiled, leaked…");
    let reason = typed::needed(&mut e, "withdrawn_reason", &f.withdrawn_reason, REASON_MOST_CHARS, words);
    if e.is_empty() {
        flow::withdraw_lot(&mut s, LotId(lot.lot_id), &reason, by).await?;
        return settled(s, &f.once, &here).await;
    }
    Ok(page::refused(&lot_page(&seat, &mut s, &lot, (NoteTyped::default(), f), e).await?))
}

/// Notes grams thrown away, spilled or counted.
pub async fn note(seat: Seat, Path(id): Path<String>, Form(f): Form<NoteTyped>) -> Answered {
    let by = seat.require(Act::KeepShelf)?.id;
    let mut s = seat.begin().await?;
    let lot = find(&mut s, &id).await?;
    let here = format!("/shelf/lots/{}", lot.lot_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let mut e = Errors::none();
    let known = |code: &str| NoteKind::from_code(code).filter(|k| *k != NoteKind::MoreThanTheBook);
    let kind = typed::code(&mut e, "kind", &f.kind, known, tr!("Choose what happened to the grams."));
    let least = if kind == Some(NoteKind::Counted) { 0.0 } else { 0.1 };
    let grams = typed::needed_number(&mut e, "grams", &f.grams, (least, 100_000.0), tr!("the grams"));
    let reason = typed::line(&mut e, "reason", &f.reason, REASON_MOST_CHARS);
    if let Some(kind) = kind.filter(|_| e.is_empty()) {
        if flow::note_stock(&mut s, LotId(lot.lot_id), (kind, grams as f32), &reason, by).await? {
            return settled(s, &f.once, &here).await;
        }
        let left = lot.left_grams();
        e.note(
            "grams",
            tr!(
                "By the book {left} g are left. Count the lot first, then note this.",
                left = format_args!("{:.0}", left)
            ),
        );
        // The refused statement ended the transaction: read on in another.
        drop(s);
        s = seat.begin().await?;
    }
    Ok(page::refused(&lot_page(&seat, &mut s, &lot, (f, WithdrawTyped::default()), e).await?))
}
