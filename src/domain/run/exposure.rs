//! How long product has been on each quadrant, from taps by hands that are full.
//!
//! One tap is needed: the first touch. A quadrant nobody tapped counts from first touch and until
//! the water runs clear. A late tap moves a start earlier, never later.

use super::value::Instant;
use crate::domain::protocol::Section;
use time::Duration;

/// A tap about a quadrant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Touch {
    /// When it happened.
    pub at: Instant,
    /// Its place in the record, which settles equal instants.
    pub seq: i64,
    /// What.
    pub what: TouchKind,
}

/// What a tap says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TouchKind {
    /// Product touched a quadrant.
    Start {
        /// Which.
        section: Section,
        /// In which pass, from 1.
        pass: u8,
    },
    /// Water on, or it runs clear. No section: the whole head.
    Rinse {
        /// Which.
        section: Option<Section>,
        /// It runs clear.
        clear: bool,
    },
    /// An opening step of the application began: from here on product may touch anywhere.
    Begun,
}

/// An unbroken stretch of contact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spell {
    /// From.
    pub start: Instant,
    /// To; open while the product is on.
    pub end: Option<Instant>,
}

/// One quadrant's contact with one application.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SectionExposure {
    /// Which quadrant.
    pub section: Section,
    /// Nobody tapped its first pass: it counts from first touch.
    pub assumed: bool,
    /// Passes tapped, with their earliest instants, in order.
    pub passes: Vec<(u8, Instant)>,
    /// Stretches of contact, in order.
    pub spells: Vec<Spell>,
    /// The last instant the water ran clear here, by its own tap or the whole head's.
    pub clear_at: Option<Instant>,
}

impl SectionExposure {
    /// All contact up to an instant.
    pub fn total(&self, now: Instant) -> Duration {
        self.spells.iter().fold(Duration::ZERO, |sum, spell| {
            let end = spell.end.unwrap_or(now).min(now);
            sum + (end - spell.start).max(Duration::ZERO)
        })
    }

    /// Product is on.
    pub fn is_open(&self) -> bool {
        self.spells.last().is_some_and(|s| s.end.is_none())
    }

    /// When its contact reaches so many minutes, if it is open.
    pub fn reaches_at(&self, minutes: u16) -> Option<Instant> {
        let open = self.spells.last().filter(|s| s.end.is_none())?;
        let before = self.total(open.start);
        Some(open.start + Duration::minutes(i64::from(minutes)) - before)
    }

    /// When its contact passed so many minutes, open or not, as seen at an instant.
    pub fn passed_at(&self, minutes: u16, now: Instant) -> Option<Instant> {
        let most = Duration::minutes(i64::from(minutes));
        let mut sum = Duration::ZERO;
        for spell in &self.spells {
            let length = (spell.end.unwrap_or(now).min(now) - spell.start).max(Duration::ZERO);
            if sum + length > most {
                return Some(spell.start + (most - sum));
            }
            sum += length;
        }
        None
    }

    /// This pass was tapped here.
    pub fn has_pass(&self, pass: u8) -> bool {
        self.passes.iter().any(|(p, _)| *p == pass)
    }
}

/// One application's contact with the head.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Exposure {
    /// Which application.
    pub letter: char,
    /// The earliest moment the product could have touched.
    pub first_touch: Instant,
    /// Every quadrant, in working order.
    pub sections: Vec<SectionExposure>,
    /// Water on the whole head since the last touch, before it runs clear.
    pub water_on: Option<Instant>,
}

impl Exposure {
    /// The first touch of what was on after an instant: the try now on, once a stop was ended on hair that ran clear.
    /// All contact still adds up against the longest allowed.
    pub fn touched_after(&self, ended: Option<Instant>) -> Instant {
        let Some(ended) = ended else { return self.first_touch };
        let spells = self.sections.iter().flat_map(|s| &s.spells);
        let later = spells.filter(|s| s.end.is_none_or(|end| end > ended)).map(|s| s.start);
        later.min().unwrap_or(self.first_touch)
    }

    /// Product is on, somewhere.
    pub fn is_open(&self) -> bool {
        self.sections.iter().any(SectionExposure::is_open)
    }

    /// The longest contact of a quadrant: what the most time is judged by.
    pub fn longest(&self, now: Instant) -> Duration {
        self.sections.iter().map(|s| s.total(now)).max().unwrap_or(Duration::ZERO)
    }

    /// The shortest contact of a quadrant.
    pub fn shortest(&self, now: Instant) -> Duration {
        self.sections.iter().map(|s| s.total(now)).min().unwrap_or(Duration::ZERO)
    }

    /// First to last.
    pub fn spread(&self, now: Instant) -> Duration {
        self.longest(now) - self.shortest(now)
    }

    /// The instant the first open quadrant reaches so many minutes.
    pub fn reaches_at(&self, minutes: u16) -> Option<Instant> {
        self.sections.iter().filter_map(|s| s.reaches_at(minutes)).min()
    }

    /// The instant the first quadrant passed so many minutes, as seen at an instant.
    pub fn passed_at(&self, minutes: u16, now: Instant) -> Option<Instant> {
        self.sections.iter().filter_map(|s| s.passed_at(minutes, now)).min()
    }

    /// The last instant the head was rinsed, once nothing is on.
    pub fn rinsed_at(&self) -> Option<Instant> {
        if self.is_open() {
            return None;
        }
        self.sections.iter().filter_map(|s| s.spells.last()?.end).max()
    }
}

/// Folds taps into one application's exposure; none before anything could have touched.
///
/// `step_started` is when the first step of the application began: without a tap, that is when the
/// product could first have touched. `touches` hold this application's starts and every rinse, in
/// any order, and the begins of its opening steps: begun again on hair that ran clear, product is on
/// from the first tap after, or from the begin while nobody taps.
pub fn fold(
    letter: char,
    sections: &[Section],
    step_started: Option<Instant>,
    touches: &[Touch],
) -> Option<Exposure> {
    let mut touches = touches.to_vec();
    touches.sort_by_key(|t| (t.at, t.seq));
    let (touches, cleared) = settle_begins(sections, &touches);
    let tap = touches.iter().find(|t| matches!(t.what, TouchKind::Start { .. }));
    let first_tap = tap.filter(|t| of_first_try(t, cleared));
    let first_touch = first_tap.map(|t| t.at).or(step_started).or(tap.map(|t| t.at))?;
    let put_on = |t: &&Touch| matches!(t.what, TouchKind::Start { .. } | TouchKind::Begun);
    let last_start = touches.iter().rev().find(put_on);
    let rinsed_from = last_start.map_or(first_touch, |t| t.at);
    let whole_head_water = touches
        .iter()
        .find(|t| matches!(t.what, TouchKind::Rinse { section: None, clear: false }) && t.at >= rinsed_from);
    let sections =
        sections.iter().map(|s| fold_section(*s, (first_touch, cleared), &touches)).collect::<Vec<_>>();
    let open = sections.iter().any(SectionExposure::is_open);
    let water_on = whole_head_water.filter(|_| open).map(|t| t.at);
    Some(Exposure { letter, first_touch, sections, water_on })
}

/// The last touch of the first try: the water after which all of it was off.
type Cleared = Option<(Instant, i64)>;

/// A tap after everything ran clear belongs to a later try: it says nothing about when the first one touched.
fn of_first_try(touch: &Touch, cleared: Cleared) -> bool {
    cleared.is_none_or(|clear| (touch.at, touch.seq) <= clear)
}

/// A begin counts where every quadrant had been rinsed and nothing was put on since: from the tap that
/// follows it, or from the begin where none does. With it, when every quadrant had first been rinsed of it: water for
/// another product before it is none of its own.
fn settle_begins(sections: &[Section], touches: &[Touch]) -> (Vec<Touch>, Cleared) {
    let mut rinsed: Vec<Section> = Vec::new();
    let (mut put_on, mut cleared) = (false, None);
    let mut settled: Vec<Touch> = Vec::with_capacity(touches.len());
    for (i, touch) in touches.iter().enumerate() {
        put_on |= matches!(touch.what, TouchKind::Begun | TouchKind::Start { .. });
        match touch.what {
            TouchKind::Begun => {
                if sections.iter().any(|s| !rinsed.contains(s)) {
                    continue;
                }
                rinsed.clear();
                let tap = touches.get(i + 1).filter(|t| matches!(t.what, TouchKind::Start { .. }));
                settled.push(Touch { at: tap.map_or(touch.at, |t| t.at), ..*touch });
                continue;
            }
            TouchKind::Start { section, .. } => rinsed.retain(|s| *s != section),
            // Each once: rinsed again and again, a long record would be walked for each of its taps.
            TouchKind::Rinse { section: Some(section), .. } if !rinsed.contains(&section) => {
                rinsed.push(section)
            }
            TouchKind::Rinse { section: None, clear: true } => {
                rinsed.clear();
                rinsed.extend(sections);
            }
            TouchKind::Rinse { .. } => {}
        }
        if put_on && cleared.is_none() && sections.iter().all(|s| rinsed.contains(s)) {
            cleared = Some((touch.at, touch.seq));
        }
        settled.push(*touch);
    }
    settled.sort_by_key(|t| (t.at, t.seq));
    (settled, cleared)
}

fn fold_section(
    section: Section,
    (first_touch, cleared): (Instant, Cleared),
    touches: &[Touch],
) -> SectionExposure {
    let mut passes: Vec<(u8, Instant)> = Vec::new();
    for touch in touches {
        if let TouchKind::Start { section: s, pass } = touch.what
            && s == section
            && !passes.iter().any(|(p, _)| *p == pass)
        {
            passes.push((pass, touch.at));
        }
    }
    let tapped = passes.iter().any(|(pass, _)| *pass == 1);
    let own = |t: &&Touch| matches!(t.what, TouchKind::Start { section: s, .. } if s == section);
    let earliest = touches.iter().find(own).filter(|t| of_first_try(t, cleared)).map(|t| t.at);
    let start = if tapped { earliest.unwrap_or(first_touch) } else { first_touch };
    let mut spells = vec![Spell { start, end: None }];
    let mut clear_at = None;
    for touch in touches.iter().filter(|t| t.at >= start) {
        let open = spells.last_mut().filter(|s| s.end.is_none());
        match (touch.what, open) {
            (TouchKind::Rinse { section: s, clear }, open) => {
                let here = s == Some(section) || (s.is_none() && clear);
                if here && clear {
                    clear_at = Some(touch.at);
                }
                if let Some(spell) = open.filter(|_| here) {
                    spell.end = Some(touch.at);
                }
            }
            // A quadrant nobody taps may be touched whenever another one is.
            (TouchKind::Start { section: s, .. }, None) if s == section || !tapped => {
                spells.push(Spell { start: touch.at, end: None });
                clear_at = None;
            }
            (TouchKind::Begun, None) => {
                spells.push(Spell { start: touch.at, end: None });
                clear_at = None;
            }
            (TouchKind::Start { .. } | TouchKind::Begun, _) => {}
        }
    }
    passes.sort_unstable();
    SectionExposure { section, assumed: !tapped, passes, spells, clear_at }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    const TEN: Instant = datetime!(2026-05-14 10:00 UTC);

    fn at(min: i64) -> Instant {
        TEN + Duration::minutes(min)
    }

    fn start(min: i64, section: Section, pass: u8) -> Touch {
        Touch { at: at(min), seq: min, what: TouchKind::Start { section, pass } }
    }

    fn rinse(min: i64, section: Option<Section>, clear: bool) -> Touch {
        Touch { at: at(min), seq: min + 100, what: TouchKind::Rinse { section, clear } }
    }

    fn folded(touches: &[Touch]) -> Exposure {
        fold('A', &Section::QUADRANTS, Some(TEN), touches).expect("the step has started")
    }

    #[test]
    fn untapped_quadrants_count_from_first_touch_until_clear() {
        let e = folded(&[start(2, Section::BackRight, 1), rinse(40, None, false), rinse(45, None, true)]);
        assert_eq!(e.first_touch, at(2));
        assert_eq!(e.longest(at(60)), Duration::minutes(43));
        assert_eq!(e.shortest(at(60)), Duration::minutes(43));
        assert_eq!(e.rinsed_at(), Some(at(45)));
    }

    #[test]
    fn without_a_tap_the_step_start_is_the_earliest_moment() {
        assert_eq!(folded(&[]).longest(at(7)), Duration::minutes(7));
        assert_eq!(fold('A', &Section::QUADRANTS, None, &[]), None);
    }

    #[test]
    fn a_late_tap_moves_a_start_earlier_never_later() {
        let early = folded(&[start(5, Section::BackRight, 1), start(3, Section::BackRight, 1)]);
        assert_eq!(early.sections[0].spells[0].start, at(3));
        let late = folded(&[start(3, Section::BackRight, 1), start(9, Section::BackRight, 1)]);
        assert_eq!(late.sections[0].spells, early.sections[0].spells);
    }

    #[test]
    fn a_tapped_quadrant_ends_when_its_water_is_on() {
        let e = folded(&[
            start(0, Section::BackRight, 1),
            start(4, Section::BackLeft, 1),
            rinse(30, Some(Section::BackRight), false),
            rinse(36, None, true),
        ]);
        assert_eq!(e.sections[0].total(at(60)), Duration::minutes(30));
        assert_eq!(e.sections[1].total(at(60)), Duration::minutes(32));
    }

    #[test]
    fn product_put_on_again_after_a_rinse_adds_up() {
        let e = folded(&[
            start(0, Section::BackRight, 1),
            rinse(3, Some(Section::BackRight), false),
            start(8, Section::BackRight, 2),
        ]);
        assert_eq!(e.sections[0].total(at(10)), Duration::minutes(5));
        assert_eq!(e.sections[0].reaches_at(15), Some(at(20)));
        assert_eq!(e.passed_at(15, at(21)), Some(at(15)), "an untapped quadrant counts from first touch");
    }

    #[test]
    fn an_untapped_quadrant_rinsed_early_counts_again_when_more_goes_on() {
        let e = folded(&[
            start(0, Section::BackRight, 1),
            rinse(3, Some(Section::FrontLeft), true),
            start(5, Section::BackLeft, 1),
        ]);
        assert_eq!(e.sections[2].total(at(10)), Duration::minutes(8));
    }

    #[test]
    fn order_of_arrival_does_not_matter() {
        let mut touches = vec![
            start(0, Section::BackRight, 1),
            start(4, Section::BackLeft, 1),
            start(9, Section::BackRight, 2),
            rinse(30, Some(Section::BackLeft), true),
            rinse(36, None, true),
        ];
        let forward = folded(&touches);
        touches.reverse();
        assert_eq!(folded(&touches), forward);
    }

    /// Four minutes nobody tapped, rinsed clear, begun again: they are not forgotten once the second try is tapped.
    #[test]
    fn a_try_nobody_tapped_counts_from_its_begin_though_the_next_is_tapped() {
        let begun = |min| Touch { at: at(min), seq: min, what: TouchKind::Begun };
        let e = folded(&[begun(0), rinse(4, None, true), begun(10), start(12, Section::BackRight, 1)]);
        assert_eq!(e.first_touch, TEN);
        assert_eq!(e.longest(at(20)), Duration::minutes(4 + 8));
        assert_eq!(e.touched_after(Some(at(6))), at(12));
        assert_eq!(e.touched_after(None), TEN);
    }

    /// Water for the straightener before the lotion: the lotion's own tap is its first touch, not its begin.
    #[test]
    fn water_before_a_product_says_nothing_of_it() {
        let begun = Touch { at: at(10), seq: 10, what: TouchKind::Begun };
        let lotion = [rinse(5, None, true), begun, start(13, Section::BackRight, 1)];
        let e = fold('B', &Section::QUADRANTS, Some(at(10)), &lotion).expect("begun");
        assert_eq!((e.first_touch, e.longest(at(20))), (at(13), Duration::minutes(7)));
    }
}
