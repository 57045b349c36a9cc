//! Taking a file of clients in: kept, read, tried without changing anything, then entered whole or not at all.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::json;
use time::Date;

use crate::domain::client_import::{Column, DayOrder, Mapping, Newcomer, Seen, read_row, said_before};
use crate::domain::ids::{ImportId, PersonId};
use crate::domain::table_file::{self, NoTable, Table};
use crate::store::client_imports::{self, ClientImport, KeptColumns, Match};
use crate::store::{Scoped, Stored, record_acts};

/// Files of a salon that may wait to be taken in.
pub const WAITING_MOST: i64 = 10;
/// Rows of one statement: each has a time limit.
const AT_ONCE: usize = 10_000;

/// Reads a file beside the requests: a large one takes a while.
///
/// # Errors
/// Why it is no table.
pub async fn read(body: Vec<u8>) -> Result<Table, NoTable> {
    let read = tokio::task::spawn_blocking(move || table_file::read(&body)).await;
    read.unwrap_or(Err(NoTable("This file cannot be read.")))
}

/// Keeps a file between its steps; none when too many wait already.
pub async fn keep_file(s: &mut Scoped, by: PersonId, name: &str, body: &[u8]) -> Stored<Option<ImportId>> {
    if client_imports::count_waiting(s).await? >= WAITING_MOST {
        return Ok(None);
    }
    client_imports::insert(s, by, name, body).await.map(Some)
}

/// What the columns are, as kept or as their titles and cells say. `month_first`: where days are so written.
pub fn mapping_of(kept: Option<&KeptColumns>, table: &Table, month_first: bool) -> Mapping {
    if let Some(kept) = kept
        && kept.columns.len() == table.titles.len()
    {
        return Mapping {
            columns: kept.columns.iter().map(|c| Column::from_code(c).unwrap_or(Column::Nothing)).collect(),
            days: DayOrder::from_code(&kept.days).unwrap_or(DayOrder::DayFirst),
        };
    }
    let mut columns: Vec<Column> = Vec::new();
    for title in &table.titles {
        let guess = Column::guess(title);
        columns.push(if columns.contains(&guess) { Column::Nothing } else { guess });
    }
    // A whole name beside its parts: the parts say more.
    if columns.contains(&Column::Family) {
        columns.iter_mut().filter(|c| **c == Column::Name).for_each(|c| *c = Column::Nothing);
    }
    let usual = if month_first { DayOrder::MonthFirst } else { DayOrder::DayFirst };
    let at = columns.iter().position(|c| *c == Column::BornOn);
    let days = at.and_then(|i| DayOrder::guess(table.rows.iter().take(2000).map(|r| r.cells[i].as_str())));
    Mapping { columns, days: days.unwrap_or(usual) }
}

/// Keeps what the columns are.
pub async fn keep_columns(s: &mut Scoped, id: ImportId, mapping: &Mapping) -> Stored<()> {
    let columns = mapping.columns.iter().map(|c| c.code().to_string()).collect();
    client_imports::set_columns(s, id, &KeptColumns { columns, days: mapping.days.code().into() }).await
}

/// A row that seems to be somebody who is here.
#[derive(Clone, Debug)]
pub struct Known {
    /// Place in [`Trial::rows`].
    pub row: usize,
    pub client_id: i64,
    pub name: String,
    /// 1 name and birth day, 2 email, 3 phone, 4 name.
    pub by: i32,
}

/// What taking a file in would come to.
#[derive(Clone, Debug, Default)]
pub struct Trial {
    pub rows: Vec<Newcomer>,
    /// Places of rows that are nobody here.
    pub new: Vec<usize>,
    pub known: Vec<Known>,
    /// Rows that say again who an earlier line is: (line, the earlier line).
    pub again: Vec<(u32, u32)>,
    /// Lines that cannot be taken in, with the reason; in order.
    pub refused: Vec<(u32, String)>,
}

/// Tries a file: reads every row and looks who is here. Changes nothing.
pub async fn try_import(s: &mut Scoped, table: &Table, mapping: &Mapping, today: Date) -> Stored<Trial> {
    let mut trial =
        Trial { refused: table.broken.iter().map(|b| (b.line, b.why.clone())).collect(), ..Trial::default() };
    let mut rows = Vec::with_capacity(table.rows.len());
    for row in &table.rows {
        match read_row(mapping, row, today) {
            Ok(n) => rows.push(n),
            Err(why) => trial.refused.push((row.line, why)),
        }
    }
    trial.refused.sort_by_key(|(line, _)| *line);
    let again = said_before(&rows);
    trial.again = again.iter().map(|(i, j)| (rows[*i].line, rows[*j].line)).collect();
    let repeats: BTreeSet<usize> = again.iter().map(|(i, _)| *i).collect();
    for (i, row) in rows.into_iter().enumerate() {
        if !repeats.contains(&i) {
            trial.rows.push(row);
        }
    }
    let mut here: BTreeMap<u32, Match> = BTreeMap::new();
    for some in trial.rows.chunks(AT_ONCE) {
        let found = client_imports::list_matches(s, some).await?;
        here.extend(found.into_iter().filter_map(|m| Some((u32::try_from(m.line).ok()?, m))));
    }
    for (row, n) in trial.rows.iter().enumerate() {
        match here.remove(&n.line) {
            Some(m) => trial.known.push(Known { row, client_id: m.client_id, name: m.name, by: m.by }),
            None => trial.new.push(row),
        }
    }
    Ok(trial)
}

/// What is done with rows that seem to be here: one word for all, and others by line.
#[derive(Clone, Debug, Default)]
pub struct Choices {
    pub all: Seen,
    pub by_line: BTreeMap<u32, Seen>,
}

impl Choices {
    fn of(&self, line: u32) -> Seen {
        self.by_line.get(&line).copied().unwrap_or(self.all)
    }
}

/// What was taken in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Taken {
    pub entered: u64,
    pub filled: u64,
    pub skipped: u64,
    pub refused: u64,
}

/// How taking in ended.
#[derive(Clone, Debug)]
pub enum Outcome {
    /// Done.
    Done(Taken),
    /// Since the trial was shown somebody came or changed: what it comes to now.
    Changed(Box<Trial>),
}

/// A short name of what a trial came to: taken in is what was shown, or nothing.
pub fn mark(trial: &Trial) -> String {
    let known: String = trial.known.iter().map(|k| format!("{}:{};", k.row, k.client_id)).collect();
    let words = format!("{} {} {} {known}", trial.rows.len(), trial.again.len(), trial.refused.len());
    crate::secret::token_hash(&words).iter().take(12).map(|b| format!("{b:02x}")).collect()
}

/// Takes a file in, in the caller's one transaction: all of it, with its line in the book, or nothing.
pub async fn take_in(
    s: &mut Scoped,
    file: &ClientImport,
    (table, mapping): (&Table, &Mapping),
    choices: &Choices,
    shown: &str,
    (by, today): (PersonId, Date),
) -> Stored<Outcome> {
    client_imports::lock(s).await?;
    let trial = try_import(s, table, mapping, today).await?;
    if mark(&trial) != shown {
        return Ok(Outcome::Changed(Box::new(trial)));
    }
    let mut enter: Vec<Newcomer> = trial.new.iter().map(|i| trial.rows[*i].clone()).collect();
    let mut fill: BTreeMap<i64, Newcomer> = BTreeMap::new();
    let mut skipped = trial.again.len() as u64;
    for known in &trial.known {
        let row = &trial.rows[known.row];
        match choices.of(row.line) {
            Seen::Both => enter.push(row.clone()),
            // Two lines for one client: the first fills.
            Seen::Fill if !fill.contains_key(&known.client_id) => {
                fill.insert(known.client_id, row.clone());
            }
            Seen::Fill | Seen::Skip => skipped += 1,
        }
    }
    let mut taken = Taken { skipped, refused: trial.refused.len() as u64, ..Taken::default() };
    for some in enter.chunks(AT_ONCE) {
        taken.entered += client_imports::insert_clients(s, some).await?;
    }
    let (ids, rows): (Vec<i64>, Vec<Newcomer>) = fill.into_iter().unzip();
    for (ids, rows) in ids.chunks(AT_ONCE).zip(rows.chunks(AT_ONCE)) {
        taken.filled += client_imports::fill_clients(s, ids, rows).await?;
    }
    let facts = json!({"entered": taken.entered, "filled": taken.filled, "skipped": taken.skipped, "refused": taken.refused});
    let act = record_acts::insert(s, by, "import", None, facts).await?;
    client_imports::set_taken(s, ImportId(file.import_id), act).await?;
    s.changed("clients");
    Ok(Outcome::Done(taken))
}
