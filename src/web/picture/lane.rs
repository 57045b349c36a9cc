//! A scarce place on the Floor's axis, and who is at it when.

use super::axis::{NOW_PC, pc};
use super::mark::{Drawing, Mark, fit, words_px};

/// Somebody at a place.
#[derive(Debug, Clone, PartialEq)]
pub struct LaneBlock {
    /// Minutes from now.
    pub from_min: f64,
    /// Minutes from now.
    pub to_min: f64,
    /// "Ilka D."
    pub words: String,
}

/// Two who will want one place, or one pair of hands, at once.
#[derive(Debug, Clone, PartialEq)]
pub struct Clash {
    /// Minutes from now.
    pub from_min: f64,
    /// Minutes from now.
    pub to_min: f64,
    /// "14:20 two rinses, one basin".
    pub words: String,
}

/// A place and who is at it when.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaceLane {
    /// "basin".
    pub name: String,
    /// Who, in order of beginning.
    pub blocks: Vec<LaneBlock>,
    /// Trouble ahead.
    pub clashes: Vec<Clash>,
    /// The lane in a sentence.
    pub label: String,
}

impl PlaceLane {
    /// Draws the lane. Blocks that overlap stand one under the other.
    #[must_use]
    pub fn draw(&self) -> Drawing {
        let mut marks = vec![Mark::text("b", 0.0, 0.0, 19.0, self.name.clone())];
        let rows = stacked(&self.blocks);
        // The past is washed out, its words stay legible: they go over the wash.
        let mut past = vec![Mark::block("past", 0.0, NOW_PC, 24.0, 44.0)];
        for (block, (row, of)) in self.blocks.iter().zip(&rows) {
            let (from, to) = (pc(block.from_min).clamp(0.0, 100.0), pc(block.to_min).clamp(0.0, 100.0));
            if to <= from {
                continue;
            }
            let height = 40.0 / *of as f64;
            let y = 26.0 + *row as f64 * height;
            marks.push(Mark::block("fill gap", from, to, y, height));
            let (class, into) = if to <= NOW_PC { ("", &mut past) } else { ("inv", &mut marks) };
            if height >= 18.0
                && let Some(fits) = fit(words_px(&block.words, false) + 10.0, to - from)
            {
                into.push(Mark::text(
                    &format!("{class}{fits}"),
                    from,
                    6.0,
                    y + height / 2.0 + 5.0,
                    block.words.clone(),
                ));
            }
        }
        marks.append(&mut past);
        let shown = self.clashes.iter().filter(|clash| clash.to_min > -NOW_PC && clash.from_min < 75.0);
        for (nth, clash) in shown.enumerate() {
            let (from, to) = (pc(clash.from_min).clamp(0.0, 100.0), pc(clash.to_min).clamp(0.0, 100.0));
            marks.push(Mark::level("ln beam", from, to, 17.0));
            marks.push(Mark::stem("ln beam", from, 10.0, 24.0));
            marks.push(Mark::stem("ln beam", to, 10.0, 24.0));
            // Words of a later one would lie over these; all are said in the Floor's "Ahead".
            if nth > 0 {
                continue;
            }
            let need = words_px(&clash.words, true) + 12.0;
            if let Some(class) = fit(need, 100.0 - to) {
                marks.push(Mark::text(&format!("b{class}"), to, 10.0, 21.0, clash.words.clone()));
            } else if let Some(class) = fit(need, from) {
                marks.push(Mark::text(&format!("b end{class}"), from, -10.0, 21.0, clash.words.clone()));
            }
        }
        Drawing {
            class: "places".into(),
            data: Vec::new(),
            height_px: 76.0,
            label: self.label.clone(),
            shapes: None,
            marks,
        }
    }
}

/// The row of each block, and how many rows stand together where it lies.
fn stacked(blocks: &[LaneBlock]) -> Vec<(usize, usize)> {
    let mut rows: Vec<usize> = Vec::with_capacity(blocks.len());
    let mut groups: Vec<usize> = Vec::with_capacity(blocks.len());
    let (mut ends, mut group, mut deepest): (Vec<f64>, usize, Vec<usize>) = (Vec::new(), 0, vec![1]);
    for block in blocks {
        if !ends.is_empty() && ends.iter().all(|end| *end <= block.from_min) {
            ends.clear();
            group += 1;
            deepest.push(1);
        }
        let row = ends.iter().position(|end| *end <= block.from_min).unwrap_or(ends.len());
        if row == ends.len() {
            ends.push(block.to_min)
        } else {
            ends[row] = block.to_min
        }
        deepest[group] = ends.len();
        rows.push(row);
        groups.push(group);
    }
    rows.into_iter().zip(groups).map(|(row, group)| (row, deepest[group])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(from_min: f64, to_min: f64) -> LaneBlock {
        LaneBlock { from_min, to_min, words: "A".into() }
    }

    #[test]
    fn who_overlaps_stands_one_under_the_other_and_who_follows_does_not() {
        let rows = stacked(&[
            block(0.0, 5.0),
            block(5.0, 9.0),
            block(12.0, 20.0),
            block(15.0, 23.0),
            block(21.0, 25.0),
            block(30.0, 31.0),
        ]);
        assert_eq!(rows, [(0, 1), (0, 1), (0, 2), (1, 2), (0, 2), (0, 1)]);
        assert!(stacked(&[]).is_empty());
    }
}
