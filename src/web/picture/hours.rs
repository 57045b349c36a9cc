//! Hours of weeks to come: what is booked as a bar, what will be wanted as a dot with its band, what is open as a line over it.

use super::mark::{Drawing, Mark};
use super::weeks::{FOOT_PX, Fill, Scale, column, foot};

/// One week's hours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeekHours {
    /// In the book.
    pub booked: f64,
    /// Will be wanted: low, mean, high.
    pub wanted: (f64, f64, f64),
    /// Open.
    pub open: f64,
}

/// The picture.
#[derive(Debug, Clone, PartialEq)]
pub struct HoursAhead {
    /// Each week's first day in words, in order.
    pub weeks: Vec<String>,
    /// Their hours.
    pub hours: Vec<WeekHours>,
    /// The picture in a sentence.
    pub label: String,
}

/// Hours open this many times what may be wanted lie above the picture: drawn in, they would press all else to its foot.
const FAR_ABOVE: f64 = 3.0;

impl HoursAhead {
    /// What the picture has to hold.
    fn highest(&self) -> Vec<f64> {
        let wanted: Vec<f64> = self.hours.iter().flat_map(|h| [h.booked, h.wanted.2]).collect();
        let most = wanted.iter().copied().fold(1.0, f64::max);
        let open = self.hours.iter().map(|h| h.open).filter(|open| *open <= most * FAR_ABOVE);
        open.chain(wanted.iter().copied()).collect()
    }

    /// Some hours open lie above the picture.
    #[must_use]
    pub fn is_cut(&self) -> bool {
        let most = Scale::holding(self.highest(), 1.0).most;
        self.hours.iter().any(|h| h.open > most)
    }

    /// Draws it.
    #[must_use]
    pub fn draw(&self) -> Drawing {
        let height_px = 240.0;
        let scale = Scale::holding(self.highest(), height_px);
        let mut marks = Vec::new();
        scale.lines(&mut marks);
        for (n, hours) in self.hours.iter().enumerate() {
            let (from, to) = column(n, self.hours.len());
            let middle = f64::midpoint(from, to);
            if hours.booked > 0.0 {
                let top = scale.y(hours.booked);
                marks.push(Fill::Tone.block(from, to, top, height_px - top));
            }
            if hours.open <= scale.most {
                marks.push(Mark::level("ln beam", from, to, scale.y(hours.open)));
            }
            let (low, mean, high) = hours.wanted;
            let third = (to - from) / 5.0;
            marks.push(Mark::stem("ln thick", middle, scale.y(high), scale.y(low)));
            marks.push(Mark::level("ln thick", middle - third, middle + third, scale.y(high)));
            marks.push(Mark::level("ln thick", middle - third, middle + third, scale.y(low)));
            marks.push(Mark::dot("fill", middle, scale.y(mean), 4.5));
        }
        scale.words(&mut marks, tr!("hours"));
        foot(&mut marks, &self.weeks, None, height_px);
        Drawing {
            class: "hours-ahead".into(),
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
    use super::super::mark::At;
    use super::*;

    #[test]
    fn hours_far_above_what_is_wanted_are_left_out_and_said_so() {
        let week = |open| WeekHours { booked: 12.0, wanted: (20.0, 26.0, 33.0), open };
        let picture = |open| HoursAhead {
            weeks: vec!["1 Jun".into(); 12],
            hours: vec![week(open); 12],
            label: "x".into(),
        };
        let strokes = |p: &HoursAhead| {
            p.draw()
                .marks
                .iter()
                .filter(|m| matches!(m, Mark::Line { class, .. } if class == "ln beam"))
                .count()
        };
        let (near, far) = (picture(90.0), picture(900.0));
        assert!(!near.is_cut() && far.is_cut());
        assert_eq!((strokes(&near), strokes(&far)), (12, 0));
    }

    #[test]
    fn the_dot_lies_on_its_band_and_nothing_leaves_the_picture() {
        let week = WeekHours { booked: 12.0, wanted: (20.0, 26.0, 33.0), open: 90.0 };
        let picture =
            HoursAhead { weeks: vec!["1 Jun".into(); 12], hours: vec![week; 12], label: "x".into() };
        let drawn = picture.draw();
        let within = |at: &At| {
            matches!(at, At::Px(y) if (0.0..=266.0).contains(y))
                || matches!(at, At::Pc(x) if (0.0..=100.0).contains(x))
        };
        for mark in &drawn.marks {
            if let Mark::Line { x1, x2, y1, y2, .. } = mark {
                assert!([x1, x2, y1, y2].into_iter().all(within), "{mark:?}");
            }
        }
        assert_eq!(drawn.marks.iter().filter(|m| matches!(m, Mark::Dot { .. })).count(), 12);
    }
}
