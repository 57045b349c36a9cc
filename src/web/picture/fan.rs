//! The growth fan: new growth against days, the estimate with its 80 % band, the target, the due window.

use crate::domain::length;
use crate::words::{Unit, measuring};
use std::fmt::Write as _;

use super::mark::{At, Drawing, Mark, Shapes, fit, words_px};

/// A measurement.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// Days of growth it stands for.
    pub day: f64,
    /// Doubt in those days, to each side; 0 where the date is known.
    pub day_doubt: f64,
    /// What was measured, mm.
    pub mm: f64,
    /// Doubt to each side, mm.
    pub mm_doubt: f64,
    /// "26 Feb, 25 by ruler".
    pub words: String,
}

/// The due window on the fan.
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// First day.
    pub from_day: f64,
    /// Last day.
    pub to_day: f64,
    /// "due 14 to 29 May".
    pub words: String,
}

/// A fan as it is drawn. Rates in mm a day.
#[derive(Debug, Clone, PartialEq)]
pub struct Fan {
    /// Extent of the lying axis, days (25 weeks are 175).
    pub days: f64,
    /// Extent of the upright axis, mm.
    pub mm: f64,
    /// The estimate.
    pub rate: f64,
    /// Foot and top of the 80 % band.
    pub band: (f64, f64),
    /// Foot and top of what the table alone would say.
    pub prior: Option<(f64, f64)>,
    /// New growth a retouch needs, mm; 0 for none.
    pub target_mm: f64,
    /// Days since the last service, and their words ("today, 77 days").
    pub today: (f64, String),
    /// When it is due.
    pub due: Option<Due>,
    /// What was measured.
    pub measured: Vec<Measured>,
    /// The picture in a sentence.
    pub label: String,
}

/// Height of the whole picture and of the plot above its week line, px.
const HEIGHT_PX: f64 = 376.0;
const PLOT_PX: f64 = 350.0;

impl Fan {
    /// Draws it.
    #[must_use]
    pub fn draw(&self) -> Drawing {
        let mut marks = Vec::new();
        self.grid(&mut marks);
        self.now_and_due(&mut marks);
        for measured in &self.measured {
            self.measurement(&mut marks, measured);
        }
        Drawing {
            class: "fan".into(),
            data: Vec::new(),
            height_px: HEIGHT_PX,
            label: self.label.clone(),
            shapes: Some(self.band_shape()),
            marks: self.with_lines(marks),
        }
    }

    fn x(&self, day: f64) -> f64 {
        (day / self.days.max(1.0) * 100.0).clamp(0.0, 100.0)
    }

    fn y(&self, mm: f64) -> f64 {
        (PLOT_PX * (1.0 - mm / self.mm.max(1.0))).clamp(0.0, PLOT_PX)
    }

    /// The lines of the estimate are straight, so each is one mark from the scalp to where it leaves.
    fn with_lines(&self, rest: Vec<Mark>) -> Vec<Mark> {
        let line = |class: &str, rate: f64| {
            let (day, mm) = self.leaves(rate);
            Mark::Line {
                class: class.into(),
                x1: At::Pc(0.0),
                x2: At::Pc(self.x(day)),
                y1: At::Px(PLOT_PX),
                y2: At::Px(self.y(mm)),
            }
        };
        let mut marks = vec![line("ln thick", self.rate), line("ln", self.band.0), line("ln", self.band.1)];
        if let Some((low, high)) = self.prior {
            marks.push(line("ln prior", low));
            marks.push(line("ln prior", high));
        }
        marks.extend(rest);
        marks
    }

    /// Where a line of this rate leaves the plot: day and mm.
    fn leaves(&self, rate: f64) -> (f64, f64) {
        if rate * self.days <= self.mm {
            (self.days, (rate * self.days).max(0.0))
        } else {
            (self.mm / rate, self.mm)
        }
    }

    /// The band as a path in days and mm, its corner kept where it leaves the plot.
    #[must_use]
    pub fn band_shape(&self) -> Shapes {
        let (low, high) = (self.leaves(self.band.0), self.leaves(self.band.1));
        let mut data = format!("M0 0L{:.2} {:.2}", low.0, low.1);
        if high.0 < self.days && low.0 >= self.days {
            // Writing to a String cannot fail.
            let _ = write!(data, "L{:.2} {:.2}", self.days, self.mm);
        }
        let _ = write!(data, "L{:.2} {:.2}z", high.0, high.1);
        Shapes {
            width: self.days,
            height: self.mm,
            height_px: PLOT_PX,
            paths: vec![("fill-tone".into(), data)],
        }
    }

    fn grid(&self, marks: &mut Vec<Mark>) {
        let step = match measuring() {
            Unit::Mm => 10.0,
            Unit::Inch => length::MM_PER_INCH / 2.0,
        };
        let mut mm = step;
        while mm < self.mm - 1.0 {
            marks.push(Mark::level("ln soft", 0.0, 100.0, self.y(mm)));
            marks.push(Mark::text("soft halo", 0.0, 0.0, self.y(mm) - 4.0, length::said(mm)));
            mm += step;
        }
        marks.push(Mark::level("ln", 0.0, 100.0, PLOT_PX));
        let mut weeks = 4.0;
        while weeks * 7.0 < self.days * 0.97 {
            marks.push(Mark::stem("ln", self.x(weeks * 7.0), PLOT_PX - 7.0, PLOT_PX));
            let words = if weeks == 4.0 { tr!("4 weeks").into() } else { format!("{weeks:.0}") };
            marks.push(Mark::text("soft mid", self.x(weeks * 7.0), 0.0, PLOT_PX + 20.0, words));
            weeks += 4.0;
        }
    }

    fn now_and_due(&self, marks: &mut Vec<Mark>) {
        if self.target_mm > 0.0 {
            let y = self.y(self.target_mm);
            marks.push(Mark::level("ln beam", 0.0, 100.0, y));
            marks.push(Mark::text(
                "halo b end",
                100.0,
                0.0,
                y - 10.0,
                tr!("target {}", length::said(self.target_mm)),
            ));
        }
        let x = self.x(self.today.0);
        marks.push(Mark::stem("ln now", x, 0.0, PLOT_PX));
        Self::beside(marks, "now halo", x, x, 8.0, 18.0, &self.today.1, true);
        if let Some(due) = &self.due {
            let (from, to) = (self.x(due.from_day), self.x(due.to_day));
            marks.push(Mark::block("fill", from, to, PLOT_PX - 8.0, 8.0));
            Self::beside(marks, "halo b", from, to, 10.0, PLOT_PX - 12.0, &due.words, true);
        }
    }

    fn measurement(&self, marks: &mut Vec<Mark>, measured: &Measured) {
        let (x, y) = (self.x(measured.day), self.y(measured.mm));
        if measured.mm_doubt > 0.0 {
            marks.push(Mark::stem(
                "ln thick",
                x,
                self.y(measured.mm + measured.mm_doubt),
                self.y(measured.mm - measured.mm_doubt),
            ));
        }
        if measured.day_doubt > 0.0 {
            marks.push(Mark::level(
                "ln thick",
                self.x(measured.day - measured.day_doubt),
                self.x(measured.day + measured.day_doubt),
                y,
            ));
        }
        marks.push(Mark::dot("fill", x, y, 6.0));
        let below = self.target_mm > 0.0 && y > self.y(self.target_mm) - 14.0;
        Self::beside(
            marks,
            "halo",
            x,
            x,
            12.0,
            if below { y + 22.0 } else { y - 14.0 },
            &measured.words,
            false,
        );
    }

    /// Words after `to` where they fit there, else before `from`.
    #[allow(clippy::too_many_arguments)]
    fn beside(
        marks: &mut Vec<Mark>,
        class: &str,
        from: f64,
        to: f64,
        dx: f64,
        y: f64,
        words: &str,
        bold: bool,
    ) {
        let need = words_px(words, bold) + dx;
        let after = fit(need, 100.0 - to);
        let before = fit(need, from);
        match (after, before) {
            (Some(fits), _) if fits.is_empty() || to <= 55.0 => {
                marks.push(Mark::text(&format!("{class}{fits}"), to, dx, y, words))
            }
            (_, Some(fits)) => marks.push(Mark::text(&format!("{class} end{fits}"), from, -dx, y, words)),
            (Some(fits), None) => marks.push(Mark::text(&format!("{class}{fits}"), to, dx, y, words)),
            (None, None) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use askama::Template as _;

    use super::*;

    fn fan() -> Fan {
        Fan {
            days: 175.0,
            mm: 60.0,
            rate: 0.3,
            band: (0.27, 0.33),
            prior: Some((0.2, 0.4)),
            target_mm: 25.0,
            today: (77.0, "today".into()),
            due: None,
            measured: Vec::new(),
            label: "Fan".into(),
        }
    }

    #[test]
    fn lines_leave_the_plot_where_they_should() {
        assert_eq!(fan().leaves(0.3), (175.0, 52.5));
        assert_eq!(fan().leaves(0.4), (150.0, 60.0));
        assert_eq!(fan().band_shape().paths[0].1, "M0 0L175.00 47.25L175.00 57.75z");
        let steep = Fan { band: (0.3, 0.6), ..fan() };
        assert_eq!(steep.band_shape().paths[0].1, "M0 0L175.00 52.50L175.00 60.00L100.00 60.00z");
    }

    #[test]
    fn today_stands_at_its_day() {
        assert!(fan().draw().render().unwrap().contains("<line class=\"ln now\" x1=\"44%\" x2=\"44%\""));
    }
}
