//! Clients in and out: files taken in whole or not at all, the copy that no spreadsheet reckons, a person erased.

use std::time::Instant;

use axum::body::Body;
use axum::http::{Request, header};
use rinsebell::check;
use rinsebell::domain::run::{Command, CurlReading, FactId, Happened, Rod};
use sqlx::AssertSqlSafe;

use crate::chair::{count, new_client, send, with};
use crate::support::{Answer, Browser, Salon, Walked, walked_until};

/// Sends a file as the form does.
pub async fn upload(at: &mut Browser, bytes: &[u8]) -> Answer {
    let once = at.get("/clients/import").await.field("once");
    let mut body = format!(
        "--cut\r\ncontent-disposition: form-data; name=\"once\"\r\n\r\n{once}\r\n\
         --cut\r\ncontent-disposition: form-data; name=\"file\"; filename=\"clients.csv\"\r\ncontent-type: text/csv\r\n\r\n"
    )
    .into_bytes();
    body.extend_from_slice(bytes);
    body.extend(b"\r\n--cut--\r\n");
    let request = Request::post("/clients/import")
        .header(header::COOKIE, at.cookie_line())
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=cut")
        .header("sec-fetch-site", "same-origin")
        .body(Body::from(body))
        .expect("a request");
    at.send(request).await
}

/// Uploads, keeps the columns as guessed; the file's path.
async fn to_trial(at: &mut Browser, bytes: &[u8]) -> String {
    let kept = upload(at, bytes).await;
    assert_eq!(kept.status, 303, "{}", kept.body);
    let here = kept.location;
    let page = at.get(&here).await;
    assert_eq!(page.status, 200, "{}", page.body);
    let mut fields: Vec<(String, String)> = vec![("once".into(), page.field("once"))];
    for (i, select) in page.body.split("<select id=\"column_").skip(1).enumerate() {
        let chosen =
            select.split("\" selected").next().and_then(|x| x.rsplit('"').next()).expect("one is chosen");
        fields.push((format!("column_{i}"), chosen.to_string()));
    }
    let fields: Vec<(&str, &str)> = fields.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
    let said = at.post(&here, &fields).await;
    assert_eq!(
        (said.status, said.location.as_str()),
        (303, format!("{here}/trial").as_str()),
        "{}",
        said.body
    );
    here
}

async fn take(at: &mut Browser, here: &str, others: &[(&'static str, &str)]) -> Answer {
    let page = at.get(&format!("{here}/trial")).await;
    assert_eq!(page.status, 200, "{}", page.body);
    let fields = with(vec![("mark", page.field("mark"))], others);
    send(at, &format!("{here}/trial"), &format!("{here}/trial"), &fields).await
}

const FILE: &str = "First name;Surname;Date of birth;Mobile;E-mail;Notes\r\n\
    Zoë;Ñuñez;14.05.1990;+44 1632 960001;zoe@client.invalid;likes tea\r\n\
    Bea;Dorn;;01632 960002;;\r\n\
    ;;;5;;\r\n\
    Cid;Ost;31.02.1990;;;\r\n\
    Bea;Dorn;;01632 960002;;again\r\n";

async fn clients(salon: &Salon) -> i64 {
    count(salon, "select count(*) from client where salon_id > 0 and $1 = 0", 0).await
}

#[tokio::test]
async fn a_file_is_tried_without_a_trace_taken_in_whole_and_makes_no_second_person() {
    let salon = Salon::open().await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    let here = to_trial(&mut desk, FILE.as_bytes()).await;
    let shown = desk.get(&format!("{here}/trial")).await;
    assert!(shown.body.contains("2 new, 0 perhaps here already, 2 refused"), "{}", shown.body);
    assert!(shown.body.contains("There is no name in it.") && shown.body.contains("no day with a year"));
    assert!(shown.body.contains("6 (as 3)"), "{}", shown.body);
    assert_eq!(clients(&salon).await, 0, "a trial enters nobody");
    assert_eq!(count(&salon, "select count(*) from record_act where $1 = 0", 0).await, 0);
    let refused = desk.get(&format!("{here}/refused.csv")).await;
    assert!(refused.body.starts_with("line,why\r\n4,There is no name in it.\r\n5,"), "{}", refused.body);
    let done = take(&mut desk, &here, &[("all", "skip")]).await;
    assert_eq!(done.status, 303, "{}", done.body);
    let kept: Vec<(String, String)> =
        sqlx::query_as("select name, coalesce(born_on::text, '') from client order by client_id")
            .fetch_all(&salon.owner)
            .await
            .unwrap();
    assert_eq!(kept, [("Zoë Ñuñez".into(), "1990-05-14".into()), ("Bea Dorn".into(), String::new())]);
    let facts: String = sqlx::query_scalar("select facts::text from record_act where kind = 'import'")
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(facts, r#"{"filled": 0, "entered": 2, "refused": 2, "skipped": 1}"#);
    assert_eq!(desk.get(&here).await.status, 410, "a file is taken in once");
    assert_eq!(
        count(&salon, "select count(*) from client_import where body is not null and $1 = 0", 0).await,
        0
    );
    // The same again, after one number was written otherwise and one address is missing.
    sqlx::query("update client set phone = '01632 960001', email = '' where name like 'Zo%'")
        .execute(&salon.owner)
        .await
        .unwrap();
    let here = to_trial(&mut desk, FILE.as_bytes()).await;
    let shown = desk.get(&format!("{here}/trial")).await;
    assert!(shown.body.contains("0 new, 2 perhaps here already, 2 refused"), "{}", shown.body);
    assert!(shown.body.contains("same name and birth day"));
    // A line's own choice goes before the choice for all.
    assert_eq!(take(&mut desk, &here, &[("all", "fill"), ("line_3", "skip")]).await.status, 303);
    assert_eq!(clients(&salon).await, 2);
    let zoe: (String, String) = sqlx::query_as("select phone, email from client where name like 'Zo%'")
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(zoe, ("01632 960001".into(), "zoe@client.invalid".into()), "filled, not written over");
    let here = to_trial(&mut desk, FILE.as_bytes()).await;
    assert_eq!(take(&mut desk, &here, &[("all", "both")]).await.status, 303);
    assert_eq!(clients(&salon).await, 4, "two of a name, when somebody says so");
    assert_eq!(check::run(&salon.database.owner).await.unwrap().findings, Vec::<String>::new());
}

#[tokio::test]
async fn what_changed_since_the_trial_is_shown_and_nothing_is_taken_in() {
    let salon = Salon::open().await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    let here = to_trial(&mut desk, FILE.as_bytes()).await;
    let page = desk.get(&format!("{here}/trial")).await;
    new_client(&mut desk, "Bea Dorn", "1990-05-14").await;
    let fields = [("once", page.field("once")), ("mark", page.field("mark"))];
    let fields: Vec<(&str, &str)> = fields.iter().map(|(a, b)| (*a, b.as_str())).collect();
    let back = desk.post(&format!("{here}/trial"), &fields).await;
    assert_eq!(back.status, 422);
    assert!(back.body.contains("1 new, 1 perhaps here already"), "{}", back.body);
    assert_eq!(clients(&salon).await, 1);
    // A day later the file is forgotten, seen or not.
    salon.advance(std::time::Duration::from_secs(86_400)).await;
    rinsebell::work::step(&salon.app).await.unwrap();
    assert_eq!(count(&salon, "select count(*) from client_import where $1 = 0", 0).await, 0);
}

#[tokio::test]
async fn files_that_are_none_come_back_with_words_and_old_encodings_are_told() {
    let salon = Salon::open().await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    let unmarked: Vec<u8> = "name\r\nZoë\r\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    for (bytes, words) in [
        (&b""[..], "Choose the file"),
        (&b"\x00\x01\x02\x03"[..], "This is no text"),
        (&unmarked[..], "This is no text"),
        (&b"\r\n"[..], "is empty"),
    ] {
        let back = upload(&mut desk, bytes).await;
        assert_eq!(back.status, 422);
        assert!(back.body.contains(words), "{words}: {}", back.body);
    }
    let old = upload(&mut desk, b"name;phone\r\nZo\xeb;1234567\r\n").await;
    let page = desk.get(&old.location).await;
    assert!(
        page.body.contains("Zoë") && page.body.contains("Windows-1252") && page.body.contains("semicolons")
    );
    let none = desk
        .post(&old.location, &[("once", &page.field("once")), ("column_0", "phone"), ("column_1", "nothing")])
        .await;
    assert_eq!(none.status, 422);
    assert!(none.body.contains("Say which column is the name"));
    let mut chair = salon.seat("Chair", "chair", salon.staff.stylist).await;
    assert_eq!(chair.get(&old.location).await.status, 403);
}

/// Lines of the file below; tests/slow asks for a hundred thousand, the most a file may hold.
fn rows_asked() -> usize {
    std::env::var("RINSEBELL_ROWS").map_or(15_000, |n| n.parse().expect("a number"))
}

/// Many clients in one file. The time is printed; the program is not optimised here.
#[tokio::test]
async fn many_clients_come_in_and_more_than_a_file_may_hold_are_refused() {
    let rows = rows_asked();
    let salon = Salon::open().await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    let mut file = String::from("name,phone,email,born\r\n");
    for n in 0..rows {
        file += &format!(
            "\"Client {n}, of many\",+44 20 {:07},c{n}@client.invalid,19{:02}-0{}-1{}\r\n",
            n,
            n % 100,
            n % 9 + 1,
            n % 10
        );
    }
    let begun = Instant::now();
    let here = to_trial(&mut desk, file.as_bytes()).await;
    let read = begun.elapsed();
    let done = take(&mut desk, &here, &[("all", "skip")]).await;
    assert_eq!(done.status, 303, "{}", done.body);
    eprintln!(
        "{rows} clients: uploaded and read in {read:?}, tried and taken in after {:?}",
        begun.elapsed()
    );
    assert_eq!(clients(&salon).await, i64::try_from(rows).unwrap());
    let here = to_trial(&mut desk, file.as_bytes()).await;
    let again = Instant::now();
    let shown = desk.get(&format!("{here}/trial")).await;
    assert!(
        shown.body.contains(&format!("0 new, {rows} perhaps here already, 0 refused")),
        "{}",
        &shown.body[..2000]
    );
    eprintln!("the same tried again among {rows}: {:?}", again.elapsed());
    file += &"One,,,\r\n".repeat(100_001 - rows);
    let back = upload(&mut desk, file.as_bytes()).await;
    assert!(back.status == 422 && back.body.contains("more than 100,000 rows"), "{}", back.status);
}

#[tokio::test]
async fn the_copy_of_all_clients_is_no_formula_comes_back_as_the_same_people_and_holds_this_salon_alone() {
    let salon = Salon::open().await;
    sqlx::query(
        "with s as (insert into salon (name, zone) values ('Elsewhere', 'UTC') returning salon_id)
        insert into client (salon_id, name, phone) select salon_id, 'Foreign One', '01632 960002' from s",
    )
    .execute(&salon.owner)
    .await
    .unwrap();
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    for (name, phone) in
        [("=HYPERLINK(\"x\")", "+44 1632 960001"), ("@Bea, \"B\"\u{201c}", "01632 960002"), ("-1", "")]
    {
        sqlx::query("insert into client (salon_id, name, phone) values ($1,$2,$3)")
            .bind(salon.id.0)
            .bind(name)
            .bind(phone)
            .execute(&salon.owner)
            .await
            .unwrap();
    }
    let copy = office.get("/clients.csv").await;
    assert_eq!(copy.status, 200);
    assert!(!copy.body.contains("Foreign One"));
    // OWASP, "CSV Injection": no cell begins with one of these.
    for line in copy.body.lines().skip(1) {
        for cell in line.split(',') {
            assert!(!cell.trim_start_matches('"').starts_with(['=', '+', '-', '@', '\t']), "{line}");
        }
    }
    let here = to_trial(&mut office, copy.body.as_bytes()).await;
    let shown = office.get(&format!("{here}/trial")).await;
    assert!(shown.body.contains("0 new, 3 perhaps here already, 0 refused"), "{}", shown.body);
    assert!(!shown.body.contains("Foreign One"));
    let told: i64 =
        sqlx::query_scalar("select (facts ->> 'clients')::bigint from record_act where kind = 'export'")
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert_eq!(told, 3);
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    assert_eq!(desk.get("/clients.csv").await.status, 403);
}

#[tokio::test]
async fn telephone_numbers_are_compared_alike_here_and_in_the_database() {
    let salon = Salon::open().await;
    for phone in ["+44 1632 960001", "01632-960001", "0049 (30) 1234567", "12345", "", "٠١٢٣٤٥٦٧", "1234567"]
    {
        let there: Option<String> = sqlx::query_scalar("select rinsebell_phone_key($1)")
            .bind(phone)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
        assert_eq!(there, rinsebell::domain::client_import::phone_key(phone), "{phone}");
    }
}

/// Every place of the database where a text holds these letters.
async fn holding(salon: &Salon, letters: &str) -> Vec<String> {
    let columns: Vec<(String, String, bool)> = sqlx::query_as(
        "select c.relname::text, a.attname::text, a.atttypid = 'bytea'::regtype from pg_class c join pg_attribute a on a.attrelid = c.oid
         where c.relkind = 'r' and c.relnamespace = 'public'::regnamespace and a.attnum > 0 and not a.attisdropped
           and a.atttypid in ('text'::regtype, 'jsonb'::regtype, 'text[]'::regtype, 'bytea'::regtype)",
    )
    .fetch_all(&salon.owner)
    .await
    .unwrap();
    let mut found = Vec::new();
    for (table, column, bytes) in columns {
        let said = if bytes { format!("encode({column}, 'escape')") } else { format!("{column}::text") };
        let sql = format!("select count(*) from {table} where {said} ilike $1");
        let n: i64 = sqlx::query_scalar(AssertSqlSafe(sql))
            .bind(format!("%{letters}%"))
            .fetch_one(&salon.owner)
            .await
            .unwrap();
        if n > 0 {
            found.push(format!("{table}.{column}"));
        }
    }
    found
}

#[tokio::test]
async fn an_erased_person_stands_nowhere_and_the_chain_still_proves_what_was_done() {
    let Walked { salon, run, who } = walked_until("finish").await;
    salon.fact(run, 770, Happened::TestCurlRead { rod: Rod::First, reading: CurlReading::C }).await.unwrap();
    let reason = "Nerys Amblin turned her head".to_string();
    salon.fact(run, 771, Happened::FactWithdrawn { fact_id: FactId(770), reason }).await.unwrap();
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let client: i64 = sqlx::query_scalar("select client_id from run").fetch_one(&salon.owner).await.unwrap();
    let base = format!("/clients/{client}");
    let erase = format!("{base}/erase");
    let version = office.get(&erase).await.field("version");
    let typed = |version: &str, name: &str| {
        vec![
            ("version", version.to_string()),
            ("why", "client-asked".to_string()),
            ("typed_name", name.to_string()),
        ]
    };
    let open = send(&mut office, &erase, &erase, &typed(&version, "Nerys Amblin")).await;
    assert_eq!(open.status, 422);
    assert!(open.body.contains("A service is under way"), "{}", open.body);
    salon.act(run, who, Command::FinishRun).await.unwrap();
    // Words and ways of hers in every table that holds some.
    for sql in [
        "update client set phone = '01632 960777', email = 'nerys@client.invalid' where client_id = {c}",
        "insert into answer (salon_id, client_id, salt, body) values ({s}, {c}, '\\x00112233445566778899aabbccddeeff', 'Nerys Amblin is on medication')",
        "update consult set words_id = (select max(answer_id) from answer), read_by_guardian = 'Mother Amblin' where client_id = {c}",
        "update consent set words = 'I, Nerys Amblin, agree.', drawing = 'Nerys Amblin' where client_id = {c}",
        "insert into booking (salon_id, client_id, purpose, span, made_by, reason) values ({s}, {c}, 'service', tstzrange(rinsebell_now() + interval '9 days', rinsebell_now() + interval '9 days 2 hours'), {m}, 'Amblin rang')",
        "insert into followup (salon_id, client_id, by, outcome, note) values ({s}, {c}, {m}, 'spoke', 'Nerys will ring')",
        "insert into contact_wish (salon_id, client_id, channel, agreed, by) values ({s}, {c}, 'email', true, {m})",
        "insert into client_link (salon_id, client_id, opens, booking_id, made_by, expires_at) select {s}, {c}, 'booking', max(booking_id), {m}, rinsebell_now() + interval '9 days' from booking",
        "insert into message (salon_id, client_id, kind, channel, language, address, subject, body, message_ref, link_id, booking_id, made_by, next_at)
           select {s}, {c}, 'booked', 'email', 'en', 'nerys@client.invalid', 'Your visit', 'Nerys, come', 'r1@salon.invalid', max(link_id), max(booking_id), {m}, rinsebell_now() from client_link",
        "update plan set offer = 'Nerys waits', offer_answer = 'Amblin says yes' where client_id = {c}",
        "insert into home_answer (salon_id, client_id, link_id, told, history) select {s}, {c}, max(link_id), '{}', 'Nerys had a box dye' from client_link",
        "insert into waiting (salon_id, client_id, protocol, from_on, until_on, made_by, note) values ({s}, {c}, 'curl-retouch', current_date, current_date + 9, {m}, 'Nerys likes mornings')",
        "insert into due_assignment (salon_id, client_id, person_id, by) values ({s}, {c}, {m}, {m})",
        "insert into call_claim (salon_id, client_id, by, span) values ({s}, {c}, {m}, tstzrange(rinsebell_now(), rinsebell_now() + interval '9 minutes'))",
        "insert into incident (salon_id, client_id, run_id, kind, opened_by) select {s}, {c}, run_id, 'other', {m} from run",
        "insert into incident_account (salon_id, incident_id, client_id, onset_at, signs, sites, by) select {s}, incident_id, {c}, rinsebell_now() - interval '1 hour', array['redness'], 'where Nerys said', {m} from incident",
        "insert into stock_note (salon_id, lot_id, noted_by, kind, change_grams, reason, run_id) select {s}, d.lot_id, {m}, 'thrown-away', -1, 'Amblin had less', d.run_id from dispensed d limit 1",
        "insert into client_import (salon_id, made_by, file_name, body) values ({s}, {m}, 'c.csv', 'name,Nerys Amblin')",
    ] {
        let sql = sql.replace("{c}", &client.to_string()).replace("{s}", &salon.id.to_string()).replace("{m}", &salon.staff.manager.to_string());
        sqlx::query(AssertSqlSafe(sql.clone())).execute(&salon.owner).await.unwrap_or_else(|e| panic!("{sql}: {e}"));
    }
    assert!(holding(&salon, "amblin").await.len() >= 10, "{:?}", holding(&salon, "amblin").await);
    let head: Vec<u8> =
        sqlx::query_scalar("select head_hash from ledger").fetch_one(&salon.owner).await.unwrap();
    assert_eq!(send(&mut office, &erase, &erase, &typed(&version, "Nerys Ambling")).await.status, 422);
    let before = holding(&salon, "nerys").await.len();
    assert!(before >= 10);
    let done = send(&mut office, &erase, &erase, &typed(&version, "Nerys Amblin")).await;
    assert_eq!(done.status, 303, "{}", done.body);
    for letters in ["nerys", "amblin", "960777", "medication"] {
        // What the tables of rules say of medication is not hers.
        let found: Vec<String> = holding(&salon, letters)
            .await
            .into_iter()
            .filter(|x| !x.starts_with("protocol_") && !x.starts_with("shipped_"))
            .collect();
        assert_eq!(found, Vec::<String>::new(), "{letters}");
    }
    let after: Vec<u8> =
        sqlx::query_scalar("select head_hash from ledger").fetch_one(&salon.owner).await.unwrap();
    assert_eq!(head, after, "every printed head still fits");
    assert_eq!(check::run(&salon.database.owner).await.unwrap().findings, Vec::<String>::new());
    let proof = office.get(&format!("/proof/runs/{run}")).await;
    assert!(
        proof.body.contains("the record is whole")
            && proof.body.contains(&format!("No name, number {client}")),
        "{}",
        proof.body
    );
    assert_eq!(office.get(&base).await.status, 410);
    assert!(!office.get("/clients").await.body.contains("No name, number"), "nobody to choose");
    let states: (String, String) = sqlx::query_as("select b.state, m.state from booking b, message m")
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(states, ("cancelled".into(), "stopped".into()));
    // What is left cannot be changed unseen, nor can the lines said to be erased.
    for (forged, said) in [
        (
            "update run_event set data = data || '{\"reason\": \"she agreed\"}' where kind = 'fact_withdrawn'",
            "its words do not give its hash",
        ),
        ("update erased_line set left_hash = sha256('x')", "whose words were erased"),
        (
            "update record_act set facts = facts || '{\"photos\": 7}'",
            "of the book of records: its words do not give its hash",
        ),
    ] {
        let mut tx = salon.owner.begin().await.unwrap();
        sqlx::query(forged).execute(&mut *tx).await.unwrap();
        tx.commit().await.unwrap();
        let found = check::run(&salon.database.owner).await.unwrap().findings;
        assert!(found.iter().any(|f| f.contains(said)), "{forged}: {found:?}");
    }
    // Nothing more is written about nobody, and the name is not written back.
    let mut app = salon.app.begin(salon.id).await.unwrap();
    let no = rinsebell::store::clients::set_born_on(
        &mut app,
        rinsebell::domain::ids::ClientId(client),
        time::macros::date!(1990 - 01 - 01),
    )
    .await;
    assert!(no.unwrap_err().to_string().contains("RB016"));
}

#[tokio::test]
async fn one_clients_whole_record_is_one_file_and_stands_in_the_book() {
    let Walked { salon, run, who } = walked_until("finish").await;
    salon.act(run, who, Command::FinishRun).await.unwrap();
    let client: i64 = sqlx::query_scalar("select client_id from run").fetch_one(&salon.owner).await.unwrap();
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let file = office.get(&format!("/clients/{client}/record")).await;
    assert_eq!(file.status, 200);
    for words in [
        "Nerys Amblin",
        "<style>",
        "1994-03-02",
        "patch test",
        "The words shown.",
        "Straightening cream",
        "lot 7K-",
        "back right",
        "Service finished",
        "Head of this visit",
    ] {
        assert!(file.body.contains(words), "{words}");
    }
    assert!(!file.body.contains("src=") && !file.body.contains("<link"), "nothing beside the file");
    assert!(file.headers[header::CONTENT_DISPOSITION].to_str().unwrap().contains("attachment"));
    assert_eq!(
        count(&salon, "select count(*) from record_act where kind = 'copy' and client_id = $1", client).await,
        1
    );
    let mut chair = salon.seat("Chair", "chair", salon.staff.stylist).await;
    assert_eq!(chair.get(&format!("/clients/{client}/record")).await.status, 403);
    let hub = office.get("/clients/import").await;
    assert!(hub.body.contains(&format!("copied the record of number {client} out")), "{}", hub.body);
}
