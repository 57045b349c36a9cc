//! A file of clients before it is tried (`client_trial`): chosen, and what its columns are.

use askama::Template;
use axum::body::Bytes;
use axum::extract::multipart::{Multipart, MultipartRejection};
use axum::extract::{DefaultBodyLimit, Path};
use axum::http::{HeaderValue, header};
use axum::response::Response;
use axum_extra::extract::Form;
use time::Date;

use crate::domain::access::Act;
use crate::domain::client_import::{Column, DayOrder, Mapping};
use crate::domain::ids::ImportId;
use crate::domain::table_file::{BYTES_MOST, Table};
use crate::flow::client_imports as flow;
use crate::store::Scoped;
use crate::store::client_imports::{self, ClientImport};
use crate::store::record_acts::{self, RecordAct};
use crate::web::clients::zone;
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page};

const IN: Open = Open::To(Act::ImportClients);

/// The routes of the first steps. Only the file has a body limit of its own.
pub const LINES: &[Line] = &[
    Line { method: "get", path: "/clients/import", open: IN, handler: || axum::routing::get(start) },
    Line {
        method: "post",
        path: "/clients/import",
        open: IN,
        handler: || axum::routing::post(keep).layer(DefaultBodyLimit::max(BYTES_MOST + 64 * 1024)),
    },
    Line { method: "get", path: "/clients/import/{id}", open: IN, handler: || axum::routing::get(columns) },
    Line {
        method: "post",
        path: "/clients/import/{id}",
        open: IN,
        handler: || axum::routing::post(say_columns),
    },
];

struct ShownAct {
    day: String,
    by: String,
    what: String,
}

#[derive(Template)]
#[template(path = "clients/import.html")]
struct StartPage {
    shell: Shell,
    errors: Errors,
    once_key: String,
    /// Who copies whole records out.
    records: bool,
    acts: Vec<ShownAct>,
}

fn act_words(a: &RecordAct) -> String {
    let of = |id: Option<i64>| id.map_or_else(String::new, |id| format!("number {id}"));
    match a.kind.as_str() {
        "import" => format!(
            "took a file in: {} entered, {} filled, {} left out, {} refused",
            a.count("entered"),
            a.count("filled"),
            a.count("skipped"),
            a.count("refused")
        ),
        "export" => format!("copied {} clients out", a.count("clients")),
        "copy" => format!("copied the record of {} out", of(a.client_id)),
        "merge" => format!("merged {} into {}", of(a.other_id), of(a.client_id)),
        _ => format!("erased {}", of(a.client_id)),
    }
}

async fn start_page(seat: &Seat, errors: Errors) -> Result<StartPage, Problem> {
    let zone = zone(seat)?;
    let records = seat.may(Act::KeepRecords);
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let acts = if records { record_acts::list_latest(&mut s).await? } else { Vec::new() };
    s.commit().await?;
    Ok(StartPage {
        shell: seat.shell(now, "/clients", &["clients"]),
        errors,
        once_key: once::key(),
        records,
        acts: acts
            .iter()
            .map(|a| ShownAct {
                day: format!("{} {}", zone.day_words(a.at), zone.clock(a.at)),
                by: a.by_name.clone(),
                what: act_words(a),
            })
            .collect(),
    })
}

/// Where a file is chosen, and what was done with whole records of late.
pub async fn start(seat: Seat) -> Answered {
    seat.require(Act::ImportClients)?;
    Ok(page::html(&start_page(&seat, Errors::none()).await?))
}

#[derive(Default)]
struct Sent {
    once: String,
    name: String,
    file: Bytes,
}

async fn sent(parts: Result<Multipart, MultipartRejection>) -> Result<Sent, &'static str> {
    const LOST: &str = "The file did not come through whole, or is larger than 20 MB. Choose it again.";
    let mut parts = parts.map_err(|_| LOST)?;
    let mut sent = Sent::default();
    while let Some(part) = parts.next_field().await.map_err(|_| LOST)? {
        let name = part.name().unwrap_or_default().to_string();
        let file_name: String =
            part.file_name().unwrap_or_default().chars().filter(|c| !c.is_control()).take(120).collect();
        let bytes = part.bytes().await.map_err(|_| LOST)?;
        match name.as_str() {
            "once" => sent.once = String::from_utf8_lossy(&bytes[..bytes.len().min(100)]).into_owned(),
            "file" => (sent.name, sent.file) = (file_name, bytes),
            _ => {}
        }
    }
    Ok(sent)
}

async fn again(seat: &Seat, words: &str) -> Answered {
    let mut errors = Errors::none();
    errors.note("file", words);
    Ok(page::refused(&start_page(seat, errors).await?))
}

/// Keeps a file that can be read.
pub async fn keep(seat: Seat, parts: Result<Multipart, MultipartRejection>) -> Answered {
    let by = seat.require(Act::ImportClients)?.id;
    let sent = match sent(parts).await {
        Ok(sent) if sent.file.is_empty() => return again(&seat, "Choose the file.").await,
        Ok(sent) => sent,
        Err(words) => return again(&seat, words).await,
    };
    if let Err(why) = flow::read(sent.file.to_vec()).await {
        return again(&seat, why.0).await;
    }
    let mut s = seat.begin().await?;
    if let Some(done) = once::claim(&mut s, &sent.once, "/clients/import").await? {
        return Ok(done);
    }
    let Some(id) = flow::keep_file(&mut s, by, &sent.name, &sent.file).await? else {
        drop(s);
        return again(
            &seat,
            "Ten files wait to be taken in. Take one in, or wait: each is forgotten after a day.",
        )
        .await;
    };
    let answer = once::settle(&mut s, &sent.once, &format!("/clients/import/{id}")).await?;
    s.commit().await?;
    Ok(answer)
}

/// A file between its steps, with what it was read as.
pub struct Opened {
    pub id: ImportId,
    pub file: ClientImport,
    pub table: Table,
    pub mapping: Mapping,
    pub today: Date,
}

/// What a file's path leads to.
pub enum Found {
    /// It waits.
    Open(Box<Opened>),
    /// Taken in already.
    Taken,
}

/// The file of a path, read.
pub async fn open(seat: &Seat, s: &mut Scoped, raw: &str) -> Result<Found, Problem> {
    let id: ImportId = raw.parse().map_err(|_| Problem::NotFound)?;
    let mut file = client_imports::find(s, id).await?.ok_or(Problem::NotFound)?;
    let Some(body) = file.body.take() else { return Ok(Found::Taken) };
    let table = flow::read(body).await.map_err(|_| Problem::Broken)?;
    let month_first = seat.salon_row.place == "us";
    let mapping = flow::mapping_of(file.columns.as_ref().map(|c| &c.0), &table, month_first);
    let today = zone(seat)?.day_of(s.now().await?);
    Ok(Found::Open(Box::new(Opened { id, file, table, mapping, today })))
}

fn delimiter_words(c: char) -> &'static str {
    match c {
        ';' => "semicolons",
        '\t' => "tabs",
        _ => "commas",
    }
}

struct ShownColumn {
    field: String,
    title: String,
    sample: String,
    choices: Vec<Choice>,
}

#[derive(Template)]
#[template(path = "clients/import_columns.html")]
struct ColumnsPage {
    shell: Shell,
    errors: Errors,
    here: String,
    once_key: String,
    file_name: String,
    read_as: String,
    old: bool,
    rows: usize,
    broken: usize,
    columns: Vec<ShownColumn>,
    days: Vec<Choice>,
}

fn columns_page(seat: &Seat, now: time::OffsetDateTime, o: &Opened, errors: Errors) -> ColumnsPage {
    let pairs: Vec<(&str, &str)> = Column::ALL.iter().map(|(_, code, words)| (*code, *words)).collect();
    let sample = |i: usize| {
        let cells = o.table.rows.iter().take(200).map(|r| r.cells[i].trim()).filter(|c| !c.is_empty());
        let shown: Vec<String> = cells.take(3).map(|c| c.chars().take(40).collect()).collect();
        shown.join(" · ")
    };
    ColumnsPage {
        shell: seat.shell(now, "/clients", &[]),
        errors,
        here: format!("/clients/import/{}", o.id),
        once_key: once::key(),
        file_name: o.file.file_name.clone(),
        read_as: format!(
            "{}, columns parted by {}",
            o.table.encoding.words(),
            delimiter_words(o.table.delimiter)
        ),
        old: o.table.encoding == crate::domain::table_file::Encoding::Windows1252,
        rows: o.table.rows.len(),
        broken: o.table.broken.len(),
        columns: o
            .table
            .titles
            .iter()
            .zip(&o.mapping.columns)
            .enumerate()
            .map(|(i, (title, column))| ShownColumn {
                field: format!("column_{i}"),
                title: if title.is_empty() {
                    format!("column {}", i + 1)
                } else {
                    title.chars().take(60).collect()
                },
                sample: sample(i),
                choices: Choice::list(pairs.iter().copied(), &[column.code()]),
            })
            .collect(),
        days: Choice::list(
            [("day-first", "day first: 14.5.1990"), ("month-first", "month first: 5/14/1990")],
            &[o.mapping.days.code()],
        ),
    }
}

/// A file that was taken in.
pub fn taken_already() -> Problem {
    Problem::Gone { what: "This file was taken in already.".into(), look: "/clients/import".into() }
}

/// What the columns are: guessed from their titles, to be confirmed.
pub async fn columns(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::ImportClients)?;
    let mut s = seat.begin().await?;
    let Found::Open(o) = open(&seat, &mut s, &id).await? else { return Err(taken_already()) };
    let now = s.now().await?;
    s.commit().await?;
    Ok(page::html(&columns_page(&seat, now, &o, Errors::none())))
}

/// Fields as sent.
pub type Fields = Vec<(String, String)>;

/// The first of a name; empty when there is none.
pub fn field<'a>(fields: &'a Fields, name: &str) -> &'a str {
    fields.iter().find(|(n, _)| n == name).map_or("", |(_, v)| v)
}

/// Keeps what the columns are and goes on to the trial.
pub async fn say_columns(seat: Seat, Path(id): Path<String>, Form(fields): Form<Fields>) -> Answered {
    seat.require(Act::ImportClients)?;
    let mut s = seat.begin().await?;
    let Found::Open(mut o) = open(&seat, &mut s, &id).await? else { return Err(taken_already()) };
    let here = format!("/clients/import/{}", o.id);
    if let Some(done) = once::claim(&mut s, field(&fields, "once"), &here).await? {
        return Ok(done);
    }
    o.mapping.columns = (0..o.table.titles.len())
        .map(|i| Column::from_code(field(&fields, &format!("column_{i}"))).unwrap_or(Column::Nothing))
        .collect();
    if let Some(days) = DayOrder::from_code(field(&fields, "days")) {
        o.mapping.days = days;
    }
    if let Some(words) = o.mapping.fault() {
        let now = s.now().await?;
        let mut errors = Errors::none();
        errors.note("column_0", words);
        return Ok(page::refused(&columns_page(&seat, now, &o, errors)));
    }
    flow::keep_columns(&mut s, o.id, &o.mapping).await?;
    let answer = once::settle(&mut s, field(&fields, "once"), &format!("{here}/trial")).await?;
    s.commit().await?;
    Ok(answer)
}

/// An answer as a file that nothing keeps on the way. `name` is plain ASCII.
pub fn download(mut answer: Response, kind: &'static str, name: &'static str) -> Response {
    let headers = answer.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-store"));
    if let Ok(value) = HeaderValue::from_str(&format!("attachment; filename=\"{name}\"")) {
        headers.insert(header::CONTENT_DISPOSITION, value);
    }
    answer
}

/// By what somebody seems to be here already.
pub fn sign_words(by: i32) -> &'static str {
    match by {
        1 => "same name and birth day",
        2 => "same email",
        3 => "same phone",
        _ => "same name",
    }
}
