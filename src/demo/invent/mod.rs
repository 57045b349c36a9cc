//! A whole salon as if worked in for years: thrown by dice, the same for the same seed on the same day.
//!
//! Every client has hair, a history and habits of their own; visits are agreed on, tested for, checked by the plan check,
//! given by the rules of a run and left in strand, shelf and ledger, day by day up to today; what was agreed on for later
//! stands in the book. The rows are written all at once (`store::invent`): the guards of the database stand aside for this one
//! transaction, so `rinsebell check` is what says afterwards that they would have let every row through.
//!
//! Only a database that holds nobody's work is filled: none, or demo salons, which are taken away.

mod calls;
mod diary;
mod dice;
mod founding;
mod heads;
mod kinds;
mod runs;
mod slots;
mod text;
mod trials;
mod visits;
mod walk;
mod world;

use std::collections::BTreeMap;
use std::sync::Arc;

use sqlx::postgres::PgConnectOptions;
use time::OffsetDateTime;
use tokio::sync::mpsc;

use super::{DemoFault, Laid, with_owner};
use crate::app::App;
use crate::domain::ids::{ClientId, LotId};
use crate::flow::dues;
use crate::store::{Scoped, demo, invent as store};
use calls::Turn;
use diary::{Diary, Worker};
use dice::Dice;
use heads::Head;
use text::Batch;
pub use world::Counts;
use world::{Numbers, World};

/// An invented salon's name.
pub const NAME: &str = "Lantern Yard";
/// Fewest people a salon runs with: a manager, a stylist and a desk.
pub const STAFF_LEAST: u32 = 3;
/// Text that waits before it is written.
const BATCH_MOST: usize = 4 << 20;
/// Days after today that are booked into.
const AHEAD_DAYS: usize = 200;

/// What is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Asked {
    /// The same seed on the same day gives the same rows.
    pub seed: u64,
    /// Clients.
    pub clients: u32,
    /// Years of past.
    pub years: u32,
    /// People who work here.
    pub staff: u32,
}

/// What was invented.
#[derive(Clone, Copy, Debug)]
pub struct Invented {
    /// Counted.
    pub counts: Counts,
    /// Demo salons that were taken away.
    pub taken_away: usize,
    /// Minutes of hands taken of those worked, before today.
    pub fullness: f64,
}

/// Invents the salon.
///
/// # Errors
/// [`DemoFault`]; nothing is changed then. Refused where a salon stands that is nobody's invention.
pub async fn invent(owner: &PgConnectOptions, app: &App, asked: Asked) -> Laid<Invented> {
    with_owner(owner, async |mut s| {
        demo::lock_and_find_any(&mut s).await?;
        if let Some(name) = store::find_real_salon(&mut s).await? {
            return Err(DemoFault::Refused(format!(
                "“{name}” works here. A salon is invented only where nobody works: name another data folder"
            )));
        }
        let taken_away = demo::list_demo_salons(&mut s).await?.len();
        store::empty(&mut s).await?;
        let invented = fill(&mut s, app, asked).await?;
        s.commit().await?;
        Ok(Invented { taken_away, ..invented })
    })
    .await
}

async fn fill(s: &mut Scoped, app: &App, asked: Asked) -> Laid<Invented> {
    let founded = founding::found(s, app, asked).await?;
    let (first_lot, newest_lots_from) = (founded.first_lot, founded.newest_lots_from);
    let mut numbers = Numbers::default();
    for f in store::FILLS {
        if let (Some(column), Some(number)) = (f.numbered, numbers.of(f.table)) {
            *number = store::next_number(s, f.table, column).await?;
        }
    }
    let aside = store::stand_aside(s).await?;
    let lot_days = i32::try_from(founded.world.lot_days).unwrap_or(i32::MAX);
    let world = Arc::new(founded.world);
    // Rows are made on a thread of their own while the database takes in those before.
    let (sender, mut batches) = mpsc::channel::<Batch>(2);
    let made = {
        let (world, places) = (Arc::clone(&world), founded.places);
        tokio::task::spawn_blocking(move || {
            Invention::new(world, numbers, &places, founded.rests).work(asked, &sender)
        })
    };
    while let Some(batch) = batches.recv().await {
        for (f, text) in store::FILLS.iter().zip(batch.0) {
            if !text.is_empty() {
                store::copy(s, f, text.into_bytes()).await?;
            }
        }
    }
    let broke = |e| DemoFault::Refused(format!("the dice broke off: {e}"));
    let (counts, mut given, fullness) = made.await.map_err(broke)?;
    store::stand_back(s, &aside).await?;
    for f in store::FILLS {
        if let (Some(column), Some(first), Some(next)) = (f.numbered, numbers.of(f.table), given.of(f.table))
            && next > first
        {
            store::set_number(s, f.table, column, *next - 1).await?;
        }
    }
    store::settle_stock(s, LotId(first_lot), (newest_lots_from, lot_days + 1)).await?;
    store::look_over(s).await?;
    refresh_dues(s, app).await?;
    Ok(Invented { counts, taken_away: 0, fullness })
}

/// Every head's due estimate by the program's own function, when all is measured.
async fn refresh_dues(s: &mut Scoped, app: &App) -> Laid<()> {
    let mut priors = BTreeMap::new();
    let mut after = ClientId(0);
    loop {
        let page = store::list_heads(s, after).await?;
        let Some((last, _)) = page.last() else { return Ok(()) };
        after = ClientId(*last);
        for (client, curl) in page {
            let prior = match priors.get(&curl) {
                Some(known) => *known,
                None => {
                    let prior = dues::prior(s, &app.reference, curl.as_deref()).await?;
                    priors.insert(curl, prior);
                    prior
                }
            };
            dues::refresh_due_from(s, app, ClientId(client), prior).await?;
        }
    }
}

/// The salon as it is worked in.
pub(super) struct Invention {
    world: Arc<World>,
    heads: Vec<Head>,
    diary: Diary,
    /// What comes, by day, minute and order of being agreed on.
    turns: BTreeMap<(usize, u16, u64), (usize, Turn)>,
    agreed: u64,
    batch: Batch,
    numbers: Numbers,
    ended: Vec<runs::Ended>,
    ledger_seq: i64,
    ledger_head: Vec<u8>,
    counts: Counts,
}

impl Invention {
    fn new(
        world: Arc<World>,
        numbers: Numbers,
        places: &BTreeMap<String, i16>,
        rests: Vec<Worker>,
    ) -> Invention {
        let weekday = world.first.weekday().number_from_monday();
        let diary = Diary::new(weekday, world.today + AHEAD_DAYS, rests, places);
        Invention {
            world,
            heads: Vec::new(),
            diary,
            turns: BTreeMap::new(),
            agreed: 0,
            batch: Batch::default(),
            numbers,
            ended: Vec::new(),
            ledger_seq: 0,
            ledger_head: Vec::new(),
            counts: Counts::default(),
        }
    }

    /// Something comes on a day; after today nothing is done.
    fn turn(&mut self, day: usize, minute: u16, head: usize, turn: Turn) {
        if day < self.world.today {
            self.agreed += 1;
            self.turns.insert((day, minute, self.agreed), (head, turn));
        }
    }

    /// Works through the years, sending rows as they are made; gives what was counted and the numbers after the last.
    fn work(mut self, asked: Asked, rows: &mpsc::Sender<Batch>) -> (Counts, Numbers, f64) {
        self.welcome(asked);
        let mut today = 0;
        while let Some(((day, ..), (head, turn))) = self.turns.pop_first() {
            if day > today {
                self.close_the_day();
                today = day;
                // Whole days are sent, so that nothing points at a row that waits.
                if self.batch.size() > BATCH_MOST
                    && rows.blocking_send(std::mem::take(&mut self.batch)).is_err()
                {
                    // Nobody takes rows any more: the writer has failed and says why.
                    break;
                }
            }
            match turn {
                Turn::Call { wanted } => self.call(head, day, wanted),
                Turn::Test { test, service, tried } => self.test(head, test, service, &tried),
                Turn::Visit(booked) => self.visit(head, booked),
            }
        }
        self.close_the_day();
        // The same when it fails here.
        let _ = rows.blocking_send(std::mem::take(&mut self.batch));
        let fullness = self.diary.fullness(self.world.today);
        (self.counts, self.numbers, fullness)
    }

    /// Throws the clients: more than half come in the first months, the others over the years.
    fn welcome(&mut self, asked: Asked) {
        let stylists = self.world.stylists(None, 0).len();
        for n in 0..asked.clients {
            let mut dice = Dice::new(asked.seed, u64::from(n) + 1);
            let last = self.world.today.saturating_sub(20).max(1) as i64;
            let day = if dice.chance(0.55) { dice.whole(5, last.min(110)) } else { dice.whole(5, last) };
            let day = usize::try_from(day).unwrap_or(5);
            let id = world::next(&mut self.numbers.client);
            let first = self.world.date(day);
            let mut head = heads::throw(&self.world.app.reference, dice, id, first, stylists);
            let lead = usize::try_from(head.dice.whole(1, 12)).unwrap_or(1);
            let called = day.saturating_sub(lead);
            self.enter(&head, called);
            self.heads.push(head);
            self.counts.clients += 1;
            self.turn(called, 10 * 60, n as usize, Turn::Call { wanted: day });
        }
    }

    fn enter(&mut self, head: &Head, day: usize) {
        let at: OffsetDateTime = self.world.instant(day, 9 * 60 + 30);
        // Whoever may give what this client comes for.
        let chemistry = self.world.kinds[head.next_kind()].chemistry;
        let usual = self.world.stylists(chemistry, head.usual).first().map(|h| self.world.hands[*h].id);
        let index = (head.curl == "tight").then_some(head.curl_index as f32);
        self.batch
            .row(text::Table::Client)
            .put(self.world.salon)
            .put(head.id)
            .put(&head.name)
            .day(head.born)
            .put(&head.phone)
            .put(format_args!("client-{}@mail.invalid", head.id))
            .put(head.curl)
            .maybe(index)
            .maybe(index.map(|_| crate::flow::readings::INDEX_SD))
            .maybe(usual)
            .put(head.no_contact)
            .at(at)
            .end();
    }

    /// After a service: when the next one is wanted, and whether this client comes again at all.
    fn agree_on_next(&mut self, head: usize, day: usize) {
        let key = self.heads[head].next_kind();
        let retouch = self.world.kinds[key].protocol.retouch;
        let h = &mut self.heads[head];
        let days = match retouch {
            Some(r) => {
                let grown = r.target_mm / h.rate;
                let least = f64::from(r.least_weeks) * 7.0;
                (grown.max(least) * h.habits.late * h.dice.factor(0.08))
                    .clamp(least, f64::from(r.latest_weeks) * 7.0)
            }
            None => h.line.usual_days() * h.habits.late * h.dice.factor(0.15),
        };
        let mut wanted = day + days.round() as usize;
        if h.dice.chance(LEAVES) {
            let moved = h.dice.chance(0.2);
            let outcome = match moved || h.dice.chance(0.3) {
                true if moved => "moved-away",
                true => "declined",
                false => "no-answer",
            };
            return self.note(head, wanted + 20, (outcome, None, "", None));
        }
        if h.dice.chance(LAPSES) {
            let overdue = usize::try_from(h.dice.whole(30, 200)).unwrap_or(30);
            self.note(head, wanted + overdue / 2, ("message-left", None, "", None));
            wanted += overdue;
        }
        let h = &mut self.heads[head];
        let lead = usize::try_from(h.dice.whole(3, 20)).unwrap_or(3);
        let (called, minute) = if h.habits.books_in_chair {
            (day, 21 * 60)
        } else {
            (wanted.saturating_sub(lead).max(day + 1), 10 * 60)
        };
        self.turn(called, minute, head, Turn::Call { wanted });
    }
}

/// After a service, so many never come again (common practice, no source).
const LEAVES: f64 = 0.06;
/// So many come again long after they were due.
const LAPSES: f64 = 0.07;
