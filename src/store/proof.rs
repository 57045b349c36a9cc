//! The record as it proves itself: every column of every event, the words its hash covers, the ledger.
//!
//! The words and hashes are worked out here from the columns, apart from the database's own function, so
//! that neither can drift without the other saying so.

use serde_json::Value;
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use time::{OffsetDateTime, UtcOffset};

use super::run_codec::Parts;
use super::{Scoped, StoreError, Stored};
use crate::domain::ids::{PersonId, RunId, SalonId, StationId};
use crate::domain::run::{Event, FactId};

/// Lines of a record read at once.
pub const PAGE: i64 = 500;

/// One event of a record with all its columns.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Line {
    pub seq: i32,
    pub recorded_at: OffsetDateTime,
    pub happened_at: OffsetDateTime,
    pub by: Option<i64>,
    pub station_id: Option<i64>,
    pub kind: String,
    pub fact_id: Option<String>,
    pub step: Option<String>,
    pub hold_point: Option<String>,
    pub outcome: Option<String>,
    pub version: i16,
    pub data: String,
    pub answer_hash: Option<Vec<u8>>,
    pub prev_hash: Vec<u8>,
    pub hash: Vec<u8>,
    /// The hash of what is left after an erasure took people's words out; then `hash` is what they committed to.
    pub left_hash: Option<Vec<u8>>,
}

/// Between two words: ASCII unit separator, as in the migrations.
pub(super) const BETWEEN: char = '\u{1f}';

/// Bytes in hexadecimal, small letters.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        // Writing to a String does not fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// An instant as the chain writes it: UTC, microseconds.
pub fn instant(at: OffsetDateTime) -> String {
    let at = at.to_offset(UtcOffset::UTC);
    let (year, month, day) = at.to_calendar_date();
    let (hour, minute, second, micro) = at.to_hms_micro();
    format!("{year:04}-{:02}-{day:02}T{hour:02}:{minute:02}:{second:02}.{micro:06}Z", u8::from(month))
}

pub(super) fn or_none(value: Option<impl ToString>) -> String {
    value.map_or_else(|| "~".to_owned(), |v| v.to_string())
}

pub(super) fn sha256(words: &str) -> Vec<u8> {
    Sha256::digest(words.as_bytes()).to_vec()
}

impl Line {
    /// The words its hash covers.
    pub fn words(&self, salon: SalonId, run: RunId) -> String {
        [
            salon.to_string(),
            run.to_string(),
            self.seq.to_string(),
            instant(self.recorded_at),
            instant(self.happened_at),
            or_none(self.by),
            or_none(self.station_id),
            self.kind.clone(),
            or_none(self.fact_id.as_ref()),
            or_none(self.step.as_ref()),
            or_none(self.hold_point.as_ref()),
            or_none(self.outcome.as_ref()),
            self.version.to_string(),
            self.data.clone(),
            or_none(self.answer_hash.as_deref().map(hex)),
            hex(&self.prev_hash),
        ]
        .join(&BETWEEN.to_string())
    }

    /// Chains it to the line before it, whose hash is `prev` (empty before the first).
    pub fn seal(&mut self, salon: SalonId, run: RunId, prev: &[u8]) {
        self.prev_hash = prev.to_vec();
        self.hash = sha256(&self.words(salon, run));
    }

    /// The event it is.
    ///
    /// # Errors
    /// `Corrupt` when it can be none of ours.
    pub fn event(&self) -> Stored<Event> {
        let corrupt = |what: &str| StoreError::Corrupt("run_event", what.to_owned());
        let data: Value = serde_json::from_str(&self.data).map_err(|_| corrupt("unreadable data"))?;
        let parts = Parts {
            kind: &self.kind,
            step: self.step.as_deref(),
            hold_point: self.hold_point.as_deref(),
            data: &data,
        };
        let fact_id = match &self.fact_id {
            Some(text) => Some(FactId::new(text).ok_or_else(|| corrupt("unreadable fact_id"))?),
            None => None,
        };
        Ok(Event {
            seq: i64::from(self.seq),
            recorded_at: self.recorded_at,
            happened_at: self.happened_at,
            by: self.by.map(PersonId),
            station: StationId(self.station_id.unwrap_or(0)),
            fact_id,
            kind: parts.read()?,
        })
    }
}

/// A record's chain, followed line by line.
#[derive(Clone, Debug, Default)]
pub struct Chain {
    /// The number of the last line.
    pub seq: i32,
    /// Its hash, as it stands in the line.
    pub head: Vec<u8>,
}

/// Where a chain does not hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Break {
    /// Lines are missing before this one.
    Gap { after: i32 },
    /// It does not follow from the line before.
    Parted,
    /// Its words do not give its hash.
    Changed,
}

impl Break {
    /// What is wrong, as the end of a sentence that names the line.
    pub fn words(self) -> String {
        match self {
            Break::Gap { after } => format!("the line before it is {after}, lines are missing."),
            Break::Parted => "it does not follow from the line before it.".to_owned(),
            Break::Changed => "its words do not give its hash.".to_owned(),
        }
    }
}

impl Chain {
    /// Takes the next line; everything that does not hold there.
    pub fn follow(&mut self, salon: SalonId, run: RunId, line: &Line) -> Vec<Break> {
        let mut breaks = Vec::new();
        if line.seq != self.seq + 1 {
            breaks.push(Break::Gap { after: self.seq });
        } else if line.prev_hash != self.head {
            breaks.push(Break::Parted);
        }
        if sha256(&line.words(salon, run)) != *line.left_hash.as_ref().unwrap_or(&line.hash) {
            breaks.push(Break::Changed);
        }
        self.seq = line.seq;
        self.head.clone_from(&line.hash);
        breaks
    }
}

/// The lines of a record after a number, in order; at most [`PAGE`].
pub async fn list_lines(s: &mut Scoped, run: RunId, after: i32) -> Stored<Vec<Line>> {
    Ok(sqlx::query_as(
        "select e.seq, e.recorded_at, e.happened_at, e.by, e.station_id, e.kind, e.fact_id::text, e.step, e.hold_point, e.outcome, e.version,
            e.data::text, e.answer_hash, e.prev_hash, e.hash, l.left_hash
         from run_event e left join erased_line l on l.salon_id = e.salon_id and l.run_id = e.run_id and l.seq = e.seq
         where e.salon_id = $1 and e.run_id = $2 and e.seq > $3 order by e.seq limit $4",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .bind(after)
    .bind(PAGE)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A line of the salon's ledger.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct LedgerLine {
    pub ledger_seq: i64,
    pub run_id: i64,
    pub last_seq: i32,
    pub head_hash: Vec<u8>,
    pub at: OffsetDateTime,
    pub prev_hash: Vec<u8>,
    pub hash: Vec<u8>,
}

impl LedgerLine {
    /// Its words give its hash.
    pub fn holds(&self, salon: SalonId) -> bool {
        sha256(&self.words(salon)) == self.hash
    }

    /// Chains it to the line before it: its `prev_hash` is that line's hash.
    pub fn seal(&mut self, salon: SalonId) {
        self.hash = sha256(&self.words(salon));
    }

    fn words(&self, salon: SalonId) -> String {
        [
            salon.to_string(),
            self.ledger_seq.to_string(),
            self.run_id.to_string(),
            self.last_seq.to_string(),
            hex(&self.head_hash),
            instant(self.at),
            hex(&self.prev_hash),
        ]
        .join(&BETWEEN.to_string())
    }
}

/// The ledger's lines after a number, in order; at most [`PAGE`].
pub async fn list_ledger(s: &mut Scoped, after: i64) -> Stored<Vec<LedgerLine>> {
    Ok(sqlx::query_as(
        "select ledger_seq, run_id, last_seq, head_hash, at, prev_hash, hash
         from ledger where salon_id = $1 and ledger_seq > $2 order by ledger_seq limit $3",
    )
    .bind(s.salon.0)
    .bind(after)
    .bind(PAGE)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The ledger's line of one run; none while it is under way.
pub async fn find_ledger(s: &mut Scoped, run: RunId) -> Stored<Option<LedgerLine>> {
    Ok(sqlx::query_as(
        "select ledger_seq, run_id, last_seq, head_hash, at, prev_hash, hash from ledger where salon_id = $1 and run_id = $2",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    fn line() -> Line {
        Line {
            seq: 1,
            recorded_at: datetime!(2026-05-14 15:40:00.000123 +2),
            happened_at: datetime!(2026-05-14 13:39:59 UTC),
            by: Some(901),
            station_id: None,
            kind: "run_started".into(),
            fact_id: None,
            step: None,
            hold_point: None,
            outcome: None,
            version: 1,
            data: "{\"stylist\": 901}".into(),
            answer_hash: None,
            prev_hash: Vec::new(),
            hash: Vec::new(),
            left_hash: None,
        }
    }

    #[test]
    fn the_words_are_the_columns_in_one_order_with_nulls_told_from_empty() {
        let words = line().words(SalonId(7), RunId(1001));
        assert_eq!(
            words.split(BETWEEN).collect::<Vec<_>>(),
            [
                "7",
                "1001",
                "1",
                "2026-05-14T13:40:00.000123Z",
                "2026-05-14T13:39:59.000000Z",
                "901",
                "~",
                "run_started",
                "~",
                "~",
                "~",
                "~",
                "1",
                "{\"stylist\": 901}",
                "~",
                ""
            ]
        );
    }

    #[test]
    fn a_chain_says_where_it_does_not_hold() {
        let (salon, run) = (SalonId(7), RunId(1001));
        let mut first = line();
        first.hash = sha256(&first.words(salon, run));
        let mut second = Line { seq: 2, prev_hash: first.hash.clone(), ..line() };
        second.hash = sha256(&second.words(salon, run));
        let follow = |lines: &[&Line]| {
            let mut chain = Chain::default();
            lines.iter().flat_map(|l| chain.follow(salon, run, l)).collect::<Vec<_>>()
        };
        assert_eq!(follow(&[&first, &second]), []);
        assert_eq!(follow(&[&second]), [Break::Gap { after: 0 }]);
        let changed = Line { data: "{\"stylist\": 902}".into(), ..first.clone() };
        assert_eq!(follow(&[&changed, &second]), [Break::Changed]);
        // Words erased: the line keeps its hash for those after it, and what is left has one of its own.
        let left = Line { left_hash: Some(sha256(&changed.words(salon, run))), ..changed.clone() };
        assert_eq!(follow(&[&left, &second]), []);
        let again = Line { data: "{\"stylist\": 903}".into(), ..left };
        assert_eq!(follow(&[&again, &second]), [Break::Changed]);
        let rehashed = Line { hash: sha256(&changed.words(salon, run)), ..changed };
        assert_eq!(follow(&[&rehashed, &second]), [Break::Parted]);
    }

    // FIPS 180-4, SHA-256 of "abc".
    #[test]
    fn the_hash_is_sha_256() {
        assert_eq!(hex(&sha256("abc")), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
