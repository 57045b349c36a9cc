//! The marks pictures are made of, the patterns of the chemistries, and which labels fit.

use std::fmt;

use askama::Template;

/// A place along a side of a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum At {
    /// Hundredths of the side.
    Pc(f64),
    /// Pixels from its beginning.
    Px(f64),
}

impl fmt::Display for At {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Pc(value) => write!(out, "{}%", short(*value)),
            Self::Px(value) => out.write_str(&short(*value)),
        }
    }
}
// Digits, a point, a sign and "%": nothing to escape.
impl askama::filters::HtmlSafe for At {}

fn short(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".into() } else { text.into() }
}

/// What is put on the hair, as a pattern. The patterns are those of `parts/patterns.html`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pattern {
    /// Met nothing.
    Blank,
    /// Thio product for straightening.
    ThioStraightening,
    /// Thio curl lotion.
    ThioCurl,
    /// Ester lotion.
    Ester,
    /// Hydroxides of a metal.
    Hydroxide,
    /// Guanidine hydroxide.
    Guanidine,
    /// Oxidative colour.
    Colour,
    /// Direct dye.
    Direct,
    /// Neutraliser.
    Neutral,
    /// Lightener.
    Lightener,
    /// Metallic salt.
    Metallic,
    /// Henna.
    Henna,
    /// Sulfite or cysteine.
    Sulfite,
    /// Aldehyde.
    Aldehyde,
}

impl Pattern {
    /// Every pattern that is drawn.
    pub const DRAWN: [Self; 13] = [
        Self::ThioStraightening,
        Self::ThioCurl,
        Self::Ester,
        Self::Hydroxide,
        Self::Guanidine,
        Self::Colour,
        Self::Direct,
        Self::Neutral,
        Self::Lightener,
        Self::Metallic,
        Self::Henna,
        Self::Sulfite,
        Self::Aldehyde,
    ];

    /// What the salon calls what is drawn so.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Blank => tr!("nothing known"),
            Self::ThioStraightening => tr!("straightener"),
            Self::ThioCurl => tr!("curl lotion"),
            Self::Ester => tr!("acid wave"),
            Self::Hydroxide => tr!("relaxer"),
            Self::Guanidine => tr!("guanidine relaxer"),
            Self::Colour => tr!("colour"),
            Self::Direct => tr!("dye without developer"),
            Self::Neutral => tr!("neutraliser"),
            Self::Lightener => tr!("lightener"),
            Self::Metallic => tr!("metallic-salt colour"),
            Self::Henna => tr!("henna"),
            Self::Sulfite => tr!("sulfite or cysteine"),
            Self::Aldehyde => tr!("aldehyde smoothing"),
        }
    }

    /// The pattern's id on the page, none for blank.
    #[must_use]
    pub fn id(self) -> Option<&'static str> {
        Some(match self {
            Self::Blank => return None,
            Self::ThioStraightening => "p-thio-straightening",
            Self::ThioCurl => "p-thio-curl",
            Self::Ester => "p-ester",
            Self::Hydroxide => "p-hydroxide",
            Self::Guanidine => "p-guanidine",
            Self::Colour => "p-colour",
            Self::Direct => "p-direct",
            Self::Neutral => "p-neutral",
            Self::Lightener => "p-lightener",
            Self::Metallic => "p-metallic",
            Self::Henna => "p-henna",
            Self::Sulfite => "p-sulfite",
            Self::Aldehyde => "p-aldehyde",
        })
    }
}

/// A finding's verdict, as its mark under the hair and beside its words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Passes.
    Clear,
    /// A test comes first.
    Test,
    /// A wait comes first.
    Wait,
    /// Refused.
    Refuse,
}

impl Verdict {
    /// The word said.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Clear => tr!("clear"),
            Self::Test => tr!("test first"),
            Self::Wait => tr!("wait"),
            Self::Refuse => tr!("refuse"),
        }
    }

    /// The class of the finding in the list: `clear`, `test`, `wait`, `refuse`; the symbol is `v-` and it.
    #[must_use]
    pub fn class(self) -> &'static str {
        match self {
            Self::Clear => "clear",
            Self::Test => "test",
            Self::Wait => "wait",
            Self::Refuse => "refuse",
        }
    }
}

/// One thing drawn.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// A straight line.
    Line { class: String, x1: At, x2: At, y1: At, y2: At },
    /// A block, plain or patterned.
    Rect { class: String, pattern: Option<&'static str>, x: At, width: At, y: At, height: At, lift_px: f64 },
    /// A dot or ring.
    Dot { class: String, cx: At, cy: At, r: f64 },
    /// Words.
    Text { class: String, x: At, dx: f64, y: At, dy: f64, words: String },
    /// Words on a filled plate `width_px` wide, moved `dx` pixels from `x`.
    Plate { class: String, x: At, dx: f64, y: At, width_px: f64, words: String },
    /// A place that leads on, over what is drawn there; the words are its name.
    Lead { href: String, words: String, x: At, width: At, y: At, height: At },
}

impl Mark {
    /// An upright line at `x` % from `y1` to `y2` pixels.
    #[must_use]
    pub fn stem(class: &str, x: f64, y1: f64, y2: f64) -> Self {
        Self::Line { class: class.into(), x1: At::Pc(x), x2: At::Pc(x), y1: At::Px(y1), y2: At::Px(y2) }
    }

    /// A lying line from `x1` to `x2` % at `y` pixels.
    #[must_use]
    pub fn level(class: &str, x1: f64, x2: f64, y: f64) -> Self {
        Self::Line { class: class.into(), x1: At::Pc(x1), x2: At::Pc(x2), y1: At::Px(y), y2: At::Px(y) }
    }

    /// A block from `x` to `to` %, `y` pixels down, `height` pixels high.
    #[must_use]
    pub fn block(class: &str, x: f64, to: f64, y: f64, height: f64) -> Self {
        Self::patterned(class, None, x, to, y, height)
    }

    /// A block filled with a pattern by its id.
    #[must_use]
    pub fn patterned(
        class: &str,
        pattern: Option<&'static str>,
        x: f64,
        to: f64,
        y: f64,
        height: f64,
    ) -> Self {
        Self::Rect {
            class: class.into(),
            pattern,
            x: At::Pc(x),
            width: At::Pc((to - x).max(0.0)),
            y: At::Px(y),
            height: At::Px(height),
            lift_px: 0.0,
        }
    }

    /// A place from `x` to `to` %, `y` pixels down and `height` high, that leads to `href`.
    #[must_use]
    pub fn lead(href: &str, words: String, (x, to): (f64, f64), y: f64, height: f64) -> Self {
        Self::Lead {
            href: href.into(),
            words,
            x: At::Pc(x),
            width: At::Pc((to - x).max(0.0)),
            y: At::Px(y),
            height: At::Px(height),
        }
    }

    /// A dot at `x` %, `y` pixels.
    #[must_use]
    pub fn dot(class: &str, x: f64, y: f64, r: f64) -> Self {
        Self::Dot { class: class.into(), cx: At::Pc(x), cy: At::Px(y), r }
    }

    /// Words at `x` % moved `dx` pixels, their foot at `y` pixels.
    #[must_use]
    pub fn text(class: &str, x: f64, dx: f64, y: f64, words: impl Into<String>) -> Self {
        Self::Text {
            class: class.trim().into(),
            x: At::Pc(x),
            dx,
            y: At::Px(y),
            dy: 0.0,
            words: words.into(),
        }
    }
}

/// An I-beam: how far a value may lie, at height `y` with ends `reach` pixels up and down.
pub fn whisker(marks: &mut Vec<Mark>, from: f64, to: f64, y: f64, reach: f64) {
    marks.push(Mark::level("ln thick", from, to, y));
    marks.push(Mark::stem("ln thick", from, y - reach, y + reach));
    marks.push(Mark::stem("ln thick", to, y - reach, y + reach));
}

/// A drawn picture: its marks, its height and its sentence.
#[derive(Debug, Clone, Template)]
#[template(path = "pictures/drawing.html")]
pub struct Drawing {
    /// Classes of the svg.
    pub class: String,
    /// Instants for the page's script, milliseconds since 1970 (UTC), as `data-` attributes.
    pub data: Vec<(&'static str, i64)>,
    /// Height in pixels.
    pub height_px: f64,
    /// The picture in a sentence; empty when it only repeats what stands beside it in words.
    pub label: String,
    /// Shapes in the units of an axis, drawn first.
    pub shapes: Option<Shapes>,
    /// Everything else, in order.
    pub marks: Vec<Mark>,
}
// Its template escapes every word it is given.
impl askama::filters::HtmlSafe for Drawing {}

impl Drawing {
    /// Some of its places lead on: then it is a group of links, no image whose inside nobody reaches.
    fn leads(&self) -> bool {
        self.marks.iter().any(|mark| matches!(mark, Mark::Lead { .. }))
    }
}

/// Paths whose numbers are in the units of an axis: x from 0 to `width`, y from 0 (foot) to `height`.
#[derive(Debug, Clone, PartialEq)]
pub struct Shapes {
    /// Extent of the lying axis.
    pub width: f64,
    /// Extent of the upright axis.
    pub height: f64,
    /// Height of the plot in pixels.
    pub height_px: f64,
    /// Class and path data.
    pub paths: Vec<(String, String)>,
}

/// Width words may take, in pixels at 16 px to the rem and the size of labels (14 px).
///
/// A little more than measured of the bundled face, so that a label is rather dropped than cut.
#[must_use]
pub fn words_px(words: &str, bold: bool) -> f64 {
    let per_letter = if bold { 7.9 } else { 7.3 };
    words.chars().map(|letter| if "iljtf.,:;'| ".contains(letter) { 0.62 } else { 1.0 }).sum::<f64>()
        * per_letter
}

/// Narrowest pictures, in rem, for which `pictures.css` has a class.
const WIDTHS_REM: [u16; 15] = [20, 24, 28, 34, 42, 48, 52, 58, 64, 68, 74, 82, 90, 100, 110];

/// Narrowest picture every label must live with: a page of 320 px less its edges.
const NARROWEST_PX: f64 = 288.0;

/// The class that shows a label of `need_px` pixels only where `share` % of the picture hold it.
///
/// Empty when it always fits, none when it does on no screen.
#[must_use]
pub fn fit(need_px: f64, share: f64) -> Option<String> {
    if share <= 0.0 {
        return None;
    }
    let picture_px = need_px * 100.0 / share;
    if picture_px <= NARROWEST_PX {
        return Some(String::new());
    }
    WIDTHS_REM.iter().find(|width| f64::from(**width) * 16.0 >= picture_px).map(|width| format!(" w{width}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_written_short() {
        for (at, words) in
            [(At::Pc(14.375), "14.38%"), (At::Pc(60.0), "60%"), (At::Px(-0.001), "0"), (At::Px(7.5), "7.5")]
        {
            assert_eq!(at.to_string(), words);
        }
    }

    #[test]
    fn a_label_that_fits_nowhere_is_dropped() {
        assert_eq!(fit(100.0, 100.0).as_deref(), Some(""));
        assert_eq!(
            fit(100.0, 31.0).as_deref(),
            Some(" w24"),
            "100 px in 31 % need 323 px, the next class is 24 rem = 384 px"
        );
        assert_eq!(fit(100.0, 5.0), None, "2000 px");
        assert_eq!(fit(1.0, 0.0), None);
    }

    #[test]
    fn every_width_has_its_class_in_the_sheet() {
        let sheet = include_str!("../../../static/css/pictures.css");
        for width in WIDTHS_REM {
            assert!(
                sheet.contains(&format!("(min-width: {width}rem) {{ .w{width} {{ display: initial; }} }}")),
                "{width}"
            );
        }
    }

    #[test]
    fn every_pattern_is_on_the_page() {
        let page = include_str!("../../../templates/parts/patterns.html");
        for pattern in Pattern::DRAWN {
            assert!(page.contains(&format!("<pattern id=\"{}\"", pattern.id().unwrap())), "{pattern:?}");
        }
        for verdict in [Verdict::Clear, Verdict::Test, Verdict::Wait, Verdict::Refuse] {
            assert!(page.contains(&format!("<symbol id=\"v-{}\"", verdict.class())), "{verdict:?}");
        }
        assert_eq!(Pattern::Blank.id(), None);
    }
}
