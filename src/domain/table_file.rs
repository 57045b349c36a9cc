//! Table files as they come: RFC 4180 and what spreadsheets make of it. Nothing is guessed in silence: what the
//! file was read as is told, and a line that is no row is given back with its reason.

use encoding_rs::{UTF_16BE, UTF_16LE, WINDOWS_1252};

/// Most bytes of a file.
pub const BYTES_MOST: usize = 20 * 1024 * 1024;
/// Most rows of a file, its titles apart.
pub const ROWS_MOST: usize = 100_000;
/// Most columns of a row.
pub const COLUMNS_MOST: usize = 60;
/// Most characters of a cell. A quote that opens and does not close within as many was no quote.
pub const CELL_MOST: usize = 4000;

/// What the bytes were read as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8, with or without its mark.
    Utf8,
    /// UTF-16, by its mark.
    Utf16,
    /// Not UTF-8 and without a mark: read as Windows-1252, which no bytes contradict.
    Windows1252,
}

impl Encoding {
    /// As said on the screen.
    pub const fn words(self) -> &'static str {
        match self {
            Encoding::Utf8 => "UTF-8",
            Encoding::Utf16 => "UTF-16",
            Encoding::Windows1252 => "Windows-1252",
        }
    }
}

/// A row and the line of the file it begins on, counted from 1.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    pub line: u32,
    pub cells: Vec<String>,
}

/// A line that is no row, and why, as a sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Broken {
    pub line: u32,
    pub why: String,
}

/// A file read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table {
    pub encoding: Encoding,
    pub delimiter: char,
    pub titles: Vec<String>,
    pub rows: Vec<Row>,
    pub broken: Vec<Broken>,
}

/// Why a file is no table at all, as a sentence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoTable(pub &'static str);

/// Reads a file.
///
/// # Errors
/// Too large, empty, not text, or without a first line of titles.
pub fn read(bytes: &[u8]) -> Result<Table, NoTable> {
    if bytes.len() > BYTES_MOST {
        return Err(NoTable(
            "The file is larger than 20 MB. Split it, and take the parts in one after the other.",
        ));
    }
    let (encoding, text) = decode(bytes)?;
    let (given, text, skipped) = match text.strip_prefix("sep=").and_then(|rest| rest.split_once('\n')) {
        // A spreadsheet's own first line that names the delimiter; it stands in no standard.
        Some((named, rest)) => (named.trim_end_matches('\r').chars().next(), rest, 1),
        None => (None, text.as_str(), 0),
    };
    let delimiter = given.filter(|c| DELIMITERS.contains(c)).unwrap_or_else(|| guess_delimiter(text));
    let mut reader = Reader { rest: text, line: 1 + skipped, delimiter, broken: Vec::new() };
    let titles = loop {
        match reader.next_row() {
            Some(row) if row.cells.iter().all(|c| c.trim().is_empty()) => {}
            Some(row) => break row.cells.into_iter().map(|c| c.trim().to_string()).collect::<Vec<_>>(),
            None => {
                return Err(NoTable(
                    "The file is empty. Its first line names the columns; each line after it is a client.",
                ));
            }
        }
    };
    if titles.len() > COLUMNS_MOST {
        return Err(NoTable(
            "The first line has more than 60 columns. Keep those that say something of a client.",
        ));
    }
    let mut rows = Vec::new();
    while let Some(row) = reader.next_row() {
        if row.cells.iter().all(|c| c.trim().is_empty()) {
            continue;
        }
        if rows.len() == ROWS_MOST {
            return Err(NoTable(
                "The file has more than 100,000 rows. Split it, and take the parts in one after the other.",
            ));
        }
        if row.cells.len() == titles.len() {
            rows.push(row);
        } else if row.cells.len() > titles.len()
            && row.cells[titles.len()..].iter().all(|c| c.trim().is_empty())
        {
            let cells = row.cells.into_iter().take(titles.len()).collect();
            rows.push(Row { line: row.line, cells });
        } else {
            let why = format!("It has {} cells, the first line names {}.", row.cells.len(), titles.len());
            reader.broken.push(Broken { line: row.line, why });
        }
    }
    Ok(Table { encoding, delimiter, titles, rows, broken: reader.broken })
}

fn decode(bytes: &[u8]) -> Result<(Encoding, String), NoTable> {
    const NOT_TEXT: NoTable =
        NoTable("This is no text. Save the table as CSV (UTF-8) where it comes from, and choose that file.");
    let utf16 = |encoding: &'static encoding_rs::Encoding, rest: &[u8]| {
        let (text, broken) = encoding.decode_without_bom_handling(rest);
        if broken { Err(NOT_TEXT) } else { Ok((Encoding::Utf16, text.into_owned())) }
    };
    match bytes {
        [0xEF, 0xBB, 0xBF, rest @ ..] => {
            std::str::from_utf8(rest).map(|t| (Encoding::Utf8, t.to_string())).map_err(|_| NOT_TEXT)
        }
        [0xFF, 0xFE, rest @ ..] => utf16(UTF_16LE, rest),
        [0xFE, 0xFF, rest @ ..] => utf16(UTF_16BE, rest),
        // Zero bytes in many places: UTF-16 without its mark, or no text at all. A few are a fault of their rows.
        _ if bytes.iter().filter(|b| **b == 0).count() * 20 > bytes.len() => Err(NOT_TEXT),
        _ => match std::str::from_utf8(bytes) {
            Ok(text) => Ok((Encoding::Utf8, text.to_string())),
            Err(_) => {
                let (text, _) = WINDOWS_1252.decode_without_bom_handling(bytes);
                Ok((Encoding::Windows1252, text.into_owned()))
            }
        },
    }
}

const DELIMITERS: [char; 3] = [',', ';', '\t'];

/// The delimiter that breaks the fewest of the first rows and gives them the most cells, each as many as the titles.
fn guess_delimiter(text: &str) -> char {
    let score = |delimiter: char| {
        let mut reader = Reader { rest: text, line: 1, delimiter, broken: Vec::new() };
        let widths: Vec<usize> = (0..20).map_while(|_| reader.next_row()).map(|r| r.cells.len()).collect();
        let first = widths.first().copied().unwrap_or(0);
        let even = widths.iter().filter(|w| **w == first).count();
        (first > 1, std::cmp::Reverse(reader.broken.len()), even, first)
    };
    // The last of equals wins: a comma before a semicolon before a tab.
    DELIMITERS.into_iter().rev().max_by_key(|d| score(*d)).unwrap_or(',')
}

struct Reader<'a> {
    rest: &'a str,
    line: u32,
    delimiter: char,
    broken: Vec<Broken>,
}

/// How a row ended.
enum Ended {
    Row(Vec<String>),
    /// A quote opens and does not close.
    Open,
    /// Something stands after a closing quote.
    Stray,
    /// A cell is too long.
    Long,
}

impl<'a> Reader<'a> {
    /// The next row; lines that are none are noted. Reading goes on with the line after a broken one, so that one
    /// forgotten quote costs one client and not the rest of the file.
    fn next_row(&mut self) -> Option<Row> {
        while !self.rest.is_empty() {
            let (start, from) = (self.line, self.rest);
            match self.row() {
                Ended::Row(cells) => return Some(Row { line: start, cells }),
                ended => {
                    let why = match ended {
                        Ended::Open => "A quote opens here and does not close.",
                        Ended::Stray => "Something stands between a closing quote and the next column.",
                        _ => "A cell has more than 4,000 characters.",
                    };
                    self.broken.push(Broken { line: start, why: why.into() });
                    let end = from.find(['\n', '\r']).unwrap_or(from.len());
                    self.rest = after_break(&from[end..]);
                    self.line = start + 1;
                }
            }
        }
        None
    }

    fn row(&mut self) -> Ended {
        let mut cells = Vec::new();
        loop {
            let (cell, rest) = match self.rest.strip_prefix('"') {
                Some(quoted) => match self.quoted(quoted) {
                    Ok(found) => found,
                    Err(ended) => return ended,
                },
                None => {
                    let end = self.rest.find([self.delimiter, '\n', '\r']).unwrap_or(self.rest.len());
                    if self.rest[..end].chars().count() > CELL_MOST {
                        return Ended::Long;
                    }
                    (self.rest[..end].to_string(), &self.rest[end..])
                }
            };
            cells.push(cell);
            if let Some(next) = rest.strip_prefix(self.delimiter) {
                self.rest = next;
                continue;
            }
            if !rest.is_empty() && !rest.starts_with(['\n', '\r']) {
                return Ended::Stray;
            }
            self.rest = after_break(rest);
            self.line += 1;
            return Ended::Row(cells);
        }
    }

    /// A quoted cell and what follows it. A quote doubled is one; line breaks belong to the cell.
    fn quoted(&mut self, from: &'a str) -> Result<(String, &'a str), Ended> {
        let (mut cell, mut rest, mut lines) = (String::new(), from, 0);
        loop {
            let Some(at) = rest.find('"') else { return Err(Ended::Open) };
            cell.push_str(&rest[..at]);
            lines += rest[..at].matches('\n').count();
            if cell.chars().count() > CELL_MOST {
                return Err(Ended::Open);
            }
            rest = &rest[at + 1..];
            match rest.strip_prefix('"') {
                Some(more) => {
                    cell.push('"');
                    rest = more;
                }
                None => {
                    self.line += u32::try_from(lines).unwrap_or(u32::MAX);
                    return Ok((cell, rest));
                }
            }
        }
    }
}

/// Past one line break: CR LF (the standard's), LF, or CR alone.
fn after_break(rest: &str) -> &str {
    rest.strip_prefix("\r\n").or_else(|| rest.strip_prefix(['\n', '\r'])).unwrap_or(rest)
}
