//! A run on the shared axis of minutes: what was, what is in hand, what will be, and where two
//! runs will want the same hands or place.

use super::state::State;
use super::sweep::{Span, sweep};
use super::value::Instant;
use crate::domain::chemistry::family::Family;
use crate::domain::protocol::{Clock, Hands, Place, SectionWork, Step, StepCode};
use crate::words;
use time::Duration;

/// What a block holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BlockKind {
    /// Hands are needed.
    Hands,
    /// At the basin, with hands.
    Basin,
    /// Nobody's hands; what works on the hair, if anything.
    Nobody(Option<Family>),
}

/// A step on the axis.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Block {
    /// Which step.
    pub step: StepCode,
    /// Its title.
    pub title: String,
    /// From.
    pub start: Instant,
    /// To.
    pub end: Instant,
    /// What it holds.
    pub kind: BlockKind,
    /// It rinses.
    pub rinse: bool,
    /// Begun on record; else predicted.
    pub begun: bool,
    /// Done on record; else its end is predicted.
    pub done: bool,
    /// The latest it may begin, by the longest allowed of what it rinses.
    pub latest_start: Option<Instant>,
    /// Where.
    pub places: Vec<Place>,
    /// Whose hands.
    pub hands: Hands,
    /// How many pairs.
    pub hands_count: u8,
}

/// What a mark stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum MarkKind {
    /// Bell at target.
    Target,
    /// Longest allowed.
    Most,
}

/// A mark on the axis.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AxisMark {
    /// When.
    pub at: Instant,
    /// What for.
    pub kind: MarkKind,
    /// Of which step.
    pub step: StepCode,
    /// Of which clock.
    pub clock: Clock,
}

/// A run on the axis.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Track {
    /// In order.
    pub blocks: Vec<Block>,
    /// By instant.
    pub marks: Vec<AxisMark>,
}

impl State<'_> {
    /// Past and predicted blocks, and the marks of running clocks.
    pub fn track(&self, now: Instant) -> Track {
        let mut blocks = self.begun_blocks(now);
        if self.ended.is_none() && self.started_at.is_some() {
            let from = blocks.last().map_or(now, |b| b.end.max(now));
            let next = self.furthest().map_or(0, |i| i + 1);
            self.predict(next, from, &mut blocks);
        }
        let mut marks = Vec::new();
        for clock in self.running() {
            let at = [(clock.target_at, MarkKind::Target), (clock.most_at, MarkKind::Most)];
            marks.extend(at.into_iter().filter_map(|(at, kind)| {
                Some(AxisMark { at: at?, kind, step: clock.step.clone(), clock: clock.clock })
            }));
        }
        marks.sort_by_key(|m| (m.at, m.kind));
        Track { blocks, marks }
    }

    fn begun_blocks(&self, now: Instant) -> Vec<Block> {
        let begun = self.frame.protocol.steps.iter().zip(&self.steps).filter_map(|(step, s)| {
            let start = s.started_at?;
            // A stop cuts short what was in hand: its end is now, not where it was meant to be.
            let meant = start + self.length(step, start);
            let cut = self.stop.is_some() && step.rinses.is_empty() && !self.frame.protocol.closes(step);
            let end = s.finished_at.unwrap_or_else(|| if cut { now } else { meant.max(now) });
            Some(Block {
                begun: true,
                done: s.finished_at.is_some(),
                ..self.block(step, start, end.max(start))
            })
        });
        let mut blocks: Vec<Block> = begun.collect();
        blocks.sort_by_key(|b| b.start);
        blocks
    }

    fn predict(&self, next: usize, from: Instant, blocks: &mut Vec<Block>) {
        let mut start = from;
        // A stopped service is rinsed, and closed once somebody said that the skin is whole; nothing else is foreseen.
        if let Some(stop) = self.stop {
            let closable = stop.read == Some(true) && self.hair_open() && !self.sheet_forbids_closing();
            let on = |l: &char| self.exposure(*l).is_some_and(|e| e.is_open());
            for (step, s) in self.frame.protocol.steps.iter().zip(&self.steps) {
                let closes = closable && self.frame.protocol.closes(step) && s.started_at.is_none();
                let rinses =
                    step.rinses.iter().any(on) && self.step_in_hand().is_none_or(|h| h.code != step.code);
                if rinses || closes {
                    let mut block = self.block(step, start, start + self.length(step, start));
                    block.title = self.closing_title(step);
                    start = block.end;
                    blocks.push(block);
                }
            }
            return;
        }
        for step in self.frame.protocol.steps.iter().skip(next) {
            let end = start + self.length(step, start);
            blocks.push(self.block(step, start, end));
            start = end;
        }
    }

    /// How long a step is meant to last. A cover shortens so that rinsing begins by the target of
    /// first touch to rinse, smoothing included.
    pub(super) fn length(&self, step: &Step, start: Instant) -> Duration {
        let figures = self.frame.figures(&step.code, Clock::Phase);
        let usual = figures.and_then(|f| f.target_min).unwrap_or(step.minutes_typical);
        let usual = Duration::minutes(i64::from(usual));
        let Some(exposure) = step.application.and_then(|l| self.exposure(l)).filter(|e| e.is_open()) else {
            return usual;
        };
        let target = self.exposure_figures(exposure.letter).and_then(|f| f.target_min.or(f.most_min));
        let rinse_by = target.and_then(|t| exposure.reaches_at(t));
        if step.hands != Hands::Nobody {
            return usual;
        }
        let Some(rinse_by) = rinse_by else { return usual };
        let between = self.minutes_between(step, exposure.letter);
        (rinse_by - between - start).clamp(Duration::ZERO, usual)
    }

    /// Minutes of the steps between this one and the rinse of an application.
    fn minutes_between(&self, step: &Step, letter: char) -> Duration {
        let steps = &self.frame.protocol.steps;
        let after = self.frame.protocol.index_of(&step.code).map_or(steps.len(), |i| i + 1);
        let between = steps.iter().skip(after).take_while(|s| !s.rinses.contains(&letter));
        Duration::minutes(between.map(|s| i64::from(s.minutes_typical)).sum())
    }

    fn block(&self, step: &Step, start: Instant, end: Instant) -> Block {
        let rinse = step.sections == Some(SectionWork::Rinse);
        let works = step.application.and_then(|l| self.frame.protocol.application(l)).map(|a| a.family);
        let kind = if step.hands == Hands::Nobody {
            BlockKind::Nobody(works)
        } else if step.places.contains(&Place::Basin) {
            BlockKind::Basin
        } else {
            BlockKind::Hands
        };
        let most = |letter: &char| {
            let most = self.exposure_figures(*letter)?.most_min?;
            self.exposure(*letter)?.reaches_at(most)
        };
        Block {
            step: step.code.clone(),
            title: step.title.clone(),
            start,
            end,
            kind,
            rinse,
            begun: false,
            done: false,
            latest_start: step.rinses.iter().filter_map(most).min(),
            places: step.places.clone(),
            hands: step.hands,
            hands_count: step.hands_count,
        }
    }
}

/// What two runs want at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Wanted {
    /// A place.
    Place(Place),
    /// Hands.
    Hands,
}

/// Two runs would want the same thing, if each rinse were put off to its longest allowed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Collision {
    /// From.
    pub at: Instant,
    /// To.
    pub until: Instant,
    /// What.
    pub wanted: Wanted,
    /// How many at once.
    pub needed: u32,
    /// How many there are.
    pub there: u32,
    /// Which tracks, by their place in the list.
    pub tracks: Vec<usize>,
    /// Everybody there rinses.
    pub rinses: bool,
}

impl Collision {
    /// "14:20 two rinses, one basin". `at` writes an instant in the salon's own time.
    pub fn words(&self, at: &dyn Fn(Instant) -> String) -> String {
        let (needed, there) = (count_words(self.needed), count_words(self.there));
        let when = at(self.at);
        match self.wanted {
            Wanted::Place(Place::Basin) if self.rinses => {
                tr!(
                    "{when} {needed} rinses, {there} {}",
                    plural(self.there, "basin"),
                    when = when,
                    needed = needed,
                    there = there
                )
            }
            Wanted::Place(place) => {
                tr!(
                    "{when} {needed} want a {}, {there} {}",
                    words::of(place.code()),
                    plural(self.there, place.code()),
                    when = when,
                    needed = needed,
                    there = there
                )
            }
            Wanted::Hands => tr!(
                "{when} {needed} pairs of hands wanted, {there} here",
                when = when,
                needed = needed,
                there = there
            ),
        }
    }
}

fn plural(n: u32, word: &str) -> String {
    if n == 1 { words::of(word).to_owned() } else { words::of_many(word) }
}

pub(super) fn count_words(n: u32) -> String {
    let words = [
        tr!("no"),
        tr!("one"),
        tr!("two"),
        tr!("three"),
        tr!("four"),
        tr!("five"),
        tr!("six"),
        tr!("seven"),
        tr!("eight"),
        tr!("nine"),
    ];
    usize::try_from(n).ok().and_then(|n| words.get(n)).map_or_else(|| n.to_string(), |w| (*w).to_owned())
}

/// A block's claim on something.
struct Claim {
    track: usize,
    start: Instant,
    end: Instant,
    count: u32,
    rinse: bool,
}

/// Where runs would want more places or hands than there are, after `now`, with every rinse put off to its longest
/// allowed. What they want by themselves is foresight's (`foresight::Clash`).
///
/// `places` counts each kind; a kind not named is not judged, nor are chairs: a client keeps the one they are in.
/// `hands` are pairs of hands here.
pub fn collisions(tracks: &[Track], places: &[(Place, u32)], hands: u32, now: Instant) -> Vec<Collision> {
    let mut found = Vec::new();
    for (place, there) in places.iter().filter(|(place, _)| *place != Place::Chair) {
        let claims = claims(tracks, now, |b| u32::from(b.places.contains(place)));
        collide(&claims, Wanted::Place(*place), *there, &mut found);
    }
    let claims = claims(tracks, now, |b| u32::from(b.hands_count));
    collide(&claims, Wanted::Hands, hands, &mut found);
    found.sort_by_key(|c| (c.at, c.wanted));
    found
}

fn claims(tracks: &[Track], now: Instant, count: impl Fn(&Block) -> u32) -> Vec<Claim> {
    let mut claims = Vec::new();
    for (track, t) in tracks.iter().enumerate() {
        for block in t.blocks.iter().filter(|b| !b.done && b.end > now) {
            let start = block.latest_start.filter(|_| !block.begun).unwrap_or(block.start);
            let end = start + (block.end - block.start);
            let count = count(block);
            if count > 0 {
                claims.push(Claim { track, start: start.max(now), end, count, rinse: block.rinse });
            }
        }
    }
    claims
}

fn collide(claims: &[Claim], wanted: Wanted, there: u32, found: &mut Vec<Collision>) {
    let mut open: Option<Collision> = None;
    for Span { from, to, here } in sweep(claims, |c| (c.start, c.end)) {
        let mut tracks: Vec<usize> = here.iter().map(|c| c.track).collect();
        tracks.sort_unstable();
        tracks.dedup();
        let needed: u32 = here.iter().map(|c| c.count).sum();
        // One run alone that asks for more hands than are here is no collision of two.
        if needed <= there || tracks.len() < 2 {
            found.extend(open.take());
            continue;
        }
        match &mut open {
            Some(c) if c.tracks == tracks && c.needed == needed => c.until = to,
            _ => {
                found.extend(open.take());
                let rinses = here.iter().all(|c| c.rinse);
                open = Some(Collision { at: from, until: to, wanted, needed, there, tracks, rinses });
            }
        }
    }
    found.extend(open);
}
