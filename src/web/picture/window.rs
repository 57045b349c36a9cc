//! The working window of a step: fifteen minutes that drain, with the taps taken so far.

use super::mark::{At, Drawing, Mark, fit, words_px};

/// A quadrant begun.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tap {
    /// Minutes after the window opened.
    pub at_min: f64,
    /// The quadrant's number, 1 to 4.
    pub number: u8,
}

/// A pass and its taps.
#[derive(Debug, Clone, PartialEq)]
pub struct Pass {
    /// "first pass".
    pub words: String,
    /// Its taps, in order.
    pub taps: Vec<Tap>,
}

/// The window of a step.
#[derive(Debug, Clone, PartialEq)]
pub struct Window {
    /// When it opened, milliseconds since 1970 (UTC).
    pub opened_ms: i64,
    /// When the page was made.
    pub now_ms: i64,
    /// How long it is, minutes.
    pub length_min: f64,
    /// When it opened, as a clock time: "13:40".
    pub opened_words: String,
    /// Passes begun, in order.
    pub passes: Vec<Pass>,
    /// The picture in a sentence.
    pub label: String,
}

impl Window {
    /// Draws it. Only what was done is drawn: nobody is hurried near the scalp.
    #[must_use]
    pub fn draw(&self) -> Drawing {
        let share = |minutes: f64| (minutes / self.length_min.max(1.0) * 100.0).clamp(0.0, 100.0);
        let gone = share((self.now_ms - self.opened_ms) as f64 / 60_000.0);
        let mut marks = Vec::new();
        for (row, pass) in self.passes.iter().enumerate() {
            for (at, tap) in pass.taps.iter().enumerate() {
                let x = share(tap.at_min);
                marks.push(Mark::stem("ln thick", x, 24.0, 58.0));
                let next = pass.taps.get(at + 1).map_or(100.0, |tap| share(tap.at_min));
                if let Some(class) = fit(20.0, next - x) {
                    marks.push(Mark::text(&format!("b{class}"), x, 6.0, 38.0, tap.number.to_string()));
                }
            }
            let first_of = |pass: &Pass| pass.taps.first().map(|tap| share(tap.at_min));
            if let Some(first) = first_of(pass) {
                let next = self.passes.get(row + 1).and_then(first_of).unwrap_or(100.0);
                if let Some(class) = fit(words_px(&pass.words, false) + 6.0, next - first) {
                    marks.push(Mark::text(&format!("soft{class}"), first, 0.0, 14.0, pass.words.clone()));
                }
            }
        }
        marks.push(Mark::block("fill-bg edge", 0.0, 100.0, 58.0, 34.0));
        marks.push(Mark::block("fill drain", gone, 100.0, 58.0, 34.0));
        marks.push(Mark::stem("ln now drained", gone, 20.0, 104.0));
        self.scale(&mut marks, share);
        let data = vec![("drain-from", self.opened_ms), ("drain-to", self.shuts_ms())];
        Drawing {
            class: "window".into(),
            data,
            height_px: 124.0,
            label: self.label.clone(),
            shapes: None,
            marks,
        }
    }

    fn scale(&self, marks: &mut Vec<Mark>, share: impl Fn(f64) -> f64) {
        let step = if self.length_min > 30.0 { 10.0 } else { 5.0 };
        marks.push(Mark::stem("ln", 0.0, 92.0, 102.0));
        marks.push(Mark::text("soft", 0.0, 0.0, 118.0, self.opened_words.clone()));
        let mut at_min = step;
        while at_min < self.length_min - 0.01 {
            marks.push(Mark::stem("ln", share(at_min), 92.0, 102.0));
            let words = if at_min == step {
                tr!("{at_min} min", at_min = format_args!("{:.0}", at_min))
            } else {
                format!("{at_min:.0}")
            };
            marks.push(Mark::text("soft mid", share(at_min), 0.0, 118.0, words));
            at_min += step;
        }
        marks.push(Mark::stem("ln", 100.0, 92.0, 102.0));
        marks.push(Mark::Text {
            class: "soft end".into(),
            x: At::Pc(100.0),
            dx: 0.0,
            y: At::Px(118.0),
            dy: 0.0,
            words: format!("{:.0}", self.length_min),
        });
    }

    /// When the window shuts, milliseconds since 1970 (UTC): the script drains it until then.
    #[must_use]
    pub fn shuts_ms(&self) -> i64 {
        self.opened_ms + (self.length_min * 60_000.0) as i64
    }
}

#[cfg(test)]
mod tests {
    use askama::Template as _;

    use super::*;

    fn window(gone_ms: i64) -> Window {
        Window {
            opened_ms: 1000,
            now_ms: 1000 + gone_ms,
            length_min: 15.0,
            opened_words: "13:40".into(),
            passes: vec![Pass { words: "first pass".into(), taps: vec![Tap { at_min: 0.0, number: 1 }] }],
            label: "Window".into(),
        }
    }

    #[test]
    fn it_drains_and_stays_empty_when_past() {
        let page = |gone_ms| window(gone_ms).draw().render().unwrap();
        assert!(page(450_000).contains("class=\"fill drain\" x=\"50%\" width=\"50%\""));
        assert!(page(1_000_000).contains("class=\"fill drain\" x=\"100%\" width=\"0%\""));
        assert!(page(-5).contains("class=\"fill drain\" x=\"0%\" width=\"100%\""));
        assert_eq!(window(0).shuts_ms(), 901_000);
    }
}
