//! Weeks side by side: counts stacked over each, the week of today marked.

use super::mark::{Drawing, Mark, fit, words_px};

/// How a part of a bar is filled: shapes tell parts apart, never colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fill {
    /// Ink.
    Solid,
    /// A tone of the paper, with an edge.
    Tone,
    /// Slanted lines.
    Slant,
    /// An edge alone.
    Blank,
    /// What hurts people.
    Danger,
}

impl Fill {
    /// Its class.
    #[must_use]
    pub fn class(self) -> &'static str {
        match self {
            Self::Solid => "fill",
            Self::Tone => "fill-tone edge",
            Self::Slant => "pattern edge",
            Self::Blank => "fill-bg edge",
            Self::Danger => "fill-danger",
        }
    }

    /// Its pattern's id on the page.
    #[must_use]
    pub fn pattern(self) -> Option<&'static str> {
        (self == Self::Slant).then_some("p-slant")
    }

    /// A block of it.
    #[must_use]
    pub fn block(self, from: f64, to: f64, y: f64, height: f64) -> Mark {
        Mark::patterned(self.class(), self.pattern(), from, to, y, height)
    }
}

/// The upright axis of a picture of weeks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// Where it ends.
    pub most: f64,
    /// From one line to the next.
    pub step: f64,
    /// Height of the plot, px.
    pub height_px: f64,
}

/// Room above the highest bar for the label of a line, px.
const HEAD_PX: f64 = 16.0;
/// Room under the plot for the weeks, px.
pub(super) const FOOT_PX: f64 = 26.0;

impl Scale {
    /// A scale that holds these values: lines at 1, 2 or 5 of a power of ten, five at most.
    #[must_use]
    pub fn holding(values: impl IntoIterator<Item = f64>, height_px: f64) -> Scale {
        // Two at least: a single line would read "1 clients".
        let most = values.into_iter().filter(|v| v.is_finite()).fold(2.0, f64::max);
        let mut step = 1.0;
        // 1, 2, 5, 10, 20, 50 …
        for factor in [2.0, 2.5, 2.0].iter().cycle().take(30) {
            if most / step <= 5.0 {
                break;
            }
            step *= factor;
        }
        Scale { most: (most / step).ceil() * step, step, height_px }
    }

    /// A value's height on the picture, px from its top.
    #[must_use]
    pub fn y(&self, value: f64) -> f64 {
        HEAD_PX + (self.height_px - HEAD_PX) * (1.0 - (value / self.most).clamp(0.0, 1.0))
    }

    /// The lines behind the bars.
    pub(super) fn lines(&self, marks: &mut Vec<Mark>) {
        let mut at = self.step;
        while at <= self.most + self.step / 2.0 {
            marks.push(Mark::level("ln soft", 0.0, 100.0, self.y(at)));
            at += self.step;
        }
    }

    /// Their words, before the bars are drawn over by nothing more; `unit` follows the highest.
    pub(super) fn words(&self, marks: &mut Vec<Mark>, unit: &str) {
        let mut at = self.step;
        while at <= self.most + self.step / 2.0 {
            let last = at + self.step > self.most + self.step / 2.0;
            let words = if last { format!("{at:.0} {unit}") } else { format!("{at:.0}") };
            marks.push(Mark::text("soft halo", 0.0, 0.0, self.y(at) - 4.0, words));
            at += self.step;
        }
    }
}

/// The edges of a column among `count`, % of the width: the first keeps clear of the words of the lines.
#[must_use]
pub fn column(index: usize, count: usize) -> (f64, f64) {
    const LEFT_PC: f64 = 9.0;
    let width = (100.0 - LEFT_PC) / count.max(1) as f64;
    let from = LEFT_PC + width * index as f64;
    (from + width * 0.12, from + width * 0.88)
}

/// The foot of the picture: the line, every fourth week in words, the week of today.
pub(super) fn foot(marks: &mut Vec<Mark>, weeks: &[String], today: Option<usize>, y: f64) {
    marks.push(Mark::level("ln", 0.0, 100.0, y));
    for (n, words) in weeks.iter().enumerate().filter(|(n, _)| n % 4 == 0) {
        let (from, _) = column(n, weeks.len());
        let share = (100.0 - 9.0) / weeks.len() as f64 * 4.0;
        if let Some(class) = fit(words_px(words, false) + 8.0, share) {
            marks.push(Mark::stem("ln", from, y, y + 6.0));
            marks.push(Mark::text(&format!("soft{class}"), from, 3.0, y + 19.0, words.clone()));
        }
    }
    if let Some(n) = today {
        let (from, to) = column(n, weeks.len());
        marks.push(Mark::level("ln now", from, to, y + 3.0));
    }
}

/// Counts stacked over weeks.
#[derive(Debug, Clone, PartialEq)]
pub struct WeekBars {
    /// Each week's first day in words, in order.
    pub weeks: Vec<String>,
    /// The week of today, if it is among them.
    pub today: Option<usize>,
    /// For each week its parts from the foot up.
    pub parts: Vec<Vec<(Fill, f64)>>,
    /// What is counted: "clients".
    pub unit: &'static str,
    /// The picture in a sentence.
    pub label: String,
}

impl WeekBars {
    /// Draws it.
    #[must_use]
    pub fn draw(&self) -> Drawing {
        let height_px = 200.0;
        let sums = self.parts.iter().map(|parts| parts.iter().map(|(_, n)| n).sum::<f64>());
        let scale = Scale::holding(sums, height_px);
        let mut marks = Vec::new();
        scale.lines(&mut marks);
        for (n, parts) in self.parts.iter().enumerate() {
            let (from, to) = column(n, self.parts.len());
            let mut foot = 0.0;
            for (fill, value) in parts.iter().filter(|(_, value)| *value > 0.0) {
                let (top, bottom) = (scale.y(foot + value), scale.y(foot));
                marks.push(fill.block(from, to, top, bottom - top));
                foot += value;
            }
        }
        scale.words(&mut marks, self.unit);
        foot(&mut marks, &self.weeks, self.today, height_px);
        Drawing {
            class: "week-bars".into(),
            data: Vec::new(),
            height_px: height_px + FOOT_PX,
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
    fn lines_stand_at_round_numbers_and_hold_the_highest() {
        for (most, end, step) in [
            (0.0, 2.0, 1.0),
            (1.0, 2.0, 1.0),
            (4.0, 4.0, 1.0),
            (7.0, 8.0, 2.0),
            (23.0, 25.0, 5.0),
            (41.0, 50.0, 10.0),
            (240.0, 250.0, 50.0),
        ] {
            let scale = Scale::holding([most], 200.0);
            assert_eq!((scale.most, scale.step), (end, step), "{most}");
            assert!((scale.y(scale.most) - HEAD_PX).abs() < 1e-9 && (scale.y(0.0) - 200.0).abs() < 1e-9);
        }
        let odd = Scale::holding([f64::NAN, f64::INFINITY], 200.0);
        assert_eq!(odd.most, 2.0);
    }

    #[test]
    fn parts_stand_on_one_another() {
        let picture = WeekBars {
            weeks: (0..12).map(|n| format!("{n} May")).collect(),
            today: Some(11),
            parts: vec![vec![(Fill::Solid, 2.0), (Fill::Slant, 0.0), (Fill::Blank, 2.0)]; 12],
            unit: "clients",
            label: "x".into(),
        };
        let drawn = picture.draw();
        let blocks: Vec<(f64, f64)> = drawn
            .marks
            .iter()
            .filter_map(|m| match m {
                Mark::Rect {
                    y: super::super::mark::At::Px(y),
                    height: super::super::mark::At::Px(h),
                    ..
                } => Some((*y, *h)),
                _ => None,
            })
            .collect();
        assert_eq!(blocks.len(), 24, "nothing is drawn for nought");
        assert!((blocks[1].0 + blocks[1].1 - blocks[0].0).abs() < 1e-9);
        assert!(drawn.marks.iter().any(|m| matches!(m, Mark::Line { class, .. } if class == "ln now")));
    }
}
