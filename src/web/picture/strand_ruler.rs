//! The strand ruler: the hair from scalp to ends over a scale of millimetres and inches.

use super::mark::{Drawing, Pattern, Verdict};
use super::strand_sheet::Sheet;

/// How large a ruler is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// On Strand and Plan.
    Large,
    /// On Run and Regrowth: no scale, the millimetres of the edges instead.
    Small,
}

/// One exposure of a piece.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lane {
    /// What it was.
    pub pattern: Pattern,
    /// "colour, Feb".
    pub words: String,
}

/// A piece of hair with one history.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Nearer the scalp, mm of stretched hair.
    pub from_mm: f64,
    /// Nearer the ends.
    pub to_mm: f64,
    /// What it has met, latest first; empty for new growth.
    pub lanes: Vec<Lane>,
    /// Words for a piece that has met nothing: "new growth". Unused where there are lanes.
    pub words: String,
    /// Words on a refused piece ("refused", "no product"), empty where nothing is refused.
    pub refused: String,
}

/// A line of demarcation with its doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Edge {
    /// Where, mm of stretched hair from the scalp.
    pub at_mm: f64,
    /// Standard deviation, mm.
    pub sd_mm: f64,
}

/// A planned application, a bracket above the hair.
#[derive(Debug, Clone, PartialEq)]
pub struct Planned {
    /// "A", or empty where there is but one.
    pub letter: String,
    /// "straightener, regular, 0 to 80".
    pub words: String,
    /// Nearer the scalp, mm.
    pub from_mm: f64,
    /// Nearer the ends, mm.
    pub to_mm: f64,
}

/// What the plan check found, a line under the hair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// Its number in the list of findings.
    pub number: usize,
    /// Its verdict.
    pub verdict: Verdict,
    /// Nearer the scalp, mm.
    pub from_mm: f64,
    /// Nearer the ends, mm.
    pub to_mm: f64,
}

/// A strand as it is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct StrandRuler {
    /// How large.
    pub size: Size,
    /// Length of the hair, mm stretched.
    pub length_mm: f64,
    /// The scale's end in mm; 0 picks the next round one past the hair.
    pub scale_mm: f64,
    /// Pieces, scalp first.
    pub pieces: Vec<Piece>,
    /// Lines of demarcation.
    pub edges: Vec<Edge>,
    /// Planned applications, in their order.
    pub planned: Vec<Planned>,
    /// Findings, worst first.
    pub found: Vec<Found>,
    /// Hair cut off past `length_mm`, mm, drawn dotted.
    pub cut_mm: f64,
    /// The picture in a sentence.
    pub label: String,
}

impl StrandRuler {
    /// Draws it.
    #[must_use]
    pub fn draw(&self) -> Drawing {
        let mut sheet = Sheet { ruler: self, scale_mm: self.scale(), marks: Vec::new() };
        let height_px = match self.size {
            Size::Large => sheet.large(),
            Size::Small => sheet.small(),
        };
        Drawing {
            class: "ruler".into(),
            data: Vec::new(),
            height_px,
            label: self.label.clone(),
            shapes: None,
            marks: sheet.marks,
        }
    }

    fn scale(&self) -> f64 {
        let need = (self.length_mm + self.cut_mm).max(1.0);
        if self.scale_mm >= need {
            return self.scale_mm;
        }
        if self.size == Size::Small {
            return need;
        }
        [40.0, 60.0, 80.0, 120.0, 160.0, 200.0, 240.0, 320.0, 400.0, 500.0, 640.0, 800.0, 1000.0]
            .into_iter()
            .find(|end| *end >= need * 1.04)
            .unwrap_or_else(|| (need / 200.0).ceil() * 200.0)
    }
}

#[cfg(test)]
mod tests {
    use askama::Template as _;

    use super::*;

    fn ruler(length_mm: f64) -> StrandRuler {
        StrandRuler {
            size: Size::Large,
            length_mm,
            scale_mm: 0.0,
            pieces: vec![Piece {
                from_mm: 0.0,
                to_mm: length_mm,
                lanes: Vec::new(),
                words: "new growth".into(),
                refused: String::new(),
            }],
            edges: vec![Edge { at_mm: length_mm / 2.0, sd_mm: 2.0 }],
            planned: Vec::new(),
            found: Vec::new(),
            cut_mm: 0.0,
            label: "A strand".into(),
        }
    }

    #[test]
    fn the_scale_is_always_longer_than_the_hair() {
        for length in [1.0, 31.0, 148.0, 153.0, 154.0, 400.0, 955.0, 1300.0] {
            let scale = ruler(length).scale();
            assert!(scale > length && scale < length * 2.0 + 40.0, "{length} on {scale}");
        }
        assert_eq!(ruler(148.0).scale(), 160.0, "as on the drawing");
    }

    #[test]
    fn a_whisker_reaches_1_96_standard_deviations() {
        // Half-width of 95 % of a normal distribution: 1.96 sd (NIST handbook 1.3.6.7.1, from memory).
        let drawing = ruler(100.0).draw();
        // Scale 120: 50 mm at 41.67 %, 3.92 mm are 3.27 %.
        assert!(drawing.render().unwrap().contains("x1=\"38.4%\" x2=\"44.93%\""));
    }

    #[test]
    fn an_inch_stands_at_25_4_millimetres() {
        assert!(
            ruler(148.0)
                .draw()
                .render()
                .unwrap()
                .contains("<text class=\"soft mid\" x=\"15.88%\" y=\"216\">1</text>")
        );
    }

    #[test]
    fn words_are_escaped_and_an_empty_strand_still_draws() {
        let mut strand = ruler(90.0);
        strand.pieces[0].words = "<b>".into();
        assert!(!strand.draw().render().unwrap().contains("<b>"));
        assert!(
            StrandRuler { pieces: Vec::new(), edges: Vec::new(), length_mm: 0.0, ..strand }
                .draw()
                .render()
                .unwrap()
                .contains("0 mm")
        );
    }
}
