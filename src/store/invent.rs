//! What only the owner does to fill an invented salon: a great many rows at once, in a database that holds none of
//! anybody's work. The guards of the tables stand aside for the transaction that fills them, and for nobody else: they
//! are locked meanwhile, and the transaction ends with every guard back where it was, or it never was.

use sqlx::AssertSqlSafe;
use time::Date;

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, LotId};

/// A table that is filled: its name, and its columns in the order of the text.
#[derive(Clone, Copy, Debug)]
pub struct Fill {
    /// The table.
    pub table: &'static str,
    /// Its columns.
    pub columns: &'static str,
    /// The column its rows are numbered by, where the database has a sequence for it.
    pub numbered: Option<&'static str>,
}

const fn fill(table: &'static str, numbered: Option<&'static str>, columns: &'static str) -> Fill {
    Fill { table, columns, numbered }
}

/// The tables that are filled, none before one it points at.
pub const FILLS: [Fill; 22] = [
    fill(
        "client",
        Some("client_id"),
        "salon_id, client_id, name, born_on, phone, email, curl_group, curl_index, curl_index_sd, usual_person_id, no_contact, created_at",
    ),
    fill("answer", Some("answer_id"), "salon_id, answer_id, client_id, salt, body, made_at"),
    fill("strand", None, "salon_id, client_id, length_mm, on_day"),
    fill(
        "consult",
        Some("consult_id"),
        "salon_id, consult_id, client_id, taken_at, taken_by, reaction_families, black_henna_reaction, black_henna, scalp,
         scratched_within_3_days, pregnant, medication, scalp_treatment, home_colour, silver_in_history, stylist_reason_id, sought, own_answers",
    ),
    fill(
        "consent",
        Some("consent_id"),
        "salon_id, consent_id, client_id, words, signed_name, signer, station_id, witnessed_by, signed_at",
    ),
    fill(
        "hair_reading",
        Some("reading_id"),
        "salon_id, reading_id, client_id, place, taken_at, taken_by, new_growth_mm, read_natural, sd_mm, texture, porosity, density,
         wet_stretch, breakage, lightened, confirmed_odd",
    ),
    fill(
        "booking",
        Some("booking_id"),
        "salon_id, booking_id, client_id, purpose, protocol, span, state, patch_for, made_by, made_at, reason",
    ),
    fill("booking_hands", None, "salon_id, booking_id, part_no, person_id, span, live"),
    fill("booking_place", None, "salon_id, booking_id, part_no, kind, span, live"),
    fill(
        "skin_test",
        Some("skin_test_id"),
        "salon_id, skin_test_id, client_id, product_id, lot_id, formula, place, placed_at, placed_by, taken_off_at, taken_off_by,
         read_at, read_by, outcome",
    ),
    fill(
        "hair_test",
        Some("hair_test_id"),
        "salon_id, hair_test_id, client_id, kind, product_id, formula, place, minutes, curl_formed, wet_stretch, gummy, salt_sign,
         passed, done_at, done_by, lot_id, strength",
    ),
    fill(
        "plan",
        Some("plan_id"),
        "salon_id, plan_id, client_id, protocol, revision, made_at, made_by, as_of, strand_seq, verdict, findings, applications,
         offer, offer_answer",
    ),
    fill("plan_product", None, "salon_id, plan_id, application, product_id, strand_test_asked"),
    fill(
        "run",
        Some("run_id"),
        "salon_id, run_id, client_id, plan_id, protocol, revision, reference_fingerprint, chair, started_by, started_at, ended_at, ended_how",
    ),
    fill(
        "run_step",
        None,
        "salon_id, run_id, step_no, code, chemical, chemistry, application, product_id, needs, phase_target_min, phase_least_min,
         phase_most_min, exposure_target_min, exposure_least_min, exposure_most_min, sheet_asked, sheet, mixed_with, mixed_life_min",
    ),
    fill(
        "run_event",
        None,
        "salon_id, run_id, seq, recorded_at, happened_at, by, station_id, kind, fact_id, step, hold_point, outcome, version, data,
         prev_hash, hash",
    ),
    fill("dispensed", None, "salon_id, run_id, seq, lot_id, application, grams"),
    fill(
        "incident",
        Some("incident_id"),
        "salon_id, incident_id, client_id, run_id, opened_at, kind, place, opened_by",
    ),
    fill(
        "strand_event",
        None,
        "salon_id, client_id, seq, on_day, did, family, zone, from_mm, to_mm, on_sd_days, known, mm, sd_mm, run_id, recorded_at, recorded_by, straightened",
    ),
    fill("ledger", None, "salon_id, ledger_seq, run_id, last_seq, head_hash, at, prev_hash, hash"),
    fill("aftercare", None, "salon_id, run_id, words, given_at"),
    fill("followup", Some("followup_id"), "salon_id, followup_id, client_id, at, by, outcome, next_on, note, booking_id"),
];

/// Tables so long that their references, and their indexes beside the key, are made once at the end instead of row by row.
const LONG: [&str; 8] = [
    "run_event",
    "run_step",
    "dispensed",
    "strand_event",
    "plan_product",
    "booking",
    "booking_hands",
    "booking_place",
];

/// A salon that is nobody's invention; none when every salon here is a demo.
pub async fn find_real_salon(s: &mut Scoped) -> Stored<Option<String>> {
    Ok(sqlx::query_scalar("select name from salon where not demo order by salon_id limit 1")
        .fetch_optional(&mut *s.tx)
        .await?)
}

async fn owner_says(s: &mut Scoped, sql: String) -> Stored<()> {
    // Names from the constants above and from the catalogue, never from anybody's typing.
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut *s.tx).await?;
    Ok(())
}

/// Empties every table of a salon and counts anew from 1. Only for a database whose salons are all demos: the caller
/// asked [`find_real_salon`] in this very transaction, under the lock of founding.
pub async fn empty(s: &mut Scoped) -> Stored<()> {
    owner_says(s, "set local lock_timeout = '10s'".into()).await?;
    owner_says(s, format!("truncate {} restart identity", super::demo::TABLES.join(", "))).await
}

/// What stood aside, to be put back.
#[derive(Debug)]
pub struct Aside {
    /// References and exclusions: table, name, what it says.
    constraints: Vec<(String, String, String)>,
    /// Indexes: name, how it is made.
    indexes: Vec<(String, String)>,
}

/// Lets the guards of the filled tables stand aside in this transaction; every table is locked until it ends.
pub async fn stand_aside(s: &mut Scoped) -> Stored<Aside> {
    let tables = FILLS.map(|f| f.table).join(", ");
    owner_says(s, format!("set local lock_timeout = '10s'; lock table {tables} in access exclusive mode"))
        .await?;
    for f in FILLS {
        let sql = format!(
            "alter table {0} disable trigger user; alter table {0} no force row level security",
            f.table
        );
        owner_says(s, sql).await?;
    }
    let long = LONG.map(str::to_owned).to_vec();
    let constraints: Vec<(String, String, String)> = sqlx::query_as(
        "select c.conrelid::regclass::text, quote_ident(c.conname), pg_get_constraintdef(c.oid) from pg_constraint c
         where c.contype in ('f', 'x') and c.conparentid = 0 and c.conrelid::regclass::text = any ($1) order by 1, 2 limit 200",
    )
    .bind(&long)
    .fetch_all(&mut *s.tx)
    .await?;
    let indexes: Vec<(String, String)> = sqlx::query_as(
        "select i.indexrelid::regclass::text, pg_get_indexdef(i.indexrelid) from pg_index i
         where i.indrelid::regclass::text = any ($1) and not i.indisunique
           and not exists (select from pg_constraint c where c.conrelid = i.indrelid and c.conindid = i.indexrelid) order by 1 limit 200",
    )
    .bind(&long)
    .fetch_all(&mut *s.tx)
    .await?;
    for (table, name, _) in &constraints {
        owner_says(s, format!("alter table {table} drop constraint {name}")).await?;
    }
    for (name, _) in &indexes {
        owner_says(s, format!("drop index {name}")).await?;
    }
    Ok(Aside { constraints, indexes })
}

/// Puts every guard back. References and exclusions are looked at over all rows: one that points nowhere, or hands taken
/// twice, refuse the whole.
pub async fn stand_back(s: &mut Scoped, aside: &Aside) -> Stored<()> {
    owner_says(s, "set local maintenance_work_mem = '256MB'; set local work_mem = '64MB'".into()).await?;
    for (_, made) in &aside.indexes {
        owner_says(s, made.clone()).await?;
    }
    for (table, name, said) in &aside.constraints {
        owner_says(s, format!("alter table {table} add constraint {name} {said}")).await?;
    }
    for f in FILLS {
        let sql =
            format!("alter table {0} enable trigger user; alter table {0} force row level security", f.table);
        owner_says(s, sql).await?;
    }
    // What the guard of `client` would have written.
    owner_says(s, "insert into client_name_word (salon_id, client_id, word) select c.salon_id, c.client_id, w from client c
        cross join lateral unnest(rinsebell_name_words(c.name)) w where c.erased_at is null and c.merged_into is null on conflict do nothing".into())
    .await
}

/// Takes rows into a table, as the text of COPY.
pub async fn copy(s: &mut Scoped, fill: &Fill, text: Vec<u8>) -> Stored<()> {
    let mut copy = s.tx.copy_in_raw(&format!("copy {} ({}) from stdin", fill.table, fill.columns)).await?;
    copy.send(text).await?;
    copy.finish().await?;
    Ok(())
}

/// The next number of a filled table.
pub async fn next_number(s: &mut Scoped, table: &str, column: &str) -> Stored<i64> {
    Ok(sqlx::query_scalar("select nextval(pg_get_serial_sequence($1, $2))")
        .bind(table)
        .bind(column)
        .fetch_one(&mut *s.tx)
        .await?)
}

/// The last number given in a filled table: the next one counts on from it.
pub async fn set_number(s: &mut Scoped, table: &str, column: &str, last: i64) -> Stored<()> {
    sqlx::query("select setval(pg_get_serial_sequence($1, $2), $3)")
        .bind(table)
        .bind(column)
        .bind(last)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Lots like one that was received and judged: one every so many days from a day on, each opened when it is taken into
/// use. Gives their numbers and codes, oldest first.
pub async fn repeat_lot(
    s: &mut Scoped,
    like: LotId,
    first: Date,
    every_days: i32,
    count: i32,
) -> Stored<Vec<(i64, String)>> {
    Ok(sqlx::query_as(
        "insert into lot (salon_id, product_id, code, received_on, best_before, opened_on, opened_life_days, received_grams, contents, ph,
            place, law_verdict, law, label_seen, judged_at, judged_by)
         select l.salon_id, l.product_id, l.code || '-' || lpad(n::text, 3, '0'), $3::date + n * $4 - 12, $3::date + n * $4 + 600,
            $3::date + n * $4, l.opened_life_days, l.received_grams, l.contents, l.ph, l.place, l.law_verdict, l.law, l.label_seen,
            ($3::date + n * $4 - 12)::timestamptz, l.judged_by
         from lot l, generate_series(0, $5 - 1) n where l.salon_id = $1 and l.lot_id = $2 order by n returning lot_id, code",
    )
    .bind(s.salon.0)
    .bind(like.0)
    .bind(first)
    .bind(every_days)
    .bind(count)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// What came in of each invented lot is what went out of it and a rest; the rest of those long out of use was thrown away.
pub async fn settle_stock(
    s: &mut Scoped,
    from: LotId,
    (now_in_use_from, after_days): (Date, i32),
) -> Stored<()> {
    sqlx::query(
        "with used as (select lot_id, sum(grams) as grams from dispensed where salon_id = $1 group by lot_id)
         update lot l set received_grams = least(100000, 300 + 300 * ceil(coalesce(u.grams, 0) / 300))
         from lot m left join used u on u.lot_id = m.lot_id
         where m.salon_id = $1 and m.lot_id >= $2 and l.salon_id = m.salon_id and l.lot_id = m.lot_id",
    )
    .bind(s.salon.0)
    .bind(from.0)
    .execute(&mut *s.tx)
    .await?;
    sqlx::query(
        "insert into stock_note (salon_id, lot_id, noted_at, noted_by, kind, change_grams, reason)
         select l.salon_id, l.lot_id, (l.opened_on + $4::integer)::timestamptz, l.judged_by, 'thrown-away',
            -(l.received_grams - coalesce((select sum(d.grams) from dispensed d where d.salon_id = l.salon_id and d.lot_id = l.lot_id), 0)),
            'A newer lot is in use.'
         from lot l where l.salon_id = $1 and l.lot_id >= $2 and l.opened_on < $3 order by l.lot_id",
    )
    .bind(s.salon.0)
    .bind(from.0)
    .bind(now_in_use_from)
    .bind(after_days)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// What the planner needs to know of the filled tables.
pub async fn look_over(s: &mut Scoped) -> Stored<()> {
    owner_says(s, format!("analyze client_name_word, {}", FILLS.map(|f| f.table).join(", "))).await
}

/// Parts of the products by number: what each is mixed with.
pub async fn list_parts(s: &mut Scoped) -> Stored<Vec<(i64, i64)>> {
    Ok(sqlx::query_as(
        "select product_id, part_product_id from product_part where salon_id = $1 and taken_out_at is null
         order by product_id, part_product_id limit 1000",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Heads whose estimate is worked out at the end: number and curl, after a number; at most 1000.
pub async fn list_heads(s: &mut Scoped, after: ClientId) -> Stored<Vec<(i64, Option<String>)>> {
    Ok(sqlx::query_as(
        "select client_id, curl_group from client where salon_id = $1 and client_id > $2 order by client_id limit 1000",
    )
    .bind(s.salon.0)
    .bind(after.0)
    .fetch_all(&mut *s.tx)
    .await?)
}
