//! The receptionist's list: who is due, where each one stands, in the order of calling, a page at a time.

use time::{Date, Duration, OffsetDateTime};

use super::next_free::next_free_days;
use super::openings::{SkinTest, is_chemical, skin_test};
use crate::app::App;
use crate::calendar::Zone;
use crate::domain::due::{Dates, LAPSED_DAYS, LOOK_AHEAD_DAYS, Stage, Urgency, View};
use crate::domain::followup::{Block, Group, LastWord, Outcome, Standing};
use crate::domain::growth::Rate;
use crate::domain::ids::ClientId;
use crate::reference::Reference;
use crate::store::due_list::{self as store, CHUNK, Counts, Day, DueRow, Filter};
use crate::store::openings::{self, SkinTestState};
use crate::store::{Scoped, Stored, followups};

/// Most rows of one page.
pub const PAGE: usize = 50;
/// Most chunks of rows looked through for one page; then the page says that it can look further.
const CHUNKS: usize = 8;

/// Place of a row in the order; the next page begins after it.
pub type Key = (i16, f64, i64);

/// What is asked of the list.
#[derive(Clone, Debug)]
pub struct Question<'a> {
    pub view: View,
    /// The client's usual stylist.
    pub usual: Option<i64>,
    /// Assigned to this person; 0: to nobody.
    pub assigned: Option<i64>,
    pub protocol: Option<&'a str>,
    pub curl: Option<&'a str>,
    /// Beginning of a word of the name, or part of the phone number.
    pub text: &'a str,
    pub after: Option<Key>,
}

/// A client of the list, judged.
#[derive(Clone, Debug)]
pub struct Listed {
    pub row: DueRow,
    pub stage: Stage,
    /// The last day in the list of whom to call.
    pub called_until: Date,
    pub group: Group,
    pub standing: Standing,
    pub blocks: Vec<Block>,
    pub urgency: Urgency,
}

/// One page.
#[derive(Debug)]
pub struct DuePage {
    pub rows: Vec<Listed>,
    /// Where the next page begins, when there may be one.
    pub next: Option<Key>,
    /// Of the whole list, filters aside.
    pub counts: Counts,
    /// The day of the next free chair for each service; a service it does not name has none within three weeks.
    pub free: Vec<(String, Date)>,
    /// Tries noted today, and bookings among them.
    pub noted: (i64, i64),
}

/// What rows are judged against.
struct Eye<'a> {
    reference: &'a Reference,
    zone: &'a Zone,
    valid_days: i64,
    now: OffsetDateTime,
    today: Date,
}

impl Eye<'_> {
    fn skin(&self, row: &DueRow, states: &[SkinTestState]) -> SkinTest {
        let mine: Vec<SkinTestState> =
            states.iter().filter(|x| x.client_id == row.due.client_id).cloned().collect();
        let chemical = self.reference.protocol(&row.due.protocol).is_none_or(is_chemical);
        // A test has to hold when the service can be: today, or when the window opens.
        let until = self.zone.midnight(row.due.early_on.max(self.today));
        skin_test(&mine, chemical, self.valid_days, self.now, until)
    }

    fn last_word(&self, row: &DueRow) -> Option<LastWord> {
        let outcome = Outcome::from_code(row.outcome.as_deref()?)?;
        Some(LastWord { outcome, on: self.zone.day_of(row.said_at?), next_on: row.next_on })
    }

    fn judge(&self, row: DueRow, states: &[SkinTestState]) -> Listed {
        let skin = self.skin(&row, states);
        let refused = row.plan_verdict.as_deref() == Some("refuse") || skin == SkinTest::Reacted;
        let wait_until = row.wait_until.filter(|day| *day > self.today);
        let standing = Standing {
            today: self.today,
            early_on: row.due.early_on,
            booked: row.booking_id.is_some(),
            no_contact: row.no_contact,
            refused,
            wait_until,
            last: self.last_word(&row),
        };
        let placed = row.booking_id.is_some() && row.patch_visit_at.is_some();
        let test = match skin {
            SkinTest::Visit if !placed => Some(Block::Test),
            SkinTest::Unread { .. } if !placed => Some(Block::TestUnread),
            _ => None,
        };
        let consult_days = row.consult_at.map(|at| (self.now - at).whole_days());
        let dates = dates(&row);
        let rate = Rate { mean: f64::from(row.due.rate_mm), sd: f64::from(row.due.rate_sd) };
        let target_mm = f64::from(row.due.target_mm);
        let on = (self.today, row.free_on);
        Listed {
            stage: dates.stage(self.today),
            called_until: dates.called_until(),
            group: standing.group(),
            standing,
            blocks: Block::all(refused, wait_until, test, consult_days),
            urgency: Urgency::of(&dates, rate, target_mm, on, ClientId(row.due.client_id)),
            row,
        }
    }
}

fn dates(row: &DueRow) -> Dates {
    let due = &row.due;
    Dates {
        last_on: due.last_on,
        early_on: due.early_on,
        middle_on: due.middle_on,
        late_on: due.late_on,
        least_on: due.least_on,
        latest_on: due.latest_on,
    }
}

/// Reads one page: rows in the order of calling, those that stand in the view kept, until the page is full, the list
/// ends, or enough was looked through.
///
/// # Errors
/// Those of the store.
pub async fn read_page(
    s: &mut Scoped,
    app: &App,
    zone: &Zone,
    valid_days: i64,
    asked: &Question<'_>,
) -> Stored<DuePage> {
    let now = s.now().await?;
    let today = zone.day_of(now);
    let free = next_free_days(s, app, zone).await?;
    let day = Day {
        zone: zone.name(),
        now,
        today,
        until: today.saturating_add(Duration::days(LOOK_AHEAD_DAYS)),
        lapsed: today.saturating_sub(Duration::days(LAPSED_DAYS)),
    };
    let filter = Filter {
        stage: asked.view.stage().map(Stage::code),
        latest_from: asked.view.latest_from(today),
        booked: Some(asked.view == View::Promised),
        said: (asked.view == View::Waiting).then_some(true),
        usual: asked.usual,
        assigned: asked.assigned,
        protocol: asked.protocol,
        curl: asked.curl,
        text: asked.text,
    };
    let eye = Eye { reference: &app.reference, zone, valid_days, now, today };
    let counts = store::count(s, day).await?;
    let noted = followups::count_since(s, zone.midnight(today)).await?;
    let (mut rows, mut after) = (Vec::new(), asked.after);
    for _ in 0..CHUNKS {
        let mut chunk = store::list(s, day, &free, &filter, after).await?;
        let more = chunk.len() > CHUNK;
        chunk.truncate(CHUNK);
        let ids: Vec<i64> = chunk.iter().map(|row| row.due.client_id).collect();
        let protocols: Vec<String> = chunk.iter().map(|row| row.due.protocol.clone()).collect();
        let states = openings::list_skin_tests(s, &ids, &protocols).await?;
        for row in chunk {
            let key = (row.rank, row.key, row.due.client_id);
            let listed = eye.judge(row, &states);
            let along = (listed.stage, listed.urgency.past_days);
            if asked.view.shows(along, listed.group, !listed.blocks.is_empty()) {
                if rows.len() == PAGE {
                    return Ok(DuePage { rows, next: after, counts, free, noted });
                }
                rows.push(listed);
            }
            after = Some(key);
        }
        if !more {
            return Ok(DuePage { rows, next: None, counts, free, noted });
        }
    }
    Ok(DuePage { rows, next: after, counts, free, noted })
}
