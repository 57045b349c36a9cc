//! Rows of a table file as clients: which column is what, what a row says, which rows are one person.

use std::collections::BTreeMap;

use time::{Date, Month};

use super::table_file::Row;

/// What a column is. Only what a client's record holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Column {
    /// Not taken in.
    Nothing,
    /// The whole name.
    Name,
    Given,
    Family,
    BornOn,
    Phone,
    Email,
    /// tight, loose, straight, in those words.
    Curl,
    /// Does not want to be reached: yes.
    NoContact,
}

impl Column {
    /// All, with code and words, in the order of the choices.
    pub const ALL: [(Column, &'static str, &'static str); 9] = [
        (Column::Nothing, "nothing", "not taken in"),
        (Column::Name, "name", "name, whole"),
        (Column::Given, "given", "given name"),
        (Column::Family, "family", "family name"),
        (Column::BornOn, "born-on", "born on"),
        (Column::Phone, "phone", "phone"),
        (Column::Email, "email", "email"),
        (Column::Curl, "curl", "curl: tight, loose or straight"),
        (Column::NoContact, "no-contact", "not to be reached: yes"),
    ];

    /// Its code.
    pub fn code(self) -> &'static str {
        Self::ALL.iter().find(|(c, ..)| *c == self).map_or("nothing", |(_, code, _)| code)
    }

    /// The column of a code.
    pub fn from_code(code: &str) -> Option<Column> {
        Self::ALL.iter().find(|(_, c, _)| *c == code).map(|(c, ..)| *c)
    }

    /// What a title says the column is. Common words of six languages, from memory; the person confirms.
    pub fn guess(title: &str) -> Column {
        let word: String = title.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect();
        let any = |words: &[&str]| words.contains(&word.as_str());
        if any(&[
            "name",
            "fullname",
            "clientname",
            "client",
            "customer",
            "nombrecompleto",
            "nomcomplet",
            "nomecompleto",
        ]) {
            Column::Name
        } else if any(&[
            "firstname",
            "givenname",
            "forename",
            "first",
            "given",
            "vorname",
            "nombre",
            "prénom",
            "prenom",
            "nome",
        ]) {
            Column::Given
        } else if any(&[
            "lastname",
            "familyname",
            "surname",
            "last",
            "family",
            "nachname",
            "familienname",
            "apellido",
            "apellidos",
            "nom",
            "nomdefamille",
            "cognome",
            "sobrenome",
            "apelido",
        ]) {
            Column::Family
        } else if any(&[
            "bornon",
            "born",
            "birthday",
            "birthdate",
            "dateofbirth",
            "dob",
            "geburtsdatum",
            "geburtstag",
            "geboren",
            "fechadenacimiento",
            "nacimiento",
            "datedenaissance",
            "datadinascita",
            "datadenascimento",
        ]) {
            Column::BornOn
        } else if any(&[
            "phone",
            "telephone",
            "phonenumber",
            "mobile",
            "mobilephone",
            "cell",
            "tel",
            "telefon",
            "handy",
            "teléfono",
            "telefono",
            "móvil",
            "movil",
            "téléphone",
            "portable",
            "cellulare",
            "telefone",
            "celular",
        ]) {
            Column::Phone
        } else if any(&[
            "email",
            "emailaddress",
            "mail",
            "correo",
            "correoelectrónico",
            "courriel",
            "adressemail",
        ]) {
            Column::Email
        } else if any(&["curl", "curlgroup"]) {
            Column::Curl
        } else if any(&["nottobereached", "nocontact", "donotcontact"]) {
            Column::NoContact
        } else {
            Column::Nothing
        }
    }
}

/// How days with the year last are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DayOrder {
    /// 14.5.1990
    DayFirst,
    /// 5/14/1990
    MonthFirst,
}

impl DayOrder {
    /// Its code.
    pub const fn code(self) -> &'static str {
        match self {
            DayOrder::DayFirst => "day-first",
            DayOrder::MonthFirst => "month-first",
        }
    }

    /// The order of a code.
    pub fn from_code(code: &str) -> Option<DayOrder> {
        [DayOrder::DayFirst, DayOrder::MonthFirst].into_iter().find(|o| o.code() == code)
    }

    /// The order the cells of a column bear out; none where both would do.
    pub fn guess<'a>(cells: impl Iterator<Item = &'a str>) -> Option<DayOrder> {
        let (mut day, mut month) = (0, 0);
        for cell in cells {
            let n: Vec<u16> = numbers(cell);
            if let [a, b, year] = n[..]
                && year > 31
            {
                day += usize::from(a > 12 && b <= 12);
                month += usize::from(b > 12 && a <= 12);
            }
        }
        match day.cmp(&month) {
            std::cmp::Ordering::Greater => Some(DayOrder::DayFirst),
            std::cmp::Ordering::Less => Some(DayOrder::MonthFirst),
            std::cmp::Ordering::Equal => None,
        }
    }
}

fn numbers(text: &str) -> Vec<u16> {
    text.split(|c: char| !c.is_ascii_digit())
        .filter(|p| !p.is_empty())
        .map(|p| p.parse().unwrap_or(u16::MAX))
        .collect()
}

/// What the person said of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mapping {
    /// One for each column, in order.
    pub columns: Vec<Column>,
    pub days: DayOrder,
}

impl Mapping {
    /// What is wrong with it, as a sentence.
    pub fn fault(&self) -> Option<&'static str> {
        let count = |c: Column| self.columns.iter().filter(|x| **x == c).count();
        if count(Column::Name) + count(Column::Given) + count(Column::Family) == 0 {
            return Some("Say which column is the name: whole, or given and family name.");
        }
        if count(Column::Name) > 0 && count(Column::Given) + count(Column::Family) > 0 {
            return Some("The name is one column, or given and family name: choose one of the two.");
        }
        let twice = Column::ALL.iter().any(|(c, ..)| *c != Column::Nothing && count(*c) > 1);
        twice.then_some("Two columns are said to be the same. Keep one of them.")
    }
}

/// A row understood.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Newcomer {
    /// Line of the file.
    pub line: u32,
    pub name: String,
    pub born_on: Option<Date>,
    pub phone: String,
    pub email: String,
    pub curl_group: Option<&'static str>,
    pub no_contact: bool,
}

/// Reads one row; the first thing that is wrong, as a sentence.
///
/// # Errors
/// What a record cannot hold: nothing is cut short or left out in silence.
pub fn read_row(mapping: &Mapping, row: &Row, today: Date) -> Result<Newcomer, String> {
    let mut n = Newcomer { line: row.line, ..Newcomer::default() };
    let (mut given, mut family) = (String::new(), String::new());
    for (column, cell) in mapping.columns.iter().zip(&row.cells) {
        if *column == Column::Nothing {
            continue;
        }
        let cell = plain(cell);
        if cell.chars().any(char::is_control) {
            return Err("There is a character in it that is no letter, digit or sign.".into());
        }
        match column {
            Column::Name => n.name = cell,
            Column::Given => given = cell,
            Column::Family => family = cell,
            Column::BornOn => n.born_on = born(&cell, mapping.days, today)?,
            Column::Phone => n.phone = bounded(cell, 40, "phone number")?,
            Column::Email => n.email = email(cell)?,
            Column::Curl => n.curl_group = curl(&cell)?,
            Column::NoContact => {
                n.no_contact = ["yes", "true", "1", "x", "y"].contains(&cell.to_lowercase().as_str())
            }
            Column::Nothing => {}
        }
    }
    if n.name.is_empty() {
        n.name = format!("{given} {family}").trim().to_string();
    }
    if n.name.is_empty() {
        return Err("There is no name in it.".into());
    }
    n.name = bounded(n.name, 200, "name")?;
    Ok(n)
}

/// A cell without its edges, its line breaks, and the apostrophe that keeps a spreadsheet from reckoning it.
fn plain(cell: &str) -> String {
    let cell = cell.trim();
    let bare = cell.strip_prefix('\'').filter(|rest| rest.trim_start().starts_with(['=', '+', '-', '@']));
    bare.unwrap_or(cell)
        .split(['\r', '\n', '\t'])
        .map(str::trim)
        .filter(|p| !p.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}

fn bounded(cell: String, most: usize, what: &str) -> Result<String, String> {
    let length = cell.chars().count();
    if length > most {
        return Err(format!("The {what} has {length} characters; at most {most} fit."));
    }
    Ok(cell)
}

fn email(cell: String) -> Result<String, String> {
    let whole = cell.split_once('@').is_some_and(|(a, b)| !a.is_empty() && !b.is_empty());
    if !cell.is_empty() && (!whole || cell.contains(char::is_whitespace)) {
        return Err("The email is no address: a name, an @ and a place.".into());
    }
    bounded(cell, 254, "email")
}

fn curl(cell: &str) -> Result<Option<&'static str>, String> {
    let low = cell.to_lowercase();
    match ["tight", "loose", "straight"].into_iter().find(|c| *c == low) {
        Some(code) => Ok(Some(code)),
        None if low.is_empty() => Ok(None),
        None => Err("The curl is none of tight, loose, straight.".into()),
    }
}

fn born(cell: &str, order: DayOrder, today: Date) -> Result<Option<Date>, String> {
    if cell.is_empty() {
        return Ok(None);
    }
    let no = || "The day of birth is no day with a year of four digits, such as 1990-05-14.".to_string();
    let date = cell.split(['T', ' ']).next().unwrap_or(cell);
    let [a, b, c] = numbers(date)[..] else { return Err(no()) };
    let (year, month, day) = match (a > 31, order) {
        (true, _) => (a, b, c),
        (false, DayOrder::DayFirst) => (c, b, a),
        (false, DayOrder::MonthFirst) => (c, a, b),
    };
    let month = u8::try_from(month).ok().and_then(|m| Month::try_from(m).ok()).ok_or_else(no)?;
    let day = Date::from_calendar_date(i32::from(year), month, u8::try_from(day).map_err(|_| no())?)
        .map_err(|_| no())?;
    if !(1900..=2200).contains(&year) {
        return Err(no());
    }
    if day > today {
        return Err("The day of birth is still to come.".into());
    }
    Ok(Some(day))
}

/// A telephone number as compared: its last nine digits; none where it has fewer than seven. The database's
/// `rinsebell_phone_key` says the same.
pub fn phone_key(phone: &str) -> Option<String> {
    let digits: Vec<char> = phone.chars().filter(char::is_ascii_digit).collect();
    (digits.len() >= 7).then(|| digits[digits.len().saturating_sub(9)..].iter().collect())
}

/// Rows that say again who an earlier row of the file is: (index, the earlier row's index). One person is the same
/// name with a birth day, a number or an address that agrees and no birth day that differs, or with nothing else said.
pub fn said_before(all: &[Newcomer]) -> Vec<(usize, usize)> {
    let mut by_name: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    let mut again = Vec::new();
    for (i, n) in all.iter().enumerate() {
        let earlier = by_name.entry(n.name.to_lowercase()).or_default();
        // A name borne by hundreds is compared with the first of them only: the time stays bounded.
        match earlier.iter().take(200).find(|j| same_person(&all[**j], n)) {
            Some(j) => again.push((i, *j)),
            None => earlier.push(i),
        }
    }
    again
}

fn same_person(a: &Newcomer, b: &Newcomer) -> bool {
    if let (Some(x), Some(y)) = (a.born_on, b.born_on) {
        return x == y;
    }
    let phone = phone_key(&a.phone).is_some_and(|k| Some(k) == phone_key(&b.phone));
    let email = !a.email.is_empty() && a.email.to_lowercase() == b.email.to_lowercase();
    let bare = |n: &Newcomer| n.phone.is_empty() && n.email.is_empty();
    phone || email || bare(a) || bare(b)
}

/// What is done with a row that seems to be somebody who is here already.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Seen {
    /// The row is left out.
    #[default]
    Skip,
    /// Empty places of the record are filled; nothing that stands is changed.
    Fill,
    /// Somebody else of that name or number: entered as a new client.
    Both,
}

impl Seen {
    /// All, with code and words.
    pub const ALL: [(Seen, &'static str, &'static str); 3] = [
        (Seen::Skip, "skip", "leave the line out"),
        (Seen::Fill, "fill", "fill what is empty here"),
        (Seen::Both, "both", "somebody else: enter"),
    ];

    /// Its code.
    pub fn code(self) -> &'static str {
        Self::ALL.iter().find(|(s, ..)| *s == self).map_or("skip", |(_, code, _)| code)
    }

    /// The choice of a code.
    pub fn from_code(code: &str) -> Option<Seen> {
        Self::ALL.iter().find(|(_, c, _)| *c == code).map(|(s, ..)| *s)
    }
}

#[cfg(test)]
#[path = "client_import_tests.rs"]
mod tests;
