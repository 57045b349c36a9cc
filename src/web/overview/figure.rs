//! One figure of the overview: a sentence, a picture, a table whose rows lead on; the same table is the file.

use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse as _, Response};
use time::Date;

use crate::calendar::{iso_day, month_words};
use crate::domain::overview::Week;
use crate::web::csv;
use crate::web::picture::lying::ROW_PX;
use crate::web::picture::mark::{Drawing, Mark};
use crate::web::picture::weeks::{Fill, column};
use crate::words;

/// A cell as a screen says it and as a file holds it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cell {
    /// On the screen.
    pub shown: String,
    /// In the file.
    pub plain: String,
}

impl Cell {
    /// The same for both.
    pub fn of(text: impl ToString) -> Cell {
        let text = text.to_string();
        Cell { shown: text.clone(), plain: text }
    }

    /// A day: in words, and as ISO 8601 writes it.
    pub fn day(day: Date) -> Cell {
        Cell { shown: short_day(day), plain: iso_day(day) }
    }

    /// Minutes as hours, to the tenth.
    pub fn hours(minutes: f64) -> Cell {
        let hours = minutes / 60.0;
        Cell { shown: format!("{hours:.0} h"), plain: format!("{hours:.1}") }
    }

    /// Minutes, to the tenth; nothing of nothing.
    pub fn minutes(minutes: Option<f64>) -> Cell {
        let Some(minutes) = minutes else { return Cell::of("") };
        Cell {
            shown: tr!("{minutes} min", minutes = format_args!("{:.1}", minutes)),
            plain: format!("{minutes:.1}"),
        }
    }

    /// A share, in hundredths; nothing of nothing.
    pub fn share(share: Option<f64>) -> Cell {
        let Some(share) = share else { return Cell::of("") };
        Cell { shown: percent(share), plain: format!("{share:.3}") }
    }
}

/// A share in words: `4 %`, never parted at the end of a line.
pub fn percent(share: f64) -> String {
    format!("{:.0}\u{a0}%", share * 100.0)
}

/// A day without its weekday: `14 May`.
pub fn short_day(day: Date) -> String {
    format!("{} {}", day.day(), month_words(day.month()))
}

/// The cells that begin a row of a week.
pub fn week_cells(week: Week) -> Vec<Cell> {
    vec![Cell::of(week), Cell::day(week.monday())]
}

/// A row of the table.
#[derive(Clone, Debug)]
pub struct Row {
    /// One for each column.
    pub cells: Vec<Cell>,
    /// What it was counted from; empty where nothing was.
    pub href: String,
}

/// A fill named beside its picture.
#[derive(Clone, Debug)]
pub struct Key {
    /// Class of the swatch.
    pub class: &'static str,
    /// Its pattern's id.
    pub pattern: Option<&'static str>,
    /// What it stands for.
    pub words: &'static str,
}

/// The key of some fills.
pub fn keys(named: &[(Fill, &'static str)]) -> Vec<Key> {
    named
        .iter()
        .map(|(fill, words)| Key { class: fill.class(), pattern: fill.pattern(), words: words::of(words) })
        .collect()
}

/// The figure.
#[derive(Debug)]
pub struct Figure {
    /// Its place in addresses: "due".
    pub name: &'static str,
    /// "Due and reached".
    pub heading: &'static str,
    /// The answer, in a sentence.
    pub sentence: String,
    /// What it rests on, and what it leaves out.
    pub about: String,
    /// The picture; none while there is nothing to draw.
    pub picture: Option<Drawing>,
    /// Fills beside it.
    pub keys: Vec<Key>,
    /// Columns of the table.
    pub columns: Vec<&'static str>,
    /// Its rows.
    pub rows: Vec<Row>,
}

/// How the rows of the table lie in the picture, in the same order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Along {
    /// Each a column of weeks.
    Weeks,
    /// As many of them as are drawn, each a row; the picture's foot is lower than a row.
    Rows,
}

impl Figure {
    /// Each place of the picture leads to the rows it was counted from, as the table does.
    #[must_use]
    pub fn leading(mut self, along: Along) -> Figure {
        let Some(mut picture) = self.picture.take() else { return self };
        let count = match along {
            Along::Weeks => self.rows.len(),
            Along::Rows => (picture.height_px / ROW_PX) as usize,
        };
        for (n, row) in self.rows.iter().enumerate().take(count).filter(|(_, row)| !row.href.is_empty()) {
            let named: Vec<String> =
                self.named(row).map(|(column, shown)| format!("{column}: {shown}")).collect();
            let (across, y, height) = match along {
                Along::Weeks => (column(n, count), 0.0, picture.height_px),
                Along::Rows => ((0.0, 100.0), ROW_PX * n as f64, ROW_PX),
            };
            picture.marks.push(Mark::lead(&row.href, named.join(", "), across, y, height));
        }
        self.picture = Some(picture);
        self
    }

    /// Nothing was counted: every row says nought.
    #[must_use]
    pub fn has_nothing(&self) -> bool {
        let nought = |c: &Cell| c.plain.is_empty() || c.plain.parse::<f64>().is_ok_and(|n| n == 0.0);
        // The first two cells name the row.
        self.rows.iter().all(|r| r.cells.iter().skip(2).all(nought))
    }

    /// What will stand here, where that begins, and the words of the link.
    #[must_use]
    pub fn begins(&self) -> (&'static str, &'static str, &'static str) {
        let clients = ("/clients", tr!("Find the client"));
        let (words, (href, act)) = match self.name {
            "due" => (
                tr!("Whoever had a service here comes due by their own growth, and is counted by week."),
                clients,
            ),
            "hours" => (
                tr!("Hours that people work and hours that due clients will want stand here week by week."),
                ("/team", tr!("Give people their hours")),
            ),
            "missed" => (
                tr!("Of the bookings of each week: who came, who did not, who called off late."),
                ("/openings", tr!("Find an opening")),
            ),
            "stock" => (
                tr!("Every lot on the shelf, how much is left and how long that lasts."),
                ("/shelf", tr!("To the shelf")),
            ),
            "incidents" => (
                tr!("Stops, stings and what was told afterwards, by week. May it stay so."),
                ("/incidents", tr!("To the incidents")),
            ),
            _ => (tr!("Counted from the services given here, once the first has ended."), clients),
        };
        (words, href, act)
    }

    /// The rows with the name of each cell's column, for narrow screens.
    pub fn named<'a>(&'a self, row: &'a Row) -> impl Iterator<Item = (&'static str, &'a str)> {
        self.columns.iter().copied().zip(row.cells.iter().map(|c| c.shown.as_str()))
    }

    /// The table as a file.
    pub fn file(&self) -> Response {
        let mut rows: Vec<Vec<String>> = vec![self.columns.iter().map(|c| (*c).to_string()).collect()];
        rows.extend(self.rows.iter().map(|r| r.cells.iter().map(|c| c.plain.clone()).collect()));
        let mut answer = csv::text(&rows).into_response();
        let headers = answer.headers_mut();
        headers.insert(
            header::CONTENT_TYPE,
            HeaderValue::from_static("text/csv; charset=utf-8; header=present"),
        );
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-store"));
        let name = format!("attachment; filename=\"overview-{}.csv\"", self.name);
        if let Ok(name) = HeaderValue::from_str(&name) {
            headers.insert(header::CONTENT_DISPOSITION, name);
        }
        answer
    }
}

#[cfg(test)]
mod tests {
    use time::macros::date;

    use super::*;

    #[test]
    fn a_screen_says_it_shorter_than_a_file() {
        assert_eq!(Cell::hours(95.0), Cell { shown: "2 h".into(), plain: "1.6".into() });
        assert_eq!(Cell::share(Some(0.0412)), Cell { shown: "4\u{a0}%".into(), plain: "0.041".into() });
        assert_eq!(Cell::share(None).plain, "");
        assert_eq!(week_cells(Week::of(date!(2026 - 05 - 14)))[1].shown, "11 May");
    }
}
