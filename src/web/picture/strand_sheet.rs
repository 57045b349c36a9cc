//! Draws a strand ruler: brackets above, the hair, findings under it, the scale at the foot.

use super::mark::{At, Mark, Verdict, fit, whisker, words_px};
use super::strand_ruler::{Size, StrandRuler};
use crate::domain::length;
use crate::words::{Unit, measuring};

/// Half-width of a whisker in standard deviations: 95 % of a normal distribution.
const WHISKER_SD: f64 = 1.96;

/// The sheet a ruler is being drawn on.
pub(super) struct Sheet<'a> {
    /// What is drawn.
    pub ruler: &'a StrandRuler,
    /// The scale's end.
    pub scale_mm: f64,
    /// What is drawn so far.
    pub marks: Vec<Mark>,
}

impl Sheet<'_> {
    fn pc(&self, mm: f64) -> f64 {
        (mm / self.scale_mm * 100.0).clamp(0.0, 100.0)
    }

    /// Draws everything large; gives the height.
    pub(super) fn large(&mut self) -> f64 {
        let rows = self.ruler.planned.len() as f64;
        let (beam, top, height) = match (rows > 0.0, self.ruler.edges.is_empty()) {
            (true, _) => (rows * 44.0 + 14.0, rows * 44.0 + 36.0, 56.0),
            (false, false) => (50.0, 78.0, 64.0),
            (false, true) => (0.0, 34.0, 64.0),
        };
        if rows > 0.0 {
            self.brackets(44.0);
        } else {
            self.marks.push(Mark::text("soft", 0.0, 0.0, 16.0, tr!("scalp")));
            let end = self.pc(self.ruler.length_mm);
            self.marks.push(Mark::text(
                "soft end",
                end,
                0.0,
                16.0,
                tr!("ends {}", length::figure(self.ruler.length_mm)),
            ));
            self.edge_numbers(38.0);
        }
        self.hair(top, height);
        self.edges(beam, top + height + 8.0);
        self.numbers(top, height);
        self.marks.push(Mark::stem("ln scalp", 0.0, top - 10.0, top + height + 10.0));
        let foot = self.findings(top + height);
        self.axis(foot + 52.0)
    }

    /// Draws it small; gives the height.
    pub(super) fn small(&mut self) -> f64 {
        let rows = self.ruler.planned.len() as f64;
        self.brackets(34.0);
        let (top, height) = (rows * 34.0 + 8.0, 26.0);
        self.hair(top, height);
        self.numbers(top, height);
        self.marks.push(Mark::stem("ln scalp", 0.0, top - 6.0, top + height + 6.0));
        self.edge_millimetres(top + height + 22.0);
        top + height + 30.0
    }

    fn brackets(&mut self, pitch: f64) {
        for (row, planned) in self.ruler.planned.iter().enumerate() {
            let (from, to, y) = (self.pc(planned.from_mm), self.pc(planned.to_mm), row as f64 * pitch + 22.0);
            self.marks.push(Mark::level("ln thick", from, to, y));
            self.marks.push(Mark::stem("ln thick", from, y, y + 8.0));
            self.marks.push(Mark::stem("ln thick", to, y, y + 8.0));
            let indent = if planned.letter.is_empty() { 0.0 } else { 18.0 };
            if indent > 0.0 {
                self.marks.push(Mark::text("b", from, 0.0, y - 6.0, planned.letter.clone()));
            }
            if let Some(class) = fit(indent + words_px(&planned.words, true), 100.0 - from) {
                self.marks.push(Mark::text(
                    &format!("b{class}"),
                    from,
                    indent,
                    y - 6.0,
                    planned.words.clone(),
                ));
            }
        }
    }

    fn hair(&mut self, top: f64, height: f64) {
        for piece in &self.ruler.pieces {
            let (from, to) = (self.pc(piece.from_mm), self.pc(piece.to_mm));
            self.marks.push(Mark::block("fill-bg edge", from, to, top, height));
            let lane_px = height / piece.lanes.len().max(1) as f64;
            for (row, lane) in piece.lanes.iter().enumerate() {
                if let Some(id) = lane.pattern.id() {
                    self.marks.push(Mark::patterned(
                        "",
                        Some(id),
                        from,
                        to,
                        top + row as f64 * lane_px,
                        lane_px,
                    ));
                }
            }
            self.marks.push(Mark::block("ln thick", from, to, top, height));
            if !piece.refused.is_empty() {
                let reach = if self.ruler.size == Size::Large { 5.0 } else { 0.0 };
                self.marks.push(Mark::block("past", from, to, top, height));
                self.marks.push(Mark::patterned(
                    "edge-danger",
                    Some("p-refuse"),
                    from,
                    to,
                    top - reach,
                    height + 2.0 * reach,
                ));
            }
        }
        if self.ruler.cut_mm > 0.0 {
            let (from, to) =
                (self.pc(self.ruler.length_mm), self.pc(self.ruler.length_mm + self.ruler.cut_mm));
            self.marks.push(Mark::block("ln dash", from, to, top, height));
            let words = tr!("cut, {}", length::said(self.ruler.cut_mm));
            if let Some(class) = fit(20.0 + words_px(&words, false), to - from) {
                self.marks.push(Mark::text(
                    &format!("soft{class}"),
                    from,
                    10.0,
                    top + height / 2.0 + 5.0,
                    words,
                ));
            }
        }
    }

    /// The number of each piece, its words where they fit, the plate of a refused one.
    fn numbers(&mut self, top: f64, height: f64) {
        let numbered = self.ruler.size == Size::Large && self.ruler.pieces.len() > 1;
        for (at, piece) in self.ruler.pieces.iter().enumerate() {
            let (from, share) = (self.pc(piece.from_mm), self.pc(piece.to_mm) - self.pc(piece.from_mm));
            let middle = top + height / 2.0;
            let number = if numbered { format!("{} ", at + 1) } else { String::new() };
            if !piece.refused.is_empty() {
                self.plate(from, share, middle, &format!("{number}{}", piece.refused), &number);
                continue;
            }
            let indent = if numbered { 26.0 } else { 10.0 };
            if numbered && let Some(class) = fit(20.0, share) {
                self.marks.push(Mark::text(
                    &format!("halo b{class}"),
                    from,
                    8.0,
                    middle + 5.0,
                    number.trim(),
                ));
            }
            let lane_px = height / piece.lanes.len().max(1) as f64;
            let lanes: Vec<&str> = if piece.lanes.is_empty() {
                vec![&piece.words]
            } else {
                piece.lanes.iter().map(|lane| lane.words.as_str()).collect()
            };
            // Words need 18 px of height: with more lanes they are in the table alone.
            for (row, words) in
                lanes.into_iter().enumerate().filter(|(_, words)| lane_px >= 18.0 && !words.is_empty())
            {
                if let Some(class) = fit(indent + words_px(words, false) + 8.0, share) {
                    let y = top + (row as f64 + 0.5) * lane_px + 5.0;
                    self.marks.push(Mark::text(&format!("halo{class}"), from, indent, y, words));
                }
            }
        }
    }

    fn plate(&mut self, from: f64, share: f64, middle: f64, words: &str, number: &str) {
        let width_px = words_px(words, true) + 18.0;
        if let Some(class) = fit(width_px + 14.0, share) {
            self.marks.push(Mark::Plate {
                class: class.trim().into(),
                x: At::Pc(from),
                dx: 10.0,
                y: At::Px(middle - 14.0),
                width_px,
                words: words.into(),
            });
        } else if let Some(class) = fit(20.0, share).filter(|_| !number.is_empty()) {
            self.marks.push(Mark::text(
                &format!("halo danger{class}"),
                from,
                6.0,
                middle + 5.0,
                number.trim(),
            ));
        }
    }

    fn edges(&mut self, beam: f64, foot: f64) {
        for edge in &self.ruler.edges {
            let reach = WHISKER_SD * edge.sd_mm;
            if reach > 0.0 {
                let (from, to) = (self.pc(edge.at_mm - reach), self.pc(edge.at_mm + reach));
                whisker(&mut self.marks, from, to, beam, 5.0);
            }
            self.marks.push(Mark::stem("ln beam", self.pc(edge.at_mm), beam, foot));
        }
    }

    fn edge_numbers(&mut self, y: f64) {
        let mut before: Option<(f64, f64)> = None;
        for edge in &self.ruler.edges {
            let reach = (WHISKER_SD * edge.sd_mm).round();
            let at = length::figure(edge.at_mm);
            let words = if reach > 0.0 { format!("{at} ± {}", length::figure(reach)) } else { at };
            self.centred("b", edge.at_mm, y, &words, true, &mut before);
        }
    }

    fn edge_millimetres(&mut self, y: f64) {
        self.marks.push(Mark::text("soft", 0.0, 0.0, y, tr!("scalp")));
        let length = self.ruler.length_mm;
        let end = length::said(length);
        let mut before = Some((0.0, words_px(tr!("scalp"), false) * 2.0));
        for edge in self.ruler.edges.iter().filter(|edge| edge.at_mm < length) {
            let words = length::figure(edge.at_mm);
            let room = self.pc(length) - self.pc(edge.at_mm);
            if fit(words_px(&end, false) + words_px(&words, false), room).is_some() {
                self.centred("soft", edge.at_mm, y, &words, false, &mut before);
            }
        }
        self.marks.push(Mark::text("soft end", self.pc(length), 0.0, y, end));
    }

    /// Words centred over a millimetre, shown where they do not run into those before or the margin.
    fn centred(
        &mut self,
        class: &str,
        mm: f64,
        y: f64,
        words: &str,
        bold: bool,
        before: &mut Option<(f64, f64)>,
    ) {
        let (at, px) = (self.pc(mm), words_px(words, bold));
        let to_margin = fit(px / 2.0, at.min(100.0 - at).max(0.1));
        let to_last =
            before.map_or(Some(String::new()), |(last, last_px)| fit((px + last_px) / 2.0 + 6.0, at - last));
        if let (Some(margin), Some(last)) = (to_margin, to_last) {
            let wider = if width_of(&margin) > width_of(&last) { margin } else { last };
            self.marks.push(Mark::text(&format!("mid {class}{wider}"), at, 0.0, y, words));
            *before = Some((at, px));
        }
    }

    /// Lines under the hair; gives the foot of the last.
    fn findings(&mut self, hair_foot: f64) -> f64 {
        let mut y = hair_foot + 6.0;
        for found in &self.ruler.found {
            y += 22.0;
            let (from, to) = (self.pc(found.from_mm), self.pc(found.to_mm));
            match found.verdict {
                Verdict::Refuse => self.marks.push(Mark::level("bar-danger", from, to, y)),
                Verdict::Wait => self.marks.push(Mark::level("ln beam dots", from, to, y)),
                Verdict::Clear => self.marks.push(Mark::level("ln thick", from, to, y)),
                Verdict::Test => {
                    self.marks.push(Mark::level("ln beam", from, to, y));
                    self.marks.push(Mark::dot("ring", f64::midpoint(from, to), y, 6.0));
                }
            }
            let words = format!("{} {}", found.number, found.verdict.word());
            let class = if found.verdict == Verdict::Refuse { "halo danger" } else { "halo" };
            let fits =
                |share: f64| fit(words_px(&words, true) + 12.0, share).is_some_and(|class| class.is_empty());
            // After the line, else before it, else on it: the number is always to be seen.
            self.marks.push(if fits(100.0 - to) {
                Mark::text(class, to, 8.0, y + 5.0, words)
            } else if fits(from) {
                Mark::text(&format!("{class} end"), from, -8.0, y + 5.0, words)
            } else if from > 50.0 {
                Mark::text(&format!("{class} end"), to, -14.0, y + 5.0, words)
            } else {
                Mark::text(class, from, 14.0, y + 5.0, words)
            });
        }
        if self.ruler.found.is_empty() { hair_foot } else { y - 4.0 }
    }

    /// The scale at height `y`: the unit wished above, the other below; gives the foot of the picture.
    fn axis(&mut self, y: f64) -> f64 {
        let (words_mm, tick_mm, words_in) = match self.scale_mm {
            scale if scale <= 80.0 => (20.0, 5.0, 1.0),
            scale if scale <= 200.0 => (50.0, 10.0, 1.0),
            scale if scale <= 500.0 => (100.0, 20.0, 2.0),
            _ => (200.0, 50.0, 5.0),
        };
        self.marks.push(Mark::level("ln thick", 0.0, 100.0, y));
        let [mm, inch] = match measuring() {
            Unit::Mm => [true, false],
            Unit::Inch => [false, true],
        };
        self.scale(y, mm, (words_mm, tick_mm), (1.0, "mm"));
        self.scale(y, inch, (words_in, words_in / 4.0), (length::MM_PER_INCH, "in"));
        y + 30.0
    }

    /// One scale, above the line or below it: words and ticks in its own unit, of so many mm each. Below the line
    /// there is a tick where there are words.
    fn scale(&mut self, y: f64, above: bool, (words, tick): (f64, f64), (each_mm, symbol): (f64, &str)) {
        let end = self.scale_mm / each_mm;
        for at in steps(if above { tick } else { words }, end) {
            let reach = match (above, (at / words).fract() == 0.0) {
                (true, true) => -10.0,
                (true, false) => -5.0,
                (false, _) => 7.0,
            };
            let (from, to) = if above { (y + reach, y) } else { (y, y + reach) };
            self.marks.push(Mark::stem("ln", self.pc(at * each_mm), from, to));
        }
        for at in steps(words, end) {
            let said = if at == 0.0 { format!("0 {symbol}") } else { format!("{at:.0}") };
            self.scale_words(at * each_mm, if above { y - 14.0 } else { y + 22.0 }, said);
        }
    }

    fn scale_words(&mut self, at_mm: f64, y: f64, words: String) {
        let at = self.pc(at_mm);
        let class = match at {
            0.0 => "soft",
            at if at > 98.0 => "soft end",
            _ => "soft mid",
        };
        self.marks.push(Mark::text(class, at, 0.0, y, words));
    }
}

fn steps(step: f64, end: f64) -> impl Iterator<Item = f64> {
    (0..).map(move |count| f64::from(count) * step).take_while(move |at| *at <= end + 1e-9)
}

/// The rem of a class of [`fit`], 0 for none.
fn width_of(class: &str) -> u16 {
    class.trim().strip_prefix('w').and_then(|rem| rem.parse().ok()).unwrap_or(0)
}
