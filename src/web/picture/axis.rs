//! The Floor: every run on one axis of minutes. 1 % of the width is one minute, now stands at 25 %.

use askama::Template;

use super::clock::Clock;
pub use super::lane::{Clash, LaneBlock, PlaceLane};
use super::mark::{At, Drawing, Mark, Pattern, fit, words_px};

/// Where now stands, % of the width.
pub(super) const NOW_PC: f64 = 25.0;

pub(super) fn pc(minutes_from_now: f64) -> f64 {
    NOW_PC + minutes_from_now
}

/// A quarter hour on the axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Quarter {
    /// Minutes from now, negative before it.
    pub at_min: f64,
    /// The salon's clock time: "14:00".
    pub words: String,
}

impl Quarter {
    /// The quarter hours on an axis whose now is `now_ms`; `words` says an instant as the salon's clock.
    ///
    /// Every zone in use lies a multiple of 15 minutes from UTC (IANA zone data, from memory), so
    /// quarters of an hour in UTC are quarters everywhere.
    pub fn around(now_ms: i64, words: impl Fn(i64) -> String) -> Vec<Self> {
        const QUARTER_MS: i64 = 15 * 60_000;
        let first = (now_ms - 25 * 60_000).div_euclid(QUARTER_MS) + 1;
        (first..)
            .map(|count| count * QUARTER_MS)
            .take_while(|at_ms| *at_ms < now_ms + 75 * 60_000)
            .map(|at_ms| Self { at_min: (at_ms - now_ms) as f64 / 60_000.0, words: words(at_ms) })
            .collect()
    }
}

/// What a stretch of a track needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BandKind {
    /// Hands at the chair.
    Hands,
    /// Hands at the basin.
    Basin,
    /// Nobody's hands, chemistry working.
    Chemical(Pattern),
    /// Nobody's hands, nothing chemical.
    Nobody,
}

/// A stretch of a track.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Minutes from now.
    pub from_min: f64,
    /// Minutes from now.
    pub to_min: f64,
    /// What it needs.
    pub kind: BandKind,
    /// "curl lotion".
    pub words: String,
}

/// An instant on a track.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Notch {
    /// A bell at its target.
    Bell(f64),
    /// The longest allowed.
    Most(f64),
}

/// How a track stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TrackState {
    /// Nothing now.
    Calm,
    /// The next bell of all.
    Soonest,
    /// Its bell rings.
    Ringing,
    /// Over the longest allowed.
    Over,
}

impl TrackState {
    /// Its class, with a leading space.
    #[must_use]
    pub fn class(self) -> &'static str {
        match self {
            Self::Calm => "",
            Self::Soonest => " soonest",
            Self::Ringing => " ringing",
            Self::Over => " over",
        }
    }
}

/// One run on the Floor.
#[derive(Debug, Clone, PartialEq)]
pub struct Track {
    /// Unique on the page: the run's number.
    pub id: String,
    /// The run's screen; empty where nothing may be tapped.
    pub href: String,
    /// "Nerys A."
    pub name: String,
    /// "chair 2, Tobias".
    pub place_words: String,
    /// "curl retouch".
    pub service_words: String,
    /// The large clock.
    pub clock: Clock,
    /// What it is said to be: "5 minutes 10 seconds left in the window".
    pub clock_label: String,
    /// The sense of the clock, read beside it: "left", "in", "on".
    pub clock_sense: String,
    /// True for a clock that is not a chemical one: it is smaller.
    pub small_clock: bool,
    /// "Second pass, back left next".
    pub next_words: String,
    /// "done by 13:55, Tobias; longest on 9:50".
    pub next_detail: String,
    /// A bell to announce, unique to it ("12:target:phase:3"); empty for none.
    pub bell: String,
    /// How it stands.
    pub state: TrackState,
    /// Stretches, in order.
    pub bands: Vec<Band>,
    /// Bells and longest-alloweds.
    pub notches: Vec<Notch>,
}

impl Track {
    /// Draws the track under its clock. `quarters` are the axis'.
    #[must_use]
    pub fn draw(&self, quarters: &[Quarter]) -> Drawing {
        let mut marks = Vec::new();
        let on_axis = |band: &&Band| pc(band.to_min) > 0.0 && pc(band.from_min) < 100.0;
        for band in self.bands.iter().filter(on_axis) {
            let (from, to) = (pc(band.from_min).clamp(0.0, 100.0), pc(band.to_min).clamp(0.0, 100.0));
            if let BandKind::Chemical(pattern) = band.kind {
                marks.push(Mark::patterned("pattern", pattern.id(), from, to, 10.0, 28.0));
            }
            marks.push(match band.kind {
                BandKind::Hands => Mark::block("fill-tone edge", from, to, 10.0, 28.0),
                BandKind::Basin => Mark::block("fill", from, to, 10.0, 28.0),
                BandKind::Nobody => Mark::block("fill-bg edge", from, to, 10.0, 28.0),
                BandKind::Chemical(_) => Mark::block("edge-line", from, to, 10.0, 28.0),
            });
        }
        marks.push(Mark::block("past", 0.0, NOW_PC, 8.0, 32.0));
        for quarter in quarters {
            marks.push(Mark::stem("ln", pc(quarter.at_min), 44.0, 48.0));
        }
        self.bands.iter().filter(on_axis).for_each(|band| label(&mut marks, band));
        for notch in &self.notches {
            match *notch {
                Notch::Bell(at) if (0.0..=100.0).contains(&pc(at)) => {
                    marks.push(Mark::stem("ln thick", pc(at), 5.0, 38.0));
                    marks.push(Mark::dot("fill", pc(at), 5.0, 5.0));
                }
                Notch::Most(at) if (0.0..=100.0).contains(&pc(at)) => {
                    marks.push(Mark::stem("ln beam", pc(at), 0.0, 8.0));
                    marks.push(Mark::stem("ln beam", pc(at), 40.0, 48.0));
                }
                Notch::Bell(_) | Notch::Most(_) => {}
            }
        }
        Drawing {
            class: "band".into(),
            data: Vec::new(),
            height_px: 48.0,
            label: String::new(),
            shapes: None,
            marks,
        }
    }
}

/// A band's words, on the side of now where there is more room.
fn label(marks: &mut Vec<Mark>, band: &Band) {
    let (from, to) = (pc(band.from_min).clamp(0.0, 100.0), pc(band.to_min).clamp(0.0, 100.0));
    let (from, to) = match (from < NOW_PC, to > NOW_PC) {
        (true, true) if to - NOW_PC >= NOW_PC - from => (NOW_PC, to),
        (true, true) => (from, NOW_PC),
        _ => (from, to),
    };
    let Some(class) = fit(words_px(&band.words, false) + 16.0, to - from).filter(|_| !band.words.is_empty())
    else {
        return;
    };
    let past = if to <= NOW_PC { " soft" } else { "" };
    let kind = match band.kind {
        BandKind::Basin if past.is_empty() => "inv",
        BandKind::Chemical(_) => "halo",
        _ => "",
    };
    let class = format!("{kind}{}{class}", if band.kind == BandKind::Basin { "" } else { past });
    marks.push(Mark::text(&class, from, 8.0, 29.0, band.words.clone()));
}

/// The whole Floor picture: axis, places, tracks.
#[derive(Debug, Clone, Template)]
#[template(path = "pictures/floor.html")]
pub struct FloorPicture {
    /// The salon's clock now: "13:50".
    pub now_words: String,
    /// Quarter hours.
    pub quarters: Vec<Quarter>,
    /// Places that are scarce, the basin first.
    pub lanes: Vec<PlaceLane>,
    /// Runs, each in the row it got when it started.
    pub tracks: Vec<Track>,
}
// Its template escapes every word it is given.
impl askama::filters::HtmlSafe for FloorPicture {}

impl FloorPicture {
    /// The chemistries on the tracks, in one order: pattern's id and words. The key names what is drawn, no more.
    #[must_use]
    pub fn key(&self) -> Vec<(&'static str, &'static str)> {
        let drawn = |p: &Pattern| {
            let bands = self.tracks.iter().flat_map(|t| &t.bands);
            bands.into_iter().any(|b| b.kind == BandKind::Chemical(*p))
        };
        let patterns = Pattern::DRAWN.into_iter().filter(drawn);
        patterns.filter_map(|p| p.id().map(|id| (id, p.words()))).collect()
    }

    /// Draws the axis.
    #[must_use]
    pub fn axis(&self) -> Drawing {
        let mut marks = vec![Mark::text("now time", NOW_PC, 10.0, 26.0, self.now_words.clone())];
        for (count, quarter) in self.quarters.iter().enumerate() {
            let at = pc(quarter.at_min);
            // Under the large time of now there is no room for another.
            let clear = !(NOW_PC - 3.0..NOW_PC + 1.5).contains(&at);
            let every = if count % 2 == 0 { fit(60.0, 30.0) } else { fit(60.0, 15.0) };
            if let Some(class) = every.filter(|_| clear && at > 2.0 && at < 98.0) {
                marks.push(Mark::text(&format!("soft mid{class}"), at, 0.0, 44.0, quarter.words.clone()));
            }
            marks.push(Mark::Line {
                class: "ln".into(),
                x1: At::Pc(at),
                x2: At::Pc(at),
                y1: At::Px(48.0),
                y2: At::Px(52.0),
            });
        }
        Drawing {
            class: "axis".into(),
            data: Vec::new(),
            height_px: 52.0,
            label: String::new(),
            shapes: None,
            marks,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quarters_are_the_ones_on_the_axis() {
        let now_ms = (13 * 60 + 50) * 60_000;
        let quarters =
            Quarter::around(now_ms, |at_ms| format!("{}:{:02}", at_ms / 3_600_000, at_ms / 60_000 % 60));
        assert_eq!(
            quarters.iter().map(|quarter| quarter.words.as_str()).collect::<Vec<_>>(),
            ["13:30", "13:45", "14:00", "14:15", "14:30", "14:45", "15:00"]
        );
        assert!((quarters[0].at_min + 20.0).abs() < 1e-9);
    }
}
