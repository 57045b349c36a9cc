//! A house with one head ready for an opening step, arranged as the owner, attacked as the app.

use sqlx::postgres::{PgConnectOptions, PgConnection};
use sqlx::{AssertSqlSafe, ConnectOptions as _, Row as _};

use crate::support::Salon;

/// Names that may stand in SQL as `{name}`, with their place in a salon's own million of ids.
const NAMES: [&str; 22] = [
    "manager",
    "stylist",
    "other_stylist",
    "assistant",
    "reception",
    "colourist",
    "leaver",
    "client",
    "stranger",
    "product",
    "lotion",
    "colour",
    "relaxer",
    "lot",
    "other_lot",
    "plan",
    "run",
    "other_plan",
    "other_run",
    "station",
    "booking",
    "skin_test",
];

/// People, client, products, tests, consult, consent, plan and run of one salon; written as the owner.
const HOUSE: &str = include_str!("house.sql");
/// One row more in every table a foreign key starts from.
const FULL: &str = include_str!("full.sql");

/// Sign-offs that let the step `apply` begin.
pub const SIGNED: [(&str, &str); 9] = [
    ("patch-test", "no-reaction-since"),
    ("scalp", "intact"),
    ("strand-test", "passed"),
    ("plan", "clear-or-tests-passed"),
    ("consent", "signed-on-words-shown"),
    ("lot", "in-date-within-law"),
    ("draping", "towel-and-cape-dry"),
    ("hair-dry", "dry"),
    ("gloves", "nitrile-new-pair-intact"),
];

/// What the database said no with: the code and the words (or the constraint's name).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct No {
    pub code: String,
    pub words: String,
}

impl No {
    fn from(e: &sqlx::Error) -> No {
        let d = e.as_database_error().unwrap_or_else(|| panic!("not an answer of the database: {e}"));
        let words = d.constraint().map_or_else(|| d.message().to_string(), str::to_string);
        No { code: d.code().unwrap_or_default().to_string(), words }
    }
}

/// A salon's id with `{name}`s filled in.
#[derive(Debug, Clone, Copy)]
pub struct House(pub i64);

impl House {
    /// The id behind a name.
    pub fn id(self, name: &str) -> i64 {
        let at = NAMES.iter().position(|n| *n == name).unwrap_or_else(|| panic!("no {name} in the house"));
        self.0 * 1_000_000 + 500_000 + at as i64
    }

    /// SQL with the house's ids in it.
    pub fn fill(self, sql: &str) -> String {
        let mut filled = sql.replace("{s}", &self.0.to_string());
        for name in NAMES {
            filled = filled.replace(&format!("{{{name}}}"), &self.id(name).to_string());
        }
        filled
    }
}

/// One event as somebody would write it.
#[derive(Debug, Clone)]
pub struct Event {
    pub run: &'static str,
    pub seq: Option<i32>,
    pub by: Option<&'static str>,
    pub kind: &'static str,
    pub fact_id: Option<String>,
    pub step: Option<&'static str>,
    pub hold_point: Option<&'static str>,
    pub outcome: Option<&'static str>,
    pub version: i16,
    pub data: String,
    /// SQL of the claimed instants.
    pub at: &'static str,
}

impl Event {
    /// A permission in the stylist's name.
    pub fn may(kind: &'static str) -> Event {
        Event {
            run: "run",
            seq: None,
            by: Some("stylist"),
            kind,
            fact_id: None,
            step: None,
            hold_point: None,
            outcome: None,
            version: 1,
            data: "{}".into(),
            at: "rinsebell_now()",
        }
    }

    /// A fact from "this station".
    pub fn fact(kind: &'static str, data: &str) -> Event {
        let fact_id = Some(rinsebell::secret::new_uuid());
        Event { by: None, fact_id, data: data.into(), ..Event::may(kind) }
    }

    /// The start of a step.
    pub fn start(step: &'static str) -> Event {
        Event { step: Some(step), ..Event::may("step_started") }
    }

    /// A hold point answered with a code.
    pub fn sign(point: &'static str, value: &str, outcome: &'static str, step: &'static str) -> Event {
        Event {
            step: Some(step),
            hold_point: Some(point),
            outcome: Some(outcome),
            data: format!("{{\"value\": \"{value}\"}}"),
            ..Event::may("hold_point_signed")
        }
    }

    pub fn by(self, who: &'static str) -> Event {
        Event { by: Some(who), ..self }
    }

    fn sql(&self, house: House) -> String {
        let text = |v: Option<&str>| v.map_or("null".to_string(), |t| format!("'{t}'"));
        let run = house.id(self.run);
        let seq = self.seq.map_or_else(
            || format!("(select coalesce(max(seq), 0) + 1 from run_event where salon_id = {} and run_id = {run})", house.0),
            |n| n.to_string(),
        );
        format!(
            "insert into run_event (salon_id, run_id, seq, recorded_at, happened_at, by, station_id, kind, fact_id, step, hold_point, outcome, version, data)
             values ({}, {run}, {seq}, {at}, {at}, {}, {}, '{}', {}::uuid, {}, {}, {}, {}, '{}')",
            house.0,
            self.by.map_or("null".to_string(), |who| house.id(who).to_string()),
            house.id("station"),
            self.kind,
            text(self.fact_id.as_deref()),
            text(self.step),
            text(self.hold_point),
            text(self.outcome),
            self.version,
            self.data,
            at = self.at,
        )
    }
}

/// A connection that speaks for a house, as whoever it logged in as.
pub struct Hand {
    pub conn: PgConnection,
    pub house: House,
}

impl Hand {
    /// Logs in; the salon is set for the whole connection.
    pub async fn open(options: &PgConnectOptions, house: House) -> Hand {
        let conn = options.connect().await.expect("logged in");
        let mut hand = Hand { conn, house };
        hand.set_salon(&house.0.to_string()).await;
        hand
    }

    pub async fn set_salon(&mut self, salon: &str) {
        sqlx::query("select set_config('rinsebell.salon', $1, false)")
            .bind(salon)
            .execute(&mut self.conn)
            .await
            .expect("the salon is set");
    }

    /// Runs SQL; rows written, or the refusal.
    pub async fn run(&mut self, sql: &str) -> Result<u64, No> {
        let sql = self.house.fill(sql);
        sqlx::query(AssertSqlSafe(sql))
            .persistent(false)
            .execute(&mut self.conn)
            .await
            .map(|r| r.rows_affected())
            .map_err(|e| No::from(&e))
    }

    /// Runs SQL that must work.
    pub async fn must(&mut self, sql: &str) -> u64 {
        self.run(sql).await.unwrap_or_else(|no| panic!("{no:?} on {sql}"))
    }

    /// One number of a query.
    pub async fn number(&mut self, sql: &str) -> i64 {
        let sql = self.house.fill(sql);
        let row =
            sqlx::query(AssertSqlSafe(sql)).persistent(false).fetch_one(&mut self.conn).await.expect("a row");
        row.get(0)
    }

    /// Writes an event.
    pub async fn tell(&mut self, event: &Event) -> Result<u64, No> {
        let sql = event.sql(self.house);
        self.run(&sql).await
    }

    /// Writes an event that must be taken.
    pub async fn told(&mut self, event: Event) {
        let done = self.tell(&event).await.unwrap_or_else(|no| panic!("{no:?} on {event:?}"));
        assert_eq!(done, 1, "{event:?}");
    }

    /// Signs everything `apply` needs, but for `left_out`, and dispenses the lot.
    pub async fn sign_all_but(&mut self, left_out: &str) {
        for (point, value) in SIGNED.iter().filter(|(p, _)| *p != left_out) {
            self.told(Event::sign(point, value, "holds", "apply")).await;
        }
    }

    /// Takes product from the lot.
    pub async fn dispense(&mut self, lot: &str) {
        let data = format!("{{\"application\": \"A\", \"lot_id\": {}, \"grams\": 40}}", self.house.id(lot));
        self.told(Event { data, ..Event::may("lot_dispensed") }).await;
    }
}

/// The salon of a test with its house built.
pub struct Stage {
    pub salon: Salon,
    pub house: House,
}

impl Stage {
    /// A database of its own with one house, nothing signed yet.
    pub async fn open() -> Stage {
        let salon = Salon::open().await;
        let house = House(salon.id.0);
        let stage = Stage { salon, house };
        stage.build(house, HOUSE).await;
        stage
    }

    /// The same with every table filled, and a second house beside it.
    pub async fn with_stranger() -> (Stage, House) {
        let stage = Stage::open().await;
        let other = House(stage.salon.second().await.0);
        stage.build(other, HOUSE).await;
        for house in [stage.house, other] {
            stage.build(house, FULL).await;
        }
        (stage, other)
    }

    async fn build(&self, house: House, sql: &str) {
        sqlx::raw_sql(AssertSqlSafe(house.fill(sql)))
            .execute(&self.salon.owner)
            .await
            .unwrap_or_else(|e| panic!("the house stands: {e}"));
    }

    /// A connection as the app.
    pub async fn app(&self) -> Hand {
        Hand::open(&self.salon.database.app, self.house).await
    }

    /// A connection as the owner.
    pub async fn owner(&self) -> Hand {
        Hand::open(&self.salon.database.owner, self.house).await
    }

    /// The run begun, all signed and dispensed: `apply` may start.
    pub async fn ready() -> Stage {
        let stage = Stage::open().await;
        let mut app = stage.app().await;
        app.told(Event::may("run_started")).await;
        app.dispense("lot").await;
        app.sign_all_but("").await;
        stage
    }
}

/// One attack in a transaction of its own that is rolled back: arranged as the owner, done as the app.
pub struct Attempt<'a>(pub &'a mut Hand);

impl Attempt<'_> {
    /// Opens the transaction on a superuser's connection (only it may become both roles).
    pub async fn begin(hand: &mut Hand) -> Attempt<'_> {
        hand.must("begin").await;
        hand.must("set local role rinsebell_owner").await;
        Attempt(hand)
    }

    /// Arranges as the owner.
    pub async fn owner(&mut self, sql: &str) {
        self.0.must("set local role rinsebell_owner").await;
        for part in sql.split(";;").filter(|p| !p.trim().is_empty()) {
            self.0.must(part).await;
        }
    }

    /// From here on as the app.
    pub async fn app(&mut self) -> &mut Hand {
        self.0.must("set local role rinsebell_app").await;
        self.0
    }

    pub async fn end(self) {
        self.0.must("rollback").await;
    }
}
