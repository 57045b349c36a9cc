//! The server: `decide` and `fold` as they are, over records that are kept once each. Every answer
//! is worked out once for a record and a tick, however many states of the stations share it.

use super::acts::{self, Ask, Chapter, Done, Tap};
use super::fault::Fault;
use super::judge;
use super::service::{self, Shape, TOBIAS, at, context};
use rinsebell::domain::run::{Command, Event, EventKind, NewEvent, RunFrame, State, decide};
use std::collections::BTreeMap;
use std::sync::{Mutex, OnceLock};

/// A record, with all that it alone decides.
pub struct Record {
    /// Its events.
    pub events: Vec<Event>,
    /// What they fold to.
    pub state: State<'static>,
    /// Rules broken (`judge`), and things seen.
    pub found: OnceLock<u32>,
}

/// A record at a tick.
pub struct Node {
    /// Told apart by this.
    pub id: u32,
    /// The record.
    pub record: &'static Record,
    /// The tick.
    pub tick: u8,
    /// The book it stands in.
    pub book: &'static Book,
    /// Rules broken and things seen, by tick as well.
    pub found: OnceLock<u32>,
    offers: OnceLock<u64>,
    later: OnceLock<&'static Node>,
    answers: Vec<OnceLock<Option<&'static Node>>>,
    views: Vec<OnceLock<&'static Node>>,
    facts: Mutex<BTreeMap<u32, Reply>>,
}

/// What became of a fact that was sent.
#[derive(Clone, Copy)]
pub struct Reply {
    /// The record after; absent: refused.
    pub after: Option<&'static Node>,
    /// The record is longer, and holds the fact as it was sent.
    pub kept_as_sent: bool,
}

#[derive(Default)]
struct Tables {
    words: BTreeMap<String, u16>,
    records: BTreeMap<Vec<u16>, &'static Record>,
    nodes: BTreeMap<(usize, u8), &'static Node>,
}

/// Every record met.
pub struct Book {
    /// What the run is held to.
    pub frame: &'static RunFrame,
    /// What the pages hold.
    pub asks: Vec<Ask>,
    /// How the server is broken, if it is.
    pub fault: Fault,
    tables: Mutex<Tables>,
}

impl Book {
    /// A book, kept to the end of the process.
    pub fn open(shape: Shape, fault: Fault) -> &'static Book {
        let frame: &'static RunFrame = Box::leak(Box::new(service::frame(shape)));
        let asks = acts::asks(shape);
        assert!(asks.len() <= 64, "offers are bits");
        Box::leak(Box::new(Book { frame, asks, fault, tables: Mutex::default() }))
    }

    /// The record with which a search begins.
    pub fn begin(&'static self, shape: Shape, chapter: Chapter) -> &'static Node {
        let mut record = self.record(Vec::new());
        for (n, done) in (0..).zip(acts::beforehand(shape, chapter)) {
            let command = match done {
                Done::Asked(command) => command,
                Done::Tapped(tap) => Command::Record(acts::fact(9, n, tap, 0)),
            };
            let new = decide(&record.state, &command, &context(0, Some(TOBIAS), 0));
            record = self.append(record, new.expect("done beforehand"), 0);
        }
        self.node(record, 0)
    }

    fn record(&self, events: Vec<Event>) -> &'static Record {
        let codes: Vec<u16> = {
            let mut tables = self.tables.lock().expect("no thread fell");
            let mut number = |e: &Event| {
                let words = format!("{e:?}");
                let next = u16::try_from(tables.words.len()).expect("few different events");
                *tables.words.entry(words).or_insert(next)
            };
            events.iter().map(&mut number).collect()
        };
        let known = self.tables.lock().expect("no thread fell").records.get(&codes).copied();
        if let Some(known) = known {
            return known;
        }
        let state = State::fold(self.frame, &events);
        let record: &'static Record = Box::leak(Box::new(Record { events, state, found: OnceLock::new() }));
        self.tables.lock().expect("no thread fell").records.entry(codes).or_insert(record)
    }

    fn append(&self, record: &Record, new: Vec<NewEvent>, tick: u8) -> &'static Record {
        let mut events = record.events.clone();
        for e in new {
            let seq = i64::try_from(events.len()).expect("few events") + 1;
            let NewEvent { happened_at, by, station, fact_id, kind, .. } = e;
            events.push(Event { seq, recorded_at: at(tick), happened_at, by, station, fact_id, kind });
        }
        self.record(events)
    }

    fn node(&'static self, record: &'static Record, tick: u8) -> &'static Node {
        let mut tables = self.tables.lock().expect("no thread fell");
        let key = (std::ptr::from_ref(record).addr(), tick);
        let id = u32::try_from(tables.nodes.len()).expect("few nodes");
        tables.nodes.entry(key).or_insert_with(|| {
            &*Box::leak(Box::new(Node {
                id,
                record,
                tick,
                book: self,
                found: OnceLock::new(),
                offers: OnceLock::new(),
                later: OnceLock::new(),
                answers: self.asks.iter().map(|_| OnceLock::new()).collect(),
                views: record.events.iter().map(|_| OnceLock::new()).collect(),
                facts: Mutex::default(),
            }))
        })
    }

    /// How many records, and records at a tick, were met.
    pub fn met(&self) -> (usize, usize) {
        let tables = self.tables.lock().expect("no thread fell");
        (tables.records.len(), tables.nodes.len())
    }
}

impl Node {
    /// How many events the record has.
    pub fn length(&self) -> u8 {
        u8::try_from(self.record.events.len()).expect("few events")
    }

    /// The same record a tick later.
    pub fn later(&'static self) -> &'static Node {
        self.later.get_or_init(|| self.book.node(self.record, self.tick + 1))
    }

    /// What a station sees that has read so many events.
    pub fn view(&'static self, read: u8) -> &'static Node {
        if read == self.length() {
            return self;
        }
        self.views[usize::from(read)].get_or_init(|| {
            let record = self.book.record(self.record.events[..usize::from(read)].to_vec());
            self.book.node(record, self.tick)
        })
    }

    /// The commands that pages with this view offer, as bits.
    pub fn offers(&self) -> u64 {
        *self.offers.get_or_init(|| {
            let state = &self.record.state;
            let mut bits = 0;
            for (i, ask) in self.book.asks.iter().enumerate() {
                let context = context(self.tick, Some(ask.person), ask.station);
                if decide(state, &ask.command, &context).is_ok()
                    && acts::offered(state, &ask.command, &context)
                {
                    bits |= 1 << i;
                }
            }
            bits
        })
    }

    /// The server's answer to a command; none: refused.
    pub fn ask(&'static self, i: usize) -> Option<&'static Node> {
        *self.answers[i].get_or_init(|| {
            let ask = &self.book.asks[i];
            let context = context(self.tick, Some(ask.person), ask.station);
            let new = self.book.fault.decide(self.record, &ask.command, &context).ok()?;
            Some(self.book.node(self.book.append(self.record, new, self.tick), self.tick))
        })
    }

    /// The server's answer to a fact.
    pub fn send(&'static self, station: u8, n: u8, tap: Tap, tick: u8) -> Reply {
        let key = u32::from_be_bytes([station, n, tap as u8, tick]);
        if let Some(known) = self.facts.lock().expect("no thread fell").get(&key) {
            return *known;
        }
        let fact = acts::fact(station, n, tap, tick);
        let sent = EventKind::Happened(fact.happened.clone());
        let (id, happened_at) = (fact.fact_id, fact.happened_at);
        let context = context(self.tick, None, usize::from(station));
        let answer = self.book.fault.decide(self.record, &Command::Record(fact), &context);
        let reply = match answer {
            Err(_) => Reply { after: None, kept_as_sent: false },
            Ok(new) => {
                let after = self.book.append(self.record, new, self.tick);
                let same =
                    |e: &&Event| e.fact_id == Some(id) && e.happened_at == happened_at && e.kind == sent;
                let kept_as_sent = after.events.iter().filter(same).count() == 1;
                Reply { after: Some(self.book.node(after, self.tick)), kept_as_sent }
            }
        };
        self.facts.lock().expect("no thread fell").insert(key, reply);
        reply
    }

    /// Rules broken and things seen here.
    pub fn found(&self) -> u32 {
        *self.found.get_or_init(|| {
            let of_record = *self.record.found.get_or_init(|| judge::record(self.record, self.book));
            of_record | judge::instant(self)
        })
    }
}
