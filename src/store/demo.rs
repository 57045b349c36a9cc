//! What only the owner does, for the demo salon alone: founding it, dating its rows, taking it away again.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PlanId, RunId, SalonId};

/// Waits for whoever else is founding a salon, then says whether there is one. Held to the end of the transaction.
pub async fn lock_and_find_any(s: &mut Scoped) -> Stored<bool> {
    sqlx::query("select pg_advisory_xact_lock(hashtextextended('rinsebell found salon', 0))")
        .execute(&mut *s.tx)
        .await?;
    Ok(sqlx::query_scalar("select exists (select 1 from salon)").fetch_one(&mut *s.tx).await?)
}

/// Demo salons, at most 20.
pub async fn list_demo_salons(s: &mut Scoped) -> Stored<Vec<SalonId>> {
    let ids: Vec<i64> =
        sqlx::query_scalar("select salon_id from salon where demo order by salon_id limit 20")
            .fetch_all(&mut *s.tx)
            .await?;
    Ok(ids.into_iter().map(SalonId).collect())
}

/// Founds a demo salon; the transaction is that salon's from here on.
pub async fn found(
    s: &mut Scoped,
    name: &str,
    zone: &str,
    place: &str,
    emergency_number: &str,
    eye_wash_place: &str,
) -> Stored<()> {
    let id: i64 = sqlx::query_scalar(
        "insert into salon (name, zone, place, emergency_number, eye_wash_place, demo) values ($1,$2,$3,$4,$5,true) returning salon_id",
    )
    .bind(name)
    .bind(zone)
    .bind(place)
    .bind(emergency_number)
    .bind(eye_wash_place)
    .fetch_one(&mut *s.tx)
    .await?;
    s.salon = SalonId(id);
    sqlx::query("select set_config('rinsebell.salon', $1, true)")
        .bind(id.to_string())
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Dates the newest consult of a client.
pub async fn date_consult(s: &mut Scoped, client: ClientId, at: OffsetDateTime) -> Stored<()> {
    sqlx::query(
        "update consult set taken_at = $3 where salon_id = $1 and consult_id =
           (select max(consult_id) from consult where salon_id = $1 and client_id = $2)",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(at)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Dates a consent.
pub async fn date_consent(s: &mut Scoped, consent: i64, at: OffsetDateTime) -> Stored<()> {
    sqlx::query("update consent set signed_at = $3 where salon_id = $1 and consent_id = $2")
        .bind(s.salon.0)
        .bind(consent)
        .bind(at)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Dates a reading.
pub async fn date_reading(s: &mut Scoped, reading: i64, at: OffsetDateTime) -> Stored<()> {
    sqlx::query("update hair_reading set taken_at = $3 where salon_id = $1 and reading_id = $2")
        .bind(s.salon.0)
        .bind(reading)
        .bind(at)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Dates a line of a strand's record.
pub async fn date_strand_event(s: &mut Scoped, client: ClientId, seq: i32, at: OffsetDateTime) -> Stored<()> {
    sqlx::query(
        "update strand_event set recorded_at = $4 where salon_id = $1 and client_id = $2 and seq = $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(seq)
    .bind(at)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// When a patch test was placed, taken off and read.
pub struct PatchDates {
    pub placed_at: OffsetDateTime,
    pub off_at: Option<OffsetDateTime>,
    pub off_by: i64,
    pub read_at: Option<OffsetDateTime>,
    pub read_by: Option<i64>,
    pub outcome: Option<String>,
}

/// Dates a patch test, with what was read.
pub async fn date_skin_test(s: &mut Scoped, test: i64, d: &PatchDates) -> Stored<()> {
    sqlx::query(
        "update skin_test set placed_at = $3, taken_off_at = $4, taken_off_by = case when $4::timestamptz is not null then $5::bigint end,
           read_at = $6, read_by = $7, outcome = $8 where salon_id = $1 and skin_test_id = $2",
    )
    .bind(s.salon.0)
    .bind(test)
    .bind(d.placed_at)
    .bind(d.off_at)
    .bind(d.off_by)
    .bind(d.read_at)
    .bind(d.read_by)
    .bind(&d.outcome)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Dates a test on hair.
pub async fn date_hair_test(s: &mut Scoped, test: i64, at: OffsetDateTime) -> Stored<()> {
    sqlx::query("update hair_test set done_at = $3 where salon_id = $1 and hair_test_id = $2")
        .bind(s.salon.0)
        .bind(test)
        .bind(at)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Dates a try to reach a client.
pub async fn date_followup(s: &mut Scoped, followup: i64, at: OffsetDateTime) -> Stored<()> {
    sqlx::query("update followup set at = $3 where salon_id = $1 and followup_id = $2")
        .bind(s.salon.0)
        .bind(followup)
        .bind(at)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Dates a plan.
pub async fn date_plan(s: &mut Scoped, plan: PlanId, at: OffsetDateTime) -> Stored<()> {
    sqlx::query("update plan set made_at = $3 where salon_id = $1 and plan_id = $2")
        .bind(s.salon.0)
        .bind(plan.0)
        .bind(at)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Dates the start of a run.
pub async fn date_run(s: &mut Scoped, run: RunId, at: OffsetDateTime) -> Stored<()> {
    sqlx::query("update run set started_at = $3 where salon_id = $1 and run_id = $2")
        .bind(s.salon.0)
        .bind(run.0)
        .bind(at)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Says when the events written next were recorded: heard only from the owner, in a demo salon, and only for the
/// past (migration "demo record"). To the end of the transaction, or until said anew.
pub async fn record_at(s: &mut Scoped, at: OffsetDateTime) -> Stored<()> {
    sqlx::query("select set_config('rinsebell.demo_at', ($1::timestamptz)::text, true)")
        .bind(at)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Tables of a salon's rows, in an order in which none is still pointed at when it goes.
pub const TABLES: [&str; 61] = [
    "aftercare",
    "due",
    "message",
    "home_answer",
    "client_link",
    "contact_wish",
    "address_stop",
    "message_words",
    "post",
    "due_assignment",
    "call_claim",
    "waiting",
    "closed_day",
    "calendar_feed",
    "followup",
    "booking_hands",
    "booking_place",
    "booking",
    "absence",
    "hours",
    "place_kind",
    "ledger",
    "erased_line",
    "client_import",
    "record_act",
    "incident_photo",
    "result_photo",
    "incident_account",
    "incident",
    "dispensed",
    "stock_note",
    "session",
    "strand_event",
    "run_event",
    "run_step",
    "run",
    "plan_product",
    "plan",
    "protocol_draft",
    "protocol_revision",
    "hair_photo",
    "hair_test",
    "skin_test",
    "lot_judgement",
    "recall_call",
    "lot",
    "product_part",
    "product_time",
    "product",
    "strand",
    "hair_reading",
    "consent",
    "consult",
    "answer",
    "client_name_word",
    "client",
    "station",
    "qualification",
    "person",
    "idempotency",
    "salon",
];

/// Takes a demo salon away with all its rows; a salon that is none is left as it is.
pub async fn remove(s: &mut Scoped, salon: SalonId) -> Stored<()> {
    let demo: bool = sqlx::query_scalar("select exists (select 1 from salon where salon_id = $1 and demo)")
        .bind(salon.0)
        .fetch_one(&mut *s.tx)
        .await?;
    for table in TABLES.iter().filter(|_| demo) {
        // The names are the constants above.
        sqlx::query(sqlx::AssertSqlSafe(format!("delete from {table} where salon_id = $1")))
            .bind(salon.0)
            .execute(&mut *s.tx)
            .await?;
    }
    Ok(())
}
