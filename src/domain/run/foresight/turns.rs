//! The turns ahead of one run, from its track and its clocks.

use super::{AHEAD_MIN, Limit, Line, Part, Turn};
use crate::domain::protocol::{Clock, Place, Step};
use crate::domain::run::bells::Running;
use crate::domain::run::exposure::Exposure;
use crate::domain::run::state::State;
use crate::domain::run::track::{Block, BlockKind};
use crate::domain::run::value::Instant;
use time::Duration;

/// The places others wait for: a client keeps the chair.
fn scarce(block: &Block) -> Vec<Place> {
    block.places.iter().copied().filter(|p| *p != Place::Chair).collect()
}

fn wants_something(block: &Block) -> bool {
    block.hands_count > 0 || !scarce(block).is_empty()
}

/// A line being made.
struct Maker<'s, 'f> {
    state: &'s State<'f>,
    line: Line,
    /// When the last turn ends by itself.
    ended: Option<Instant>,
    /// Nothing that can be moved came before.
    firm: bool,
    /// A longest allowed that the next turn answers: nobody's hands were on, and the time runs.
    waiting: Option<Limit>,
}

impl State<'_> {
    /// The turns ahead: what wants hands or a scarce place from now on, by itself.
    pub fn line(&self, now: Instant) -> Line {
        if self.ended.is_some() || self.started_at.is_none() {
            return Line::default();
        }
        let rinsing = self.step_in_hand().is_some_and(|s| !s.rinses.is_empty());
        let reached = self.curl_says_rinse().is_some() || self.look_says_rinse().is_some();
        // A stopped head and one over its longest allowed wait for no place in an order: the others go after them.
        let waits_for_nobody = self.product_on() && (self.stop.is_some() || self.passed(now).is_some());
        if (waits_for_nobody || reached) && !rinsing {
            return self.rinse_at_once(now, waits_for_nobody);
        }
        let mut maker = Maker { state: self, line: Line::default(), ended: None, firm: true, waiting: None };
        let horizon = now + Duration::minutes(AHEAD_MIN);
        let track = self.track(now);
        for block in track.blocks.iter().filter(|b| !b.done && b.end > now && b.start < horizon) {
            let in_hand = self.step_in_hand().is_some_and(|s| s.code == block.step);
            // Begun, and something else was begun since: nobody is at it.
            if !block.begun || in_hand {
                maker.take(block, now, in_hand);
            }
        }
        maker.line
    }

    /// Stopped, over its longest allowed, or a test curl or a look said so: water now, before anything.
    fn rinse_at_once(&self, now: Instant, in_hand: bool) -> Line {
        let open = |s: &&Step| s.rinses.iter().any(|l| self.exposure(*l).is_some_and(Exposure::is_open));
        let turns = self.frame.protocol.steps.iter().find(open).map(|step| Turn {
            title: step.title.clone(),
            ready: now,
            lag: Duration::ZERO,
            parts: vec![Part {
                length: Duration::minutes(i64::from(step.minutes_typical)),
                hands: u32::from(step.hands_count),
                places: step.places.iter().copied().filter(|p| *p != Place::Chair).collect(),
            }],
            limit: Some(Limit { latest_start: now, clock: Clock::Exposure }).filter(|_| !in_hand),
            in_hand,
            rinse: true,
        });
        Line { turns: turns.into_iter().collect() }
    }

    /// The latest start of a rinse of this length by which every quadrant, rinsed in working order,
    /// runs clear within its longest allowed.
    fn rinse_limit(&self, letter: char, length: Duration) -> Option<Instant> {
        let exposure = self.exposure(letter).filter(|e| e.is_open() && e.water_on.is_none())?;
        let most = self.exposure_figures(letter)?.most_min?;
        let count = i32::try_from(exposure.sections.len().max(1)).unwrap_or(i32::MAX);
        let sections = exposure.sections.iter().zip(1..);
        sections.filter_map(|(s, nth)| Some(s.reaches_at(most)? - length * nth / count)).min()
    }

    fn running_phase_most(&self, step: &Step) -> Option<Instant> {
        let of = |c: &&Running| c.step == step.code && c.clock == Clock::Phase && c.on_hair;
        self.running().iter().find(of).and_then(|c| c.most_at)
    }
}

impl Maker<'_, '_> {
    fn take(&mut self, block: &Block, now: Instant, in_hand: bool) {
        let from = block.start.max(now);
        if !wants_something(block) {
            if let BlockKind::Nobody(Some(_)) = block.kind
                && self.firm
            {
                self.waiting = self.phase_most(block, in_hand);
            }
            return;
        }
        if in_hand && block.hands_count == 0 {
            self.waiting = self.phase_most(block, in_hand);
        }
        let part =
            Part { length: block.end - from, hands: u32::from(block.hands_count), places: scarce(block) };
        if part.length <= Duration::ZERO {
            return;
        }
        let stays =
            self.line.turns.last().and_then(|t| t.parts.last()).is_some_and(|p| {
                self.ended == Some(from) && p.places.iter().any(|x| part.places.contains(x))
            });
        let limit = self.limit(block, from);
        match self.line.turns.last_mut().filter(|_| stays) {
            Some(turn) => {
                let offset: Duration = turn.parts.iter().map(|p| p.length).sum();
                let earlier = limit.map(|l| Limit { latest_start: l.latest_start - offset, ..l });
                if !turn.in_hand {
                    turn.limit = strictest(turn.limit, earlier);
                }
                turn.parts.push(part);
                self.waiting = None;
            }
            None => {
                let waits = if in_hand { None } else { self.waiting.take() };
                self.firm &= in_hand;
                self.line.turns.push(Turn {
                    title: block.title.clone(),
                    ready: from,
                    lag: self.ended.map_or(Duration::ZERO, |end| (from - end).max(Duration::ZERO)),
                    parts: vec![part],
                    limit: strictest(limit, waits).filter(|_| !in_hand),
                    in_hand,
                    rinse: block.rinse,
                });
            }
        }
        self.ended = Some(block.end);
    }

    /// The longest allowed of the products a block rinses.
    fn limit(&self, block: &Block, from: Instant) -> Option<Limit> {
        let step = self.state.frame.protocol.step(&block.step)?;
        let length = block.end - from;
        let latest = step.rinses.iter().filter_map(|l| self.state.rinse_limit(*l, length)).min()?;
        Some(Limit { latest_start: latest, clock: Clock::Exposure })
    }

    /// When the phase of a step that works alone is longest: running, or beginning whatever is served.
    fn phase_most(&self, block: &Block, in_hand: bool) -> Option<Limit> {
        let step = self.state.frame.protocol.step(&block.step)?;
        let latest_start = if in_hand {
            self.state.running_phase_most(step)?
        } else {
            let most = self.state.frame.figures(&step.code, Clock::Phase)?.most_min?;
            block.start + Duration::minutes(i64::from(most))
        };
        Some(Limit { latest_start, clock: Clock::Phase })
    }
}

fn strictest(a: Option<Limit>, b: Option<Limit>) -> Option<Limit> {
    match (a, b) {
        (Some(a), Some(b)) => Some(if b.latest_start < a.latest_start { b } else { a }),
        (a, b) => a.or(b),
    }
}
