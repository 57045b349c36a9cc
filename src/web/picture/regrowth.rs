//! The two small pictures of a row on Regrowth, and the scales over their columns.

use super::mark::{Drawing, Mark, fit, whisker, words_px};
use crate::domain::length;
use crate::words::{Unit, measuring};

/// New growth now against what a retouch needs, mm.
#[derive(Debug, Clone, PartialEq)]
pub struct GrowthNow {
    /// The estimate.
    pub mm: f64,
    /// Where it lies 8 times in 10.
    pub band: (f64, f64),
    /// What a retouch needs.
    pub target_mm: f64,
    /// The scale's end, the same for every row.
    pub scale_mm: f64,
}

impl GrowthNow {
    /// Draws the row's box.
    #[must_use]
    pub fn draw(&self) -> Drawing {
        let pc = |mm: f64| (mm / self.scale_mm.max(1.0) * 100.0).clamp(0.0, 100.0);
        let (low, high, target) = (pc(self.band.0), pc(self.band.1), pc(self.target_mm));
        let mut marks = vec![Mark::block("fill-bg edge", 0.0, pc(self.mm), 20.0, 16.0)];
        whisker(&mut marks, low, high, 28.0, 5.0);
        marks.push(Mark::stem("ln scalp", 0.0, 16.0, 40.0));
        marks.push(Mark::stem("ln thick", target, 6.0, 44.0));
        let words = length::figure(self.target_mm);
        marks.push(if target > 85.0 {
            Mark::text("b end", target, -5.0, 14.0, words)
        } else {
            Mark::text("b", target, 5.0, 14.0, words)
        });
        let words = length::said(self.mm);
        let end = high.max(if target > high && target - high < 25.0 { target } else { high });
        // The column is about 170 px wide where it is narrowest, with 12 px of edge to run into.
        let need = words_px(&words, false) + 8.0;
        marks.push(if (100.0 - end) * 1.7 + 12.0 > need {
            Mark::text("", end, 8.0, 33.0, words)
        } else if low * 1.7 > need + 8.0 {
            Mark::text("", 0.0, 8.0, 33.0, words)
        } else {
            Mark::text("end", 100.0, 0.0, 14.0, words)
        });
        let label = tr!(
            "{} now, between {} and {}; target {}",
            length::said(self.mm),
            length::figure(self.band.0),
            length::figure(self.band.1),
            length::figure(self.target_mm)
        );
        Drawing { class: "growth-now".into(), data: Vec::new(), height_px: 52.0, label, shapes: None, marks }
    }

    /// Draws the scale over the column: tens of mm or half inches, words at each second.
    #[must_use]
    pub fn scale(scale_mm: f64) -> Drawing {
        let mut marks = Vec::new();
        // Of these each second has words.
        let step = match measuring() {
            Unit::Mm => 10.0,
            Unit::Inch => length::MM_PER_INCH / 2.0,
        };
        for count in (0u8..).take_while(|count| f64::from(*count) * step <= scale_mm) {
            let mm = f64::from(count) * step;
            let at = mm / scale_mm.max(1.0) * 100.0;
            marks.push(Mark::stem("ln", at, 32.0, 40.0));
            if count % 2 == 0 {
                let class = if mm == 0.0 {
                    "soft"
                } else if at > 97.0 {
                    "soft end"
                } else {
                    "soft mid"
                };
                marks.push(Mark::text(class, at, 0.0, 27.0, length::figure(mm)));
            }
        }
        marks.push(Mark::level("ln thick", 0.0, 100.0, 40.0));
        Drawing {
            class: String::new(),
            data: Vec::new(),
            height_px: 40.0,
            label: String::new(),
            shapes: None,
            marks,
        }
    }
}

/// The days a row's window lies on; days are counted from the scale's first.
#[derive(Debug, Clone, PartialEq)]
pub struct DueWindow {
    /// The scale's length.
    pub days: f64,
    /// Today.
    pub today: f64,
    /// From a 10 % chance of enough new growth to a 90 % chance; none when it cannot be said.
    pub window: Option<(f64, f64)>,
    /// The middle.
    pub middle: f64,
    /// End of the latest week: the deadline.
    pub latest: Option<f64>,
    /// "25 Apr to 11 May".
    pub words: String,
    /// The latest week in words, for the sentence: "latest the week of 29 June".
    pub latest_words: String,
}

impl DueWindow {
    /// Draws the row's window.
    #[must_use]
    pub fn draw(&self) -> Drawing {
        let pc = |day: f64| (day / self.days.max(1.0) * 100.0).clamp(0.0, 100.0);
        let today = pc(self.today);
        let mut marks = vec![Mark::stem("ln now", today, -5.0, 57.0)];
        if let Some(latest) = self.latest.filter(|day| (0.0..=self.days).contains(day)) {
            marks.push(Mark::stem("ln beam", pc(latest), 20.0, 36.0));
        }
        if let Some((from, to)) = self.window {
            whisker(&mut marks, pc(from), pc(to), 28.0, 6.0);
            if (0.0..=self.days).contains(&self.middle) {
                marks.push(Mark::dot("fill", pc(self.middle), 28.0, 5.0));
            }
            self.words(&mut marks, pc(to), today, self.latest.map(pc));
        } else {
            marks.push(Mark::text(
                "soft",
                if today < 55.0 { today } else { 0.0 },
                10.0,
                33.0,
                self.words.clone(),
            ));
        }
        let label = if self.latest_words.is_empty() {
            tr!("window {}", self.words)
        } else {
            tr!("window {}; {}", self.words, self.latest_words)
        };
        Drawing { class: "due-window".into(), data: Vec::new(), height_px: 52.0, label, shapes: None, marks }
    }

    /// Words after the window where nothing crosses them, else above it.
    fn words(&self, marks: &mut Vec<Mark>, to: f64, today: f64, latest: Option<f64>) {
        // The column is about 250 px wide where it is narrowest.
        let share = (words_px(&self.words, false) + 12.0) / 250.0 * 100.0;
        let start = if today > to - 1.0 && today < to + share { today } else { to };
        let crossed = latest.is_some_and(|at| at > start && at < start + share);
        if start + share <= 100.0 && !crossed {
            marks.push(Mark::text("", start, 10.0, 33.0, self.words.clone()));
        } else if today + share <= 100.0 {
            marks.push(Mark::text("", today, 10.0, 14.0, self.words.clone()));
        } else {
            marks.push(Mark::text("end", today, -10.0, 14.0, self.words.clone()));
        }
    }

    /// Draws the scale over the column: `ticks` are days with their words.
    #[must_use]
    pub fn scale(days: f64, today: (f64, &str), ticks: &[(f64, String)]) -> Drawing {
        let pc = |day: f64| (day / days.max(1.0) * 100.0).clamp(0.0, 100.0);
        let now = pc(today.0);
        let mut marks = Vec::new();
        for (day, words) in ticks {
            let at = pc(*day);
            marks.push(Mark::stem("ln", at, 32.0, 40.0));
            if (at - now).abs() > 9.0
                && let Some(class) = fit(words_px(words, false), 40.0)
            {
                marks.push(Mark::text(&format!("soft mid{class}"), at, 0.0, 27.0, words.clone()));
            }
        }
        marks.push(Mark::text("now mid", now.clamp(18.0, 82.0), 0.0, 12.0, today.1));
        marks.push(Mark::stem("ln now", now, 18.0, 40.0));
        marks.push(Mark::level("ln thick", 0.0, 100.0, 40.0));
        Drawing {
            class: String::new(),
            data: Vec::new(),
            height_px: 40.0,
            label: String::new(),
            shapes: None,
            marks,
        }
    }
}

#[cfg(test)]
mod tests {
    use askama::Template as _;

    use super::*;

    #[test]
    fn a_row_says_what_it_shows() {
        let row = GrowthNow { mm: 28.4, band: (25.9, 30.9), target_mm: 25.0, scale_mm: 40.0 }
            .draw()
            .render()
            .unwrap();
        assert!(row.contains("aria-label=\"28 mm now, between 26 and 31; target 25\""));
        assert!(row.contains("x1=\"62.5%\" x2=\"62.5%\""), "25 of 40 mm");
    }

    #[test]
    fn a_window_off_the_scale_stays_on_the_picture() {
        let row = DueWindow {
            days: 77.0,
            today: 31.0,
            window: Some((-9.0, 90.0)),
            middle: 95.0,
            latest: Some(120.0),
            words: "May".into(),
            latest_words: String::new(),
        };
        let page = row.draw().render().unwrap();
        assert!(page.contains("x1=\"0%\" x2=\"100%\"") && !page.contains("<circle"));
    }
}
