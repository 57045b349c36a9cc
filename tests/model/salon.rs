//! Two stations and a server: the states that are searched, and what may happen next.

use super::acts::{Chapter, Tap};
use super::book::{Book, Node};
use super::fault::Fault;
use super::service::Shape;
use stateright::{Model, Property};
use std::hash::{Hash, Hasher};

/// Facts a station may keep at once.
const KEPT_MOST: usize = 2;

/// How much is searched.
#[derive(Clone, Copy, Debug)]
pub struct Bounds {
    /// Events more than at the beginning, from which on no page asks for anything.
    pub events_more: u8,
    /// Facts each station taps, at most.
    pub taps_most: [u8; 2],
    /// A page dies once and comes back.
    pub tab_drops: bool,
    /// Answers to facts may be lost on the way, so that they are sent again.
    pub answers_lost: bool,
    /// Ticks that pass, at most.
    pub ticks_most: u8,
}

/// A fact kept at a station.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Kept {
    n: u8,
    tap: Tap,
    tick: u8,
    /// It was sent and the answer was lost on the way: what that answer was.
    answer: Option<bool>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Page {
    Open,
    Dead,
    Back,
}

/// A station.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Station {
    /// How many events its page has read.
    read: u8,
    /// How many facts it has named.
    named: u8,
    /// Which of them the server refused, as bits.
    refused: u8,
    page: Page,
    kept: [Option<Kept>; KEPT_MOST],
}

impl Station {
    fn code(&self) -> u64 {
        let mut code =
            u64::from(self.read) << 40 | u64::from(self.named) << 36 | u64::from(self.refused) << 32;
        code |= (self.page as u64) << 48;
        for (i, kept) in self.kept.iter().enumerate() {
            if let Some(k) = kept {
                let answer = k.answer.map_or(0, |a| 1 + u64::from(a));
                let one =
                    u64::from(k.n) << 12 | (k.tap as u64) << 8 | u64::from(k.tick) << 4 | answer << 1 | 1;
                code |= one << (16 * i);
            }
        }
        code
    }

    fn keeps(&self, n: u8) -> bool {
        self.kept.iter().flatten().any(|k| k.n == n)
    }
}

/// The whole: the record at a tick, and the stations.
#[derive(Clone, Copy)]
pub struct Whole {
    node: &'static Node,
    stations: [Station; 2],
    /// A fact sent again was answered otherwise than before.
    answered_otherwise: bool,
}

impl Whole {
    /// Rules broken and things seen, as `judge` names them.
    pub fn found(&self, bits: u32) -> bool {
        self.node.found() & bits != 0
    }

    /// A fact sent again was answered otherwise than before.
    pub fn answered_otherwise(&self) -> bool {
        self.answered_otherwise
    }

    /// A fact is on record, and its station does not know.
    pub fn answer_is_lost(&self) -> bool {
        self.stations.iter().flat_map(|s| &s.kept).flatten().any(|k| k.answer == Some(true))
    }

    /// A page has come back empty, and its facts with it.
    pub fn page_is_back(&self) -> bool {
        let dropped = &self.stations[1];
        dropped.page == Page::Back && dropped.read == 0 && dropped.kept.iter().any(Option::is_some)
    }
}

impl PartialEq for Whole {
    fn eq(&self, other: &Whole) -> bool {
        self.node.id == other.node.id
            && self.stations == other.stations
            && self.answered_otherwise == other.answered_otherwise
    }
}

impl Hash for Whole {
    fn hash<H: Hasher>(&self, state: &mut H) {
        state.write_u64(u64::from(self.node.id) << 1 | u64::from(self.answered_otherwise));
        state.write_u64(self.stations[0].code());
        state.write_u64(self.stations[1].code());
    }
}

impl std::fmt::Debug for Whole {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        writeln!(f, "tick {} {:?}", self.node.tick, self.stations)?;
        for e in &self.node.record.events {
            writeln!(f, "  {} {:?} at {} by {:?}", e.seq, e.kind, e.happened_at.time(), e.by)?;
        }
        Ok(())
    }
}

/// What happens next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Move {
    /// Time goes on.
    Later,
    /// A page reads one event more; an empty page reads what was done beforehand.
    Read(usize),
    /// A page asks for what it offers.
    Ask(usize, usize),
    /// A fact is tapped and kept.
    Tap(usize, Tap),
    /// A kept fact is sent; its answer may be lost.
    Send(usize, usize, bool),
    /// A page dies: what it has read is gone, its kept facts are not.
    Die(usize),
    /// It is opened again.
    Return(usize),
}

/// The model.
pub struct Salon {
    book: &'static Book,
    begin: &'static Node,
    bounds: Bounds,
}

impl Salon {
    /// A salon with this service and this server.
    pub fn open(shape: Shape, chapter: Chapter, fault: Fault, bounds: Bounds) -> Salon {
        let book = Book::open(shape, fault);
        Salon { book, begin: book.begin(shape, chapter), bounds }
    }

    /// The server's book.
    pub fn book(&self) -> &'static Book {
        self.book
    }

    fn moves_of(&self, whole: &Whole, s: usize, moves: &mut Vec<Move>) {
        let station = &whole.stations[s];
        if station.page == Page::Dead {
            moves.push(Move::Return(s));
            return;
        }
        if self.bounds.tab_drops && s == 1 && station.page == Page::Open && station.read > 0 {
            moves.push(Move::Die(s));
        }
        let length = whole.node.length();
        if station.read < length {
            moves.push(Move::Read(s));
        }
        let kept = station.kept.iter().enumerate().filter(|(_, k)| k.is_some());
        let ways: &[bool] = if self.bounds.answers_lost { &[false, true] } else { &[false] };
        moves.extend(kept.flat_map(|(slot, _)| ways.iter().map(move |lost| Move::Send(s, slot, *lost))));
        if station.read == 0 {
            return;
        }
        let view = whole.node.view(station.read);
        if length < self.begin.length() + self.bounds.events_more {
            let offers = view.offers();
            let asks =
                self.book.asks.iter().enumerate().filter(|(i, a)| a.station == s && offers >> i & 1 == 1);
            moves.extend(asks.map(|(i, _)| Move::Ask(s, i)));
        }
        if station.named < self.bounds.taps_most[s] && station.kept.iter().any(Option::is_none) {
            let shown = Tap::on_page(s).iter().filter(|t| t.shown(&view.record.state));
            let shown = shown.filter(|t| **t != Tap::TakeBack || station.named > 0);
            moves.extend(shown.map(|t| Move::Tap(s, *t)));
        }
    }

    fn send(&self, mut whole: Whole, s: usize, slot: usize, lost: bool) -> Option<Whole> {
        let station = &mut whole.stations[s];
        let kept = station.kept[slot]?;
        let number = u8::try_from(s).expect("two stations");
        let reply = whole.node.send(number, kept.n, kept.tap, kept.tick);
        let accepted = reply.after.is_some();
        // The first answer stands, and what was on record already adds nothing.
        let again = kept.answer.is_some();
        let grew = reply.after.is_some_and(|after| after.id != whole.node.id);
        whole.answered_otherwise |= again && (kept.answer != Some(accepted) || grew);
        whole.answered_otherwise |= accepted && !reply.kept_as_sent;
        if !accepted {
            station.refused |= 1 << kept.n;
        }
        station.kept[slot] = lost.then_some(Kept { answer: Some(accepted), ..kept });
        // The order of empty places means nothing.
        station.kept.sort_by_key(Option::is_none);
        whole.node = reply.after.unwrap_or(whole.node);
        Some(whole)
    }

    /// Every fact that was answered stands on record once; one not yet sent, not; nothing else does.
    pub fn nothing_lost(&self, whole: &Whole) -> bool {
        let times = |s: u8, n| {
            let id = super::acts::fact_id(s, n);
            whole.node.record.events.iter().filter(|e| e.fact_id == Some(id)).count()
        };
        (0..2u8).all(|s| {
            let station = &whole.stations[usize::from(s)];
            (0..4).all(|n| {
                let unsent = station.kept.iter().flatten().any(|k| k.n == n && k.answer.is_none());
                let due = n < station.named && !unsent && station.refused >> n & 1 == 0;
                debug_assert!(n < station.named || !station.keeps(n), "what is kept has a name");
                times(s, n) == usize::from(due)
            })
        })
    }
}

impl Model for Salon {
    type State = Whole;
    type Action = Move;

    fn init_states(&self) -> Vec<Whole> {
        let station =
            |read| Station { read, named: 0, refused: 0, page: Page::Open, kept: [None; KEPT_MOST] };
        let read = self.begin.length();
        vec![Whole { node: self.begin, stations: [station(read), station(read)], answered_otherwise: false }]
    }

    fn actions(&self, whole: &Whole, moves: &mut Vec<Move>) {
        if whole.node.tick < self.bounds.ticks_most {
            moves.push(Move::Later);
        }
        self.moves_of(whole, 0, moves);
        self.moves_of(whole, 1, moves);
    }

    fn next_state(&self, whole: &Whole, step: Move) -> Option<Whole> {
        let mut next = *whole;
        match step {
            Move::Later => next.node = whole.node.later(),
            Move::Read(s) => {
                let read = &mut next.stations[s].read;
                *read = (*read + 1).max(self.begin.length());
            }
            Move::Ask(_, i) => next.node = whole.node.ask(i)?,
            Move::Tap(s, tap) => {
                let station = &mut next.stations[s];
                let kept = Kept { n: station.named, tap, tick: whole.node.tick, answer: None };
                *station.kept.iter_mut().find(|k| k.is_none())? = Some(kept);
                station.named += 1;
            }
            Move::Send(s, slot, lost) => return self.send(next, s, slot, lost),
            Move::Die(s) => {
                next.stations[s].page = Page::Dead;
                next.stations[s].read = 0;
            }
            Move::Return(s) => next.stations[s].page = Page::Back,
        }
        Some(next)
    }

    fn properties(&self) -> Vec<Property<Salon>> {
        super::properties::all()
    }
}
