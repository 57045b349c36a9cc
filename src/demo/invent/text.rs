//! Rows as the text of COPY, a buffer a table.

use std::fmt::{Display, Write as _};

use serde_json::Value;
use time::{Date, OffsetDateTime};

use crate::store::invent::FILLS;
use crate::store::proof;

/// The tables by their place in [`FILLS`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Table {
    Client,
    Answer,
    Strand,
    Consult,
    Consent,
    HairReading,
    Booking,
    BookingHands,
    BookingPlace,
    SkinTest,
    HairTest,
    Plan,
    PlanProduct,
    Run,
    RunStep,
    RunEvent,
    Dispensed,
    Incident,
    StrandEvent,
    Ledger,
    Aftercare,
    Followup,
}

/// Rows waiting to be written, none before what it points at.
#[derive(Debug)]
pub struct Batch(pub [String; FILLS.len()]);

impl Default for Batch {
    fn default() -> Batch {
        Batch(std::array::from_fn(|_| String::new()))
    }
}

impl Batch {
    /// A new row of a table; it is whole when [`Row::end`] was called.
    pub fn row(&mut self, table: Table) -> Row<'_> {
        Row { text: &mut self.0[table as usize], first: true }
    }

    /// Characters that wait.
    pub fn size(&self) -> usize {
        self.0.iter().map(String::len).sum()
    }
}

/// A row, column by column.
pub struct Row<'b> {
    text: &'b mut String,
    first: bool,
}

impl Row<'_> {
    fn next(&mut self) {
        if !std::mem::take(&mut self.first) {
            self.text.push('\t');
        }
    }

    /// Something whose words hold no tab, line or backslash: a number, a code, a truth.
    pub fn put(mut self, value: impl Display) -> Self {
        self.next();
        // Writing to a String does not fail.
        let _ = write!(self.text, "{value}");
        self
    }

    /// A number or a code, or nothing.
    pub fn maybe(mut self, value: Option<impl Display>) -> Self {
        match value {
            Some(value) => self.put(value),
            None => {
                self.next();
                self.text.push_str("\\N");
                self
            }
        }
    }

    /// Any words.
    pub fn words(mut self, words: &str) -> Self {
        self.next();
        escape(self.text, words);
        self
    }

    /// An instant.
    pub fn at(self, at: OffsetDateTime) -> Self {
        self.put(proof::instant(at))
    }

    /// An instant, or nothing.
    pub fn maybe_at(self, at: Option<OffsetDateTime>) -> Self {
        self.maybe(at.map(proof::instant))
    }

    /// A day.
    pub fn day(self, day: Date) -> Self {
        self.put(crate::calendar::iso_day(day))
    }

    /// From an instant to before another.
    pub fn span(self, from: OffsetDateTime, to: OffsetDateTime) -> Self {
        self.put(format_args!("[{},{})", proof::instant(from), proof::instant(to)))
    }

    /// Bytes.
    pub fn bytes(self, bytes: &[u8]) -> Self {
        self.put(format_args!("\\\\x{}", proof::hex(bytes)))
    }

    /// Columns prepared before, tab between.
    pub fn ready(mut self, columns: &str) -> Self {
        self.next();
        self.text.push_str(columns);
        self
    }

    /// The row is whole.
    pub fn end(self) {
        self.text.push('\n');
    }
}

/// Words as COPY reads them back.
pub fn escape(text: &mut String, words: &str) {
    for c in words.chars() {
        match c {
            '\\' => text.push_str("\\\\"),
            '\n' => text.push_str("\\n"),
            '\t' => text.push_str("\\t"),
            '\r' => text.push_str("\\r"),
            other => text.push(other),
        }
    }
}

/// A document as the database writes it out again (`jsonb`, PostgreSQL manual 8.14: keys by length, then by bytes; a
/// space after colon and comma). The chain's hash covers these very words.
pub fn canonical(value: &Value) -> String {
    match value {
        Value::Object(map) => {
            let mut keys: Vec<&String> = map.keys().collect();
            keys.sort_by(|a, b| a.len().cmp(&b.len()).then_with(|| a.as_bytes().cmp(b.as_bytes())));
            let parts: Vec<String> = keys
                .iter()
                .map(|k| format!("{}: {}", Value::from(k.as_str()), canonical(&map[*k])))
                .collect();
            format!("{{{}}}", parts.join(", "))
        }
        Value::Array(list) => {
            format!("[{}]", list.iter().map(canonical).collect::<Vec<_>>().join(", "))
        }
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    // The order and the spaces are PostgreSQL's: select '{"value":1,"place":null,"grams":60.0}'::jsonb::text (run on 15).
    #[test]
    fn a_document_is_written_as_the_database_writes_it() {
        let written = canonical(&json!({"value": "a\"b", "place": null, "grams": 60.0, "to": [1, 2]}));
        assert_eq!(written, r#"{"to": [1, 2], "grams": 60.0, "place": null, "value": "a\"b"}"#);
    }

    #[test]
    fn a_row_holds_its_tabs_and_lines() {
        let mut batch = Batch::default();
        batch.row(Table::Client).put(7).words("a\tb\\c\nd").maybe(None::<i64>).bytes(&[1, 255]).end();
        assert_eq!(batch.0[0], "7\ta\\tb\\\\c\\nd\t\\N\t\\\\x01ff\n");
    }
}
