//! The arrow of the head map: from the section in hand to the next, in the drawing's own units. Quadrants go round
//! on a ring of their lap; blocks take the channels between the rows; the hairline is entered from below.

use super::head_map::Lap;
use crate::domain::protocol::Section;

/// Centre of the drawing and radii of its rings (200 by 214).
const CENTRE: (f64, f64) = (100.0, 107.0);
const INNER: (f64, f64) = (82.0, 86.5);
const OUTER: (f64, f64) = (90.0, 95.0);

/// Columns and rows of the nine blocks: where each begins and ends (pictures.css has the same tracks).
const COLUMNS: [(f64, f64); 3] = [(10.0, 66.0), (72.0, 128.0), (134.0, 190.0)];
const ROWS: [(f64, f64); 3] = [(14.0, 72.0), (78.0, 136.0), (142.0, 200.0)];

/// Paths of an arrow: its line and its point.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Arrow {
    /// The line, open.
    pub line: String,
    /// The point, closed.
    pub point: String,
}

/// Where an arrow's point looks.
#[derive(Clone, Copy)]
enum Looks {
    Up,
    Down,
    Left,
    Right,
}

/// A point with its tip at a place.
fn point(looks: Looks, (x, y): (f64, f64)) -> String {
    match looks {
        Looks::Up => format!("M{x} {y}l-7 11h14z"),
        Looks::Down => format!("M{x} {y}l-7 -11h14z"),
        Looks::Left => format!("M{x} {y}l11 -7v14z"),
        Looks::Right => format!("M{x} {y}l-11 -7v14z"),
    }
}

/// The arrow from one section to another; none where none can be drawn without crossing a third.
pub fn between(from: Section, to: Section, lap: Lap) -> Option<Arrow> {
    match (to, quadrant(from), quadrant(to)) {
        (Section::Hairline, _, _) => Some(to_hairline(from)),
        (_, Some(a), Some(b)) => round(a, b, lap),
        _ => Some(through_channels(cell(from)?, cell(to)?)),
    }
}

/// A quadrant's turn, clockwise from above, from the back right.
fn quadrant(section: Section) -> Option<usize> {
    Section::QUADRANTS.iter().position(|q| *q == section)
}

/// Along a quarter of the ring, either way round.
fn round(from: usize, to: usize, lap: Lap) -> Option<Arrow> {
    let ((x, y), (rx, ry)) = match lap {
        Lap::First => (CENTRE, INNER),
        Lap::Second => (CENTRE, OUTER),
    };
    // Where each quadrant's arc begins, clockwise, and where the point after it ends.
    let begins = [(x + rx, y), (x, y + ry), (x - rx, y), (x, y - ry)];
    let shortened = [(x + 4.0, y + ry), (x - rx, y + 4.0), (x - 4.0, y - ry), (x + rx, y - 4.0)];
    let tips = [(x - 4.0, y + ry), (x - rx, y - 4.0), (x + 4.0, y - ry), (x + rx, y + 4.0)];
    let looks = [Looks::Left, Looks::Up, Looks::Right, Looks::Down];
    if to == (from + 1) % 4 {
        let (a, b) = (begins[from], shortened[from]);
        let line = format!("M{} {}A{rx} {ry} 0 0 1 {} {}", a.0, a.1, b.0, b.1);
        return Some(Arrow { line, point: point(looks[from], tips[from]) });
    }
    if from == (to + 1) % 4 {
        // The other way: from where this quadrant's own arc ends back over its beginning.
        let a = begins[(from + 1) % 4];
        let (end, tip, looks) = match from {
            0 => ((x + rx, y + 4.0), (x + rx, y - 4.0), Looks::Up),
            1 => ((x + 4.0, y + ry), (x + 4.0, y + ry), Looks::Right),
            2 => ((x - rx, y - 4.0), (x - rx, y + 4.0), Looks::Down),
            _ => ((x - 4.0, y - ry), (x - 4.0, y - ry), Looks::Left),
        };
        let line = format!("M{} {}A{rx} {ry} 0 0 0 {} {}", a.0, a.1, end.0, end.1);
        return Some(Arrow { line, point: point(looks, tip) });
    }
    None
}

/// Column and row of a block.
const fn cell(section: Section) -> Option<(usize, usize)> {
    Some(match section {
        Section::LeftTop => (0, 0),
        Section::CentreTop => (1, 0),
        Section::RightTop => (2, 0),
        Section::LeftCrown => (0, 1),
        Section::CentreCrown => (1, 1),
        Section::RightCrown => (2, 1),
        Section::LeftNape => (0, 2),
        Section::CentreNape => (1, 2),
        Section::RightNape => (2, 2),
        _ => return None,
    })
}

fn middle((from, to): (f64, f64)) -> f64 {
    f64::midpoint(from, to)
}

/// From block to block: over the gap to a neighbour, else by the channels between rows and columns.
fn through_channels((fc, fr): (usize, usize), (tc, tr): (usize, usize)) -> Arrow {
    if fr == tr && fc.abs_diff(tc) == 1 {
        let y = middle(ROWS[fr]);
        let (start, tip, looks) = if tc > fc {
            (COLUMNS[fc].1 - 4.0, COLUMNS[tc].0 + 6.0, Looks::Right)
        } else {
            (COLUMNS[fc].0 + 4.0, COLUMNS[tc].1 - 6.0, Looks::Left)
        };
        let end = if tc > fc { tip - 8.0 } else { tip + 8.0 };
        return Arrow { line: format!("M{start} {y}H{end}"), point: point(looks, (tip, y)) };
    }
    let (x0, x1) = (middle(COLUMNS[fc]), middle(COLUMNS[tc]));
    let up = tr <= fr;
    // The channel the arrow leaves into and the one it arrives by.
    let leave = match (tr < fr, fr) {
        (true, _) => ROWS[fr].0 - 3.0,
        (false, 2) => ROWS[2].1 + 6.0,
        (false, _) => ROWS[fr].1 + 3.0,
    };
    let arrive = if up { if tr == fr { leave } else { ROWS[tr].1 + 3.0 } } else { ROWS[tr].0 - 3.0 };
    let edge = if tr < fr { ROWS[fr].0 + 3.0 } else { ROWS[fr].1 - 3.0 };
    let (tip, looks) = if up { (ROWS[tr].1 - 6.0, Looks::Up) } else { (ROWS[tr].0 + 6.0, Looks::Down) };
    let end = if up { tip + 8.0 } else { tip - 8.0 };
    let line = if (leave - arrive).abs() < 0.5 {
        format!("M{x0} {edge}V{leave}H{x1}V{end}")
    } else {
        let aside = if tc == 0 { 69.0 } else { 131.0 };
        format!("M{x0} {edge}V{leave}H{aside}V{arrive}H{x1}V{end}")
    };
    Arrow { line, point: point(looks, (x1, tip)) }
}

/// Up into the band over the forehead, on the side it comes from.
fn to_hairline(from: Section) -> Arrow {
    // A block's words are nearer its edge than a quadrant's.
    let (x, start) = match from {
        Section::FrontLeft | Section::BackLeft => (80.0, 30.0),
        Section::FrontRight | Section::BackRight => (120.0, 30.0),
        other => (cell(other).map_or(100.0, |(column, _)| middle(COLUMNS[column])), 18.0),
    };
    Arrow { line: format!("M{x} {start}V4"), point: point(Looks::Up, (x, -5.0)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Section::{
        BackLeft, BackRight, CentreCrown, CentreNape, FrontLeft, FrontRight, Hairline, LeftNape, LeftTop,
        RightCrown, RightNape, RightTop,
    };

    fn arrow(from: Section, to: Section) -> Arrow {
        between(from, to, Lap::Second).expect("an arrow")
    }

    #[test]
    fn quadrants_go_round_either_way_and_not_across() {
        let clockwise = arrow(BackRight, BackLeft);
        assert_eq!(clockwise.line, "M190 107A90 95 0 0 1 104 202", "as on the drawing");
        assert_eq!(clockwise.point, "M96 202l11 -7v14z", "as on the drawing");
        assert_eq!(arrow(FrontLeft, FrontRight).line, "M10 107A90 95 0 0 1 96 12");
        let back = arrow(BackLeft, BackRight);
        assert_eq!(back.line, "M10 107A90 95 0 0 0 104 202");
        assert_eq!(between(BackLeft, FrontRight, Lap::First), None, "no arrow across the head");
        assert!(arrow(FrontRight, Hairline).line.starts_with("M120 30"));
    }

    #[test]
    fn a_block_is_left_for_its_neighbour_over_the_gap_and_for_others_by_a_channel() {
        assert_eq!(arrow(CentreNape, LeftNape).line, "M76 171H68");
        assert_eq!(arrow(LeftNape, RightNape).line, "M38 197V206H162V202", "under the nape");
        assert_eq!(arrow(RightNape, CentreCrown).line, "M162 145V139H100V138", "between nape and crown");
        assert_eq!(arrow(RightCrown, LeftTop).line, "M162 81V75H38V74", "between crown and top");
        assert_eq!(arrow(LeftTop, RightTop).line, "M38 69V75H162V74");
        assert_eq!(arrow(RightTop, LeftNape).line, "M162 69V75H69V139H38V140", "by the gap between columns");
    }

    #[test]
    fn no_arrow_leaves_the_drawing() {
        for from in Section::ALL {
            for to in Section::ALL.into_iter().filter(|to| *to != from) {
                let Some(arrow) = between(from, to, Lap::Second) else { continue };
                let numbers = arrow.line.split(|c: char| !c.is_ascii_digit() && c != '.' && c != '-');
                for n in numbers.filter(|n| !n.is_empty()) {
                    let n: f64 = n.parse().expect("a number");
                    assert!((-6.0..=214.0).contains(&n), "{from:?} to {to:?}: {}", arrow.line);
                }
            }
        }
    }
}
