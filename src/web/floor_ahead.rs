//! What the Floor says of the time ahead: where hands or a place are wanted twice, and which order keeps
//! every longest allowed. It proposes; people decide.

use time::{Duration, OffsetDateTime};

use crate::domain::protocol::Place;
use crate::domain::run::foresight::{AHEAD_MIN, Foresight, Line, Say, There, foresee};
use crate::domain::run::track::{Collision, Track, Wanted, collisions};
use crate::web::picture::axis::Clash;

/// One thing to know, told once.
pub(super) struct Told {
    /// "Basin wanted twice at 14:20".
    pub(super) title: String,
    /// "Ilka D. first by 14:22, then …"
    pub(super) words: String,
}

/// What is foreseen, with what it was foreseen from.
pub(super) struct Ahead {
    lines: Vec<Line>,
    seen: Foresight,
    /// Rinses put off to their longest allowed would meet, though by themselves they do not.
    put_off: Vec<Collision>,
}

/// Most clashes told.
const TOLD_MOST: usize = 3;

impl Ahead {
    /// Looks ahead; lines and tracks in the same order.
    pub(super) fn new(lines: Vec<Line>, tracks: &[Track], there: &There, now: OffsetDateTime) -> Ahead {
        let seen = foresee(&lines, there);
        let horizon = now + Duration::minutes(AHEAD_MIN);
        let mut put_off: Vec<Collision> = Vec::new();
        for c in collisions(tracks, &there.places, there.hands, now) {
            let told = seen.clashes.iter().any(|x| c.tracks.iter().all(|t| x.lines.contains(t)))
                || put_off.iter().any(|x| x.tracks == c.tracks);
            if c.at < horizon && !told {
                put_off.push(c);
            }
        }
        Ahead { lines, seen, put_off }
    }

    /// Each clash once, the nearest first; `name` says whose a line is.
    pub(super) fn told(
        &self,
        name: &dyn Fn(usize) -> String,
        at: &dyn Fn(OffsetDateTime) -> String,
    ) -> Vec<Told> {
        let say = Say { name, at };
        let mut told: Vec<Told> = self
            .seen
            .clashes
            .iter()
            .take(TOLD_MOST)
            .map(|c| Told { title: c.title(&say), words: self.seen.order_words(c, &self.lines, &say) })
            .collect();
        if let Some(words) = self.seen.broken_words(&self.lines, &say) {
            told.push(Told { title: String::new(), words });
        }
        if !self.seen.exact {
            told.push(Told { title: String::new(), words: tr!("Not every order was tried.").into() });
        }
        for c in self.put_off.iter().take(TOLD_MOST.saturating_sub(told.len())) {
            let who: Vec<String> = c.tracks.iter().map(|t| name(*t)).collect();
            let words = tr!("if {} wait to their longest allowed", who.join(" and "));
            told.push(Told { title: c.words(at), words });
        }
        told
    }

    /// What stands over the basin's lane.
    pub(super) fn lane(&self, now: OffsetDateTime, at: &dyn Fn(OffsetDateTime) -> String) -> Vec<Clash> {
        let minutes = |t: OffsetDateTime| (t - now).as_seconds_f64() / 60.0;
        let say = Say { name: &|_| String::new(), at };
        let basin = Wanted::Place(Place::Basin);
        self.seen
            .clashes
            .iter()
            .filter(|c| c.wanted.contains(&basin))
            .take(2)
            .map(|c| Clash { from_min: minutes(c.at), to_min: minutes(c.until), words: c.title(&say) })
            .collect()
    }
}
