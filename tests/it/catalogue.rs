//! The schema's own promises, read from the catalogue: every table, key, reference, grant and function.

use sqlx::Row as _;

use crate::attack::stage::Hand;
use crate::support::Salon;

/// What is no salon's: the practice clock, the migrations' own book, and what this build ships to every salon.
const NOT_OURS: &str = "('practice_clock', '_sqlx_migrations', 'shipped_protocol')";

async fn names(hand: &mut Hand, sql: &str) -> Vec<String> {
    let sql = sql.replace("NOT_OURS", NOT_OURS);
    sqlx::query(sqlx::AssertSqlSafe(sql))
        .fetch_all(&mut hand.conn)
        .await
        .expect("the catalogue answers")
        .iter()
        .map(|r| r.get::<String, _>(0))
        .collect()
}

async fn look() -> (Salon, Hand) {
    let salon = Salon::open().await;
    let hand = Hand::open(&salon.database.superuser, crate::attack::stage::House(salon.id.0)).await;
    (salon, hand)
}

const TABLES: &str = "from pg_class c where c.relkind in ('r', 'p') and c.relnamespace = 'public'::regnamespace and c.relname not in NOT_OURS";

#[tokio::test]
async fn every_table_is_fenced_and_begins_with_its_salon() {
    let (_salon, mut hand) = look().await;
    let all = names(&mut hand, &format!("select c.relname::text {TABLES}")).await;
    assert!(all.len() >= 35, "{all:?}");
    let open = names(
        &mut hand,
        &format!("select c.relname::text {TABLES} and not (c.relrowsecurity and c.relforcerowsecurity)"),
    )
    .await;
    assert!(open.is_empty(), "without forced row-level security: {open:?}");
    let unled = names(
        &mut hand,
        &format!("select c.relname::text {TABLES} and not exists (select from pg_attribute a where a.attrelid = c.oid and a.attnum = 1
            and a.attname = 'salon_id' and a.attnotnull and a.atttypid = 'bigint'::regtype)"),
    )
    .await;
    assert!(unled.is_empty(), "first column is not the salon: {unled:?}");
    let policies = names(
        &mut hand,
        &format!("select c.relname::text {TABLES} and (select string_agg(p.polname || ' ' || (select string_agg(rolname, ',') from pg_roles where oid = any (p.polroles)), '; ' order by p.polname)
            from pg_policy p where p.polrelid = c.oid) is distinct from 'owner_all rinsebell_owner; salon_only rinsebell_app'"),
    )
    .await;
    assert!(policies.is_empty(), "other policies than the fence's: {policies:?}");
    let words = names(
        &mut hand,
        "select distinct pg_get_expr(polqual, polrelid) || ' / ' || pg_get_expr(polwithcheck, polrelid) from pg_policy where polname = 'salon_only'",
    )
    .await;
    assert_eq!(words.len(), 1, "one fence for all: {words:?}");
}

#[tokio::test]
async fn every_key_and_reference_begins_with_the_salon() {
    let (_salon, mut hand) = look().await;
    let keys = names(
        &mut hand,
        "select i.indexrelid::regclass::text from pg_index i join pg_class c on c.oid = i.indrelid
         where c.relnamespace = 'public'::regnamespace and c.relname not in NOT_OURS and (i.indisunique or i.indisexclusion)
           and (select attname from pg_attribute where attrelid = i.indrelid and attnum = i.indkey[0]) is distinct from 'salon_id'",
    )
    .await;
    assert!(keys.is_empty(), "unique or exclusive without the salon first: {keys:?}");
    let references = names(
        &mut hand,
        "select k.conrelid::regclass || '.' || k.conname from pg_constraint k where k.contype = 'f' and k.connamespace = 'public'::regnamespace
           and ((select attname from pg_attribute where attrelid = k.conrelid and attnum = k.conkey[1]) <> 'salon_id'
             or (select attname from pg_attribute where attrelid = k.confrelid and attnum = k.confkey[1]) <> 'salon_id')",
    )
    .await;
    assert!(references.is_empty(), "references without the salon first: {references:?}");
    let unheld = names(
        &mut hand,
        "select c.relname || '.' || a.attname from pg_class c join pg_attribute a on a.attrelid = c.oid
         where c.relkind = 'r' and c.relnamespace = 'public'::regnamespace and c.relname not in NOT_OURS and a.attnum > 0 and not a.attisdropped
           and (a.attname like '%\\_id' or a.attname = 'by' or a.attname like '%\\_by') and a.atttypid = 'bigint'::regtype
           and not exists (select from pg_constraint k where k.conrelid = c.oid and k.contype = 'f' and a.attnum = any (k.conkey))
           and not (a.attidentity <> '' or a.attname = 'salon_id')",
    )
    .await;
    assert!(unheld.is_empty(), "ids that refer to nothing: {unheld:?}");
    let slow = names(
        &mut hand,
        "select k.conrelid::regclass || '.' || k.conname from pg_constraint k where k.contype = 'f' and k.connamespace = 'public'::regnamespace
           and (k.confrelid = 'client'::regclass or has_table_privilege('rinsebell_app', k.confrelid, 'delete'))
           and not exists (select from pg_index i where i.indrelid = k.conrelid and i.indpred is null
             and (select array_agg(n) from (select unnest(i.indkey[0:cardinality(k.conkey) - 1]) n order by 1) x)
               = (select array_agg(n) from (select unnest(k.conkey) n order by 1) y))",
    )
    .await;
    assert!(slow.is_empty(), "looked up by client, or deleted, without an index: {slow:?}");
}

#[tokio::test]
async fn the_app_owns_nothing_and_is_granted_what_it_needs_and_no_more() {
    let (_salon, mut hand) = look().await;
    let owned = names(
        &mut hand,
        "select relname::text from pg_class where pg_get_userbyid(relowner) = 'rinsebell_app'
         union all select proname::text from pg_proc where pg_get_userbyid(proowner) = 'rinsebell_app'
         union all select nspname::text from pg_namespace where pg_get_userbyid(nspowner) = 'rinsebell_app'
         union all select datname::text from pg_database where pg_get_userbyid(datdba) = 'rinsebell_app'",
    )
    .await;
    assert!(owned.is_empty(), "{owned:?}");
    for table in ["run_event", "ledger", "record_act"] {
        let grants = names(
            &mut hand,
            &format!("select privilege_type::text from information_schema.table_privileges where grantee = 'rinsebell_app' and table_name = '{table}' order by 1"),
        )
        .await;
        assert_eq!(grants, ["INSERT", "SELECT"], "{table}");
        let columns = names(
            &mut hand,
            &format!("select distinct privilege_type::text from information_schema.column_privileges where grantee = 'rinsebell_app' and table_name = '{table}' order by 1"),
        )
        .await;
        assert_eq!(columns, ["INSERT", "SELECT"], "{table}");
    }
    let wide = names(
        &mut hand,
        "select table_name || ' ' || privilege_type from information_schema.table_privileges where table_schema = 'public'
           and ((grantee = 'rinsebell_app' and (privilege_type in ('UPDATE', 'TRUNCATE', 'REFERENCES', 'TRIGGER') or is_grantable = 'YES'))
             or grantee = 'PUBLIC')",
    )
    .await;
    assert!(wide.is_empty(), "whole-table updates, or grants to everybody: {wide:?}");
    let deletes = names(
        &mut hand,
        "select table_name::text from information_schema.table_privileges where grantee = 'rinsebell_app' and privilege_type = 'DELETE' order by 1",
    )
    .await;
    // A salon that goes back to the shipped words of a message drops its own.
    assert_eq!(
        deletes,
        [
            "absence",
            "client_import",
            "closed_day",
            "hours",
            "idempotency",
            "message_words",
            "protocol_draft",
            "qualification"
        ]
    );
    let salon_moves = names(
        &mut hand,
        "select table_name || '.' || column_name from information_schema.column_privileges where grantee = 'rinsebell_app'
           and privilege_type = 'UPDATE' and column_name in ('salon_id', 'client_id', 'run_id', 'seq', 'recorded_at')",
    )
    .await;
    // The due estimate alone is written anew with the run it came from.
    assert_eq!(salon_moves, ["due.run_id"]);
}

#[tokio::test]
async fn owner_functions_are_few_pinned_and_not_for_everybody() {
    let (_salon, mut hand) = look().await;
    let ours = "from pg_proc p where p.pronamespace = 'public'::regnamespace
        and not exists (select from pg_depend d where d.objid = p.oid and d.deptype = 'e')";
    let definers = names(&mut hand, &format!("select p.proname::text {ours} and p.prosecdef and has_function_privilege('rinsebell_app', p.oid, 'execute') order by 1")).await;
    // rinsebell_now is one in practice databases alone: it reads the clock's offset.
    assert_eq!(definers, OWNER_FUNCTIONS);
    let loose = names(
        &mut hand,
        &format!("select p.proname::text {ours} and p.prosecdef and (not coalesce(p.proconfig::text, '') like '%search_path=pg_catalog%'
            or (has_function_privilege('public', p.oid, 'execute') and p.proname <> 'rinsebell_now'))"),
    )
    .await;
    assert!(loose.is_empty(), "owner functions with a loose search path, or for everybody: {loose:?}");
    let unpinned = names(
        &mut hand,
        &format!("select p.proname::text {ours} and p.prorettype = 'trigger'::regtype and not coalesce(p.proconfig::text, '') like '%search_path=pg_catalog%'"),
    )
    .await;
    assert!(unpinned.is_empty(), "triggers with a loose search path: {unpinned:?}");
    let fence = names(&mut hand, "select 'rinsebell_fence' where has_function_privilege('rinsebell_app', 'rinsebell_fence(regclass)', 'execute')").await;
    assert!(fence.is_empty());
}

/// The questions asked before a salon is known, the practice clock, and what a manager does with whole records.
const OWNER_FUNCTIONS: [&str; 7] = [
    "rinsebell_erase_client",
    "rinsebell_found_salon",
    "rinsebell_merge_client",
    "rinsebell_now",
    "rinsebell_pairing",
    "rinsebell_salon_ids",
    "rinsebell_same_clients",
];

#[tokio::test]
async fn the_guards_stand_and_are_on() {
    let (_salon, mut hand) = look().await;
    let on = names(
        &mut hand,
        "select tgrelid::regclass || '.' || tgname from pg_trigger where not tgisinternal and tgenabled = 'O' and tgrelid::regclass::text in
           ('run', 'run_step', 'run_event', 'ledger', 'dispensed', 'skin_test', 'hair_test', 'consult', 'strand_event', 'booking', 'booking_place', 'product', 'protocol_revision', 'record_act', 'client', 'message', 'client_link')",
    )
    .await;
    for guard in [
        "run.run_guard",
        "run_step.run_step_guard",
        "run_step.run_step_protocol",
        "run_event.run_event_mixture",
        "run_event.run_event_steps",
        "protocol_revision.protocol_revision_guard",
        "protocol_revision.protocol_revision_by",
        "protocol_revision.protocol_revision_shipped",
        "run_event.run_event_open",
        "run_event.run_event_guard",
        "run_event.run_event_after",
        "ledger.ledger_guard",
        "dispensed.dispensed_guard",
        "skin_test.skin_test_guard",
        "hair_test.hair_test_guard",
        "consult.consult_lock",
        "strand_event.strand_event_lock",
        "booking.booking_guard",
        "booking_place.booking_place_guard",
        "product.product_guard",
        "record_act.record_act_guard",
        "client.client_gone",
        "run_event.run_event_a_salt",
        "consult.client_stands",
        "booking.client_stands",
        "message.message_guard",
        "client_link.client_link_guard",
    ] {
        assert!(on.iter().any(|x| x == guard), "{guard} in {on:?}");
    }
}
