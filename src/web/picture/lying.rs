//! Rows under one another, each with its words over a bar or a box that lies on one shared scale.

use super::mark::{Drawing, Mark, fit, words_px};
use super::weeks::Fill;

/// What lies in a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Lies {
    /// From nought to a value.
    Bar(Fill, f64),
    /// Half of all values between the ends, the middle one a stroke.
    Box { low: f64, middle: f64, high: f64 },
}

/// A row.
#[derive(Debug, Clone, PartialEq)]
pub struct LyingRow {
    /// "Tobias Fenn".
    pub name: String,
    /// "6 min, half between 4 and 9".
    pub words: String,
    /// Its shape.
    pub lies: Lies,
}

/// The picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Lying {
    /// Rows, from the top.
    pub rows: Vec<LyingRow>,
    /// A value that every row is held against, with its words; nought for none.
    pub against: (f64, String),
    /// The picture in a sentence.
    pub label: String,
}

/// Height of a row, px.
pub const ROW_PX: f64 = 46.0;
/// Where its shape begins and how high it is, px.
const SHAPE: (f64, f64) = (20.0, 16.0);

impl Lying {
    /// Draws it.
    #[must_use]
    pub fn draw(&self) -> Drawing {
        let end = |row: &LyingRow| match row.lies {
            Lies::Bar(_, to) => to,
            Lies::Box { high, .. } => high,
        };
        let most = self.rows.iter().map(end).fold(self.against.0, f64::max).max(1e-9);
        let pc = |value: f64| (value / most * 100.0).clamp(0.0, 100.0);
        let foot = ROW_PX * self.rows.len() as f64;
        let mut marks = Vec::new();
        for (n, row) in self.rows.iter().enumerate() {
            let top = ROW_PX * n as f64;
            let both = words_px(&row.name, true) + words_px(&row.words, false) + 16.0;
            marks.push(Mark::text("b", 0.0, 0.0, top + 14.0, row.name.clone()));
            if let Some(class) = fit(both, 100.0) {
                marks.push(Mark::text(
                    &format!("soft end{class}"),
                    100.0,
                    0.0,
                    top + 14.0,
                    row.words.clone(),
                ));
            }
            let (y, height) = (top + SHAPE.0, SHAPE.1);
            match row.lies {
                Lies::Bar(fill, to) => marks.push(fill.block(0.0, pc(to), y, height)),
                Lies::Box { low, middle, high } => {
                    marks.push(Mark::level("ln soft", 0.0, 100.0, y + height / 2.0));
                    marks.push(Fill::Tone.block(pc(low), pc(high), y, height));
                    marks.push(Mark::stem("ln beam", pc(middle), y - 3.0, y + height + 3.0));
                }
            }
        }
        marks.push(Mark::stem("ln", 0.0, 18.0, foot));
        let mut height_px = foot;
        if self.against.0 > 0.0 {
            height_px += 20.0;
            let x = pc(self.against.0);
            marks.push(Mark::stem("ln dash", x, 18.0, foot + 4.0));
            let class = if x > 60.0 { "soft end" } else { "soft" };
            marks.push(Mark::text(class, x, 0.0, foot + 17.0, self.against.1.clone()));
        }
        Drawing {
            class: "lying".into(),
            data: Vec::new(),
            height_px,
            label: self.label.clone(),
            shapes: None,
            marks,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_longest_row_fills_the_width_and_an_empty_picture_is_none() {
        let row = |to| LyingRow { name: "Scalp".into(), words: "3".into(), lies: Lies::Bar(Fill::Solid, to) };
        let picture =
            Lying { rows: vec![row(3.0), row(6.0)], against: (0.0, String::new()), label: "x".into() };
        let drawn = picture.draw();
        let widths: Vec<String> = drawn
            .marks
            .iter()
            .filter_map(|m| match m {
                Mark::Rect { width, .. } => Some(width.to_string()),
                _ => None,
            })
            .collect();
        assert_eq!(widths, ["50%", "100%"]);
        assert_eq!(drawn.height_px, 92.0);
        let none = Lying { rows: vec![], against: (0.0, String::new()), label: String::new() };
        assert_eq!(none.draw().height_px, 0.0);
    }
}
