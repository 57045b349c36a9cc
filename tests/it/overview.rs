//! The manager's overview: each figure counted from rows that are known, for the manager alone, salon by salon.

use std::time::Duration;

use rinsebell::domain::ids::ClientId;
use rinsebell::domain::protocol::HoldPoint;
use rinsebell::domain::run::{Command, HeadPlace, Signed};
use rinsebell::flow::runs;
use time::macros::{date, datetime};
use time::{Date, OffsetDateTime};

use crate::support::{Browser, Salon, start, walked_until};

/// Thursday 14 May 2026, 10:00 in Paris: the week 2026-W20, from 11 May.
async fn salon_in_may() -> Salon {
    let salon = Salon::open().await;
    salon.set_clock(datetime!(2026-05-14 08:00 UTC)).await;
    salon
}

async fn office(salon: &Salon) -> Browser {
    salon.seat("Office", "office", salon.staff.manager).await
}

/// A table file taken apart as RFC 4180 has it: quoted fields, doubled quotes, lines ended with CR LF.
fn parsed(text: &str) -> Vec<Vec<String>> {
    let (mut lines, mut fields, mut field, mut quoted) = (Vec::new(), Vec::new(), String::new(), false);
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => {
                chars.next();
                field.push('"');
            }
            '"' => quoted = !quoted,
            ',' if !quoted => fields.push(std::mem::take(&mut field)),
            '\r' if !quoted => {
                assert_eq!(chars.next(), Some('\n'), "CR LF");
                fields.push(std::mem::take(&mut field));
                lines.push(std::mem::take(&mut fields));
            }
            other => field.push(other),
        }
    }
    assert!(!quoted && field.is_empty() && fields.is_empty(), "the last line ends");
    lines
}

async fn file(office: &mut Browser, name: &str) -> Vec<Vec<String>> {
    let answer = office.get(&format!("/overview/{name}.csv")).await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    assert_eq!(answer.headers["content-type"], "text/csv; charset=utf-8; header=present");
    let lines = parsed(&answer.body);
    assert!(lines.iter().all(|l| l.len() == lines[0].len()), "{lines:?}");
    lines
}

fn line<'a>(lines: &'a [Vec<String>], first: &str) -> Vec<&'a str> {
    let found = lines.iter().find(|l| l[0] == first).unwrap_or_else(|| panic!("no {first} in {lines:?}"));
    found.iter().map(String::as_str).collect()
}

async fn owner(salon: &Salon, sql: &'static str, client: ClientId) {
    sqlx::query(sql).bind(salon.id.0).bind(client.0).execute(&salon.owner).await.expect("arranged");
}

async fn booking(salon: &Salon, client: ClientId, from: OffsetDateTime, state: &str, by: i64) -> i64 {
    sqlx::query_scalar(
        "insert into booking (salon_id, client_id, purpose, protocol, span, state, made_by)
         values ($1,$2,'service','curl-retouch', tstzrange($3, $3 + interval '3 hours'), $4, $5) returning booking_id",
    )
    .bind(salon.id.0)
    .bind(client.0)
    .bind(from)
    .bind(state)
    .bind(by)
    .fetch_one(&salon.owner)
    .await
    .expect("a booking")
}

/// Even chances lie 90 days (25 mm at 0.28 mm a day, each day begun counts) after a service nobody measured: 10 February
/// leads to 11 May, 3 February to 4 May.
#[tokio::test]
async fn whoever_is_due_stands_once_in_the_week_of_even_chances() {
    let salon = salon_in_may().await;
    let reception = salon.staff.reception.0;
    let mut of = Vec::new();
    for name in ["Untried Ash", "Tried Birch", "Spoke Cedar", "Quiet Dale", "Booked Elm"] {
        of.push(salon.due_client(name, "2026-02-10").await);
    }
    salon.due_client("Earlier Fern", "2026-02-03").await;
    salon.due_client("Later Gorse", "2026-08-01").await;
    for (client, outcome) in
        [(of[1], "message-left"), (of[2], "no-answer"), (of[3], "spoke"), (of[4], "no-answer")]
    {
        sqlx::query("insert into followup (salon_id, client_id, at, by, outcome) values ($1,$2, rinsebell_now() - interval '2 hours', $3, $4)")
            .bind(salon.id.0)
            .bind(client.0)
            .bind(reception)
            .bind(outcome)
            .execute(&salon.owner)
            .await
            .expect("noted");
    }
    // The last word counts: two tries, then an answer.
    sqlx::query("insert into followup (salon_id, client_id, by, outcome) values ($1,$2,$3,'declined')")
        .bind(salon.id.0)
        .bind(of[2].0)
        .bind(reception)
        .execute(&salon.owner)
        .await
        .expect("noted");
    owner(&salon, "update client set no_contact = true where salon_id = $1 and client_id = $2", of[3]).await;
    booking(&salon, of[4], datetime!(2026-05-20 08:00 UTC), "booked", reception).await;

    let mut office = office(&salon).await;
    let lines = file(&mut office, "due").await;
    assert_eq!(lines.len(), 25, "a head and 24 weeks");
    assert_eq!(line(&lines, "2026-W20"), ["2026-W20", "2026-05-11", "5", "1", "1", "1", "1", "1"]);
    assert_eq!(line(&lines, "2026-W19"), ["2026-W19", "2026-05-04", "1", "0", "0", "0", "1", "0"]);
    let sum: u32 = lines[1..].iter().map(|l| l[2].parse::<u32>().unwrap()).sum();
    assert_eq!(sum, 6, "who is due beyond the weeks shown is not among them");

    let page = office.get("/overview").await;
    assert_eq!(page.status, 200, "{}", page.body);
    assert!(page.body.contains("<h1>6 due, 3 not reached yet</h1>"), "{}", page.body);
    assert!(page.body.contains("6 clients are due up to this week and not here yet: 1 in the book, 1 answered, 1 tried without an answer, 2 not reached."));
    assert!(page.body.contains("href=\"/overview/due/rows?week=2026-W20\""));
    let rows = office.get("/overview/due/rows?week=2026-W20").await.body;
    assert!(rows.contains("5 clients are due") && !rows.contains("Earlier Fern"), "{rows}");
    for (name, stands) in
        [("Untried Ash", "not reached yet"), ("Quiet Dale", "wants no contact"), ("Booked Elm", "Wed 20 May")]
    {
        let at = rows.find(name).unwrap_or_else(|| panic!("{name}: {rows}"));
        assert!(rows[at..].contains(stands), "{name}: {rows}");
    }
}

/// Three people, Monday to Saturday from nine to six, are 54 hours each; three chairs while the door is open are 162.
#[tokio::test]
async fn hours_open_are_counted_and_hours_wanted_come_from_who_is_due() {
    let salon = salon_in_may().await;
    salon.open_desk(3, 1).await;
    let away = "insert into absence (salon_id, person_id, span) values ($1, $2, '[2026-05-19 00:00+02, 2026-05-20 00:00+02)')";
    sqlx::query(away)
        .bind(salon.id.0)
        .bind(salon.staff.stylist.0)
        .execute(&salon.owner)
        .await
        .expect("a day off");
    let client = salon.due_client("Untried Ash", "2026-02-26").await;
    let id =
        booking(&salon, client, datetime!(2026-05-20 08:00 UTC), "booked", salon.staff.reception.0).await;
    sqlx::query("insert into booking_place (salon_id, booking_id, part_no, kind, span) values ($1,$2,1,'chair','[2026-05-20 08:00Z, 2026-05-20 10:30Z)')")
        .bind(salon.id.0)
        .bind(id)
        .execute(&salon.owner)
        .await
        .expect("a chair");
    let mut office = office(&salon).await;
    let lines = file(&mut office, "hours").await;
    assert_eq!(lines.len(), 13);
    let next = line(&lines, "2026-W21");
    assert_eq!((next[6], next[7], next[11]), ("162.0", "2.5", "153.0"), "{next:?}");
    let after = line(&lines, "2026-W22");
    assert_eq!((after[6], after[7], after[11]), ("162.0", "0.0", "162.0"), "{after:?}");
    // One client, 77 days after the last service: she comes once at most, and likelier than not within the weeks.
    let visits: f64 = lines[1..].iter().map(|l| l[2].parse::<f64>().unwrap()).sum();
    assert!((0.5..1.0).contains(&visits), "{visits}");
    for l in &lines[1..] {
        let n = |i: usize| l[i].parse::<f64>().unwrap();
        assert!(n(3) <= n(4) && n(4) <= n(5) && n(8) <= n(9) && n(9) <= n(10), "{l:?}");
    }
    let rows = office.get("/overview/hours/rows?week=2026-W22").await.body;
    assert!(rows.contains("1 client may come") && rows.contains("Untried Ash"), "{rows}");
    for bad in ["2026-W20", "2026-W33", "2020-W01", "soon", ""] {
        assert_eq!(office.get(&format!("/overview/hours/rows?week={bad}")).await.status, 400, "{bad}");
    }
}

#[tokio::test]
async fn who_did_not_come_and_what_went_wrong_stand_in_their_week() {
    let salon = salon_in_may().await;
    let client = salon.client("Ilka Moorcroft").await;
    let by = salon.staff.reception.0;
    // Sunday 10 May, 23:30 in Paris, is the week before; half an hour later it is this one.
    for (from, state) in [
        (datetime!(2026-05-10 21:30 UTC), "missed"),
        (datetime!(2026-05-10 22:00 UTC), "missed"),
        (datetime!(2026-05-12 08:00 UTC), "kept"),
        (datetime!(2026-05-13 08:00 UTC), "kept"),
        (datetime!(2026-05-13 12:00 UTC), "cancelled"),
        (datetime!(2026-05-16 08:00 UTC), "booked"),
        // Before the weeks shown.
        (datetime!(2026-02-20 08:00 UTC), "missed"),
    ] {
        booking(&salon, client, from, state, by).await;
    }
    for (at, kind) in [
        ("2026-05-12 09:00Z", "sting"),
        ("2026-05-12 10:00Z", "stop-and-rinse"),
        ("2026-04-20 10:00Z", "sting"),
    ] {
        sqlx::query("insert into incident (salon_id, client_id, opened_at, kind) values ($1,$2,$3::text::timestamptz,$4)")
            .bind(salon.id.0)
            .bind(client.0)
            .bind(at)
            .bind(kind)
            .execute(&salon.owner)
            .await
            .expect("an incident");
    }
    let other = salon.second().await;
    sqlx::query("with c as (insert into client (salon_id, name) values ($1, 'Una R.') returning client_id)
                 insert into incident (salon_id, client_id, opened_at, kind) select $1, client_id, '2026-05-12 09:00Z', 'sting' from c")
        .bind(other.0)
        .execute(&salon.owner)
        .await
        .expect("theirs");
    let mut office = office(&salon).await;
    let missed = file(&mut office, "missed").await;
    assert_eq!(line(&missed, "2026-W20"), ["2026-W20", "2026-05-11", "2", "1", "1", "1", "0.333"]);
    assert_eq!(line(&missed, "2026-W19"), ["2026-W19", "2026-05-04", "0", "1", "0", "0", "1.000"]);
    assert_eq!(line(&missed, "2026-W18")[6], "", "nothing of nothing");
    let incidents = file(&mut office, "incidents").await;
    assert_eq!(line(&incidents, "2026-W20"), ["2026-W20", "2026-05-11", "2", "1", "1", "0", "0", "0", "0"]);
    assert_eq!(line(&incidents, "2026-W17")[2..5], ["1", "0", "1"]);
    let page = office.get("/overview").await.body;
    assert!(
        page.contains(
            "Of 4 visits booked and not called off, 2 did not come (50\u{a0}%); 1 called off before."
        ),
        "{page}"
    );
    assert!(page.contains("3 incidents were opened: 1 stop and rinse, 2 it stings."), "{page}");
    let rows = office.get("/overview/missed/rows?week=2026-W20").await.body;
    assert!(
        rows.contains("1 client did not come") && rows.matches("<th scope=\"row\"").count() == 5,
        "{rows}"
    );
    let rows = office.get("/overview/incidents/rows?week=2026-W20").await.body;
    assert!(rows.contains("<h1 dir=\"auto\">2 incidents</h1>") && rows.contains("Stop and rinse"), "{rows}");
}

/// What the Run itself makes of the same record: each opening application's sections, minutes.
async fn by_the_run(salon: &Salon, run: rinsebell::domain::ids::RunId) -> Vec<Vec<f64>> {
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let loaded = runs::load(&mut s, &salon.app, run).await.unwrap().unwrap();
    s.commit().await.unwrap();
    let state = loaded.state();
    let minutes = |e: &rinsebell::domain::run::exposure::Exposure| {
        e.sections.iter().map(|x| x.total(loaded.now).as_seconds_f64() / 60.0).collect()
    };
    state.exposures.iter().map(minutes).collect()
}

#[tokio::test]
async fn times_are_those_the_run_itself_kept_and_grams_those_of_its_bowls() {
    let walked = walked_until("finish").await;
    let (salon, run) = (&walked.salon, walked.run);
    salon.act(run, walked.who, Command::FinishRun).await.unwrap();
    let seen = by_the_run(salon, run).await;
    assert_eq!(seen.len(), 2, "straightener and lotion: {seen:?}");
    // A name a spreadsheet would reckon stays a name, in its file as on its screen.
    let names = "update person set name = '=1+1' where salon_id = $1 and person_id = $2";
    sqlx::query(names).bind(salon.id.0).bind(walked.who.0).execute(&salon.owner).await.unwrap();
    salon.advance(Duration::from_secs(60)).await;
    let mut office = office(salon).await;
    let times = file(&mut office, "times").await;
    let sum = |column: usize| times[1..].iter().map(|l| l[column].parse::<u64>().unwrap()).sum::<u64>();
    assert_eq!(sum(2), seen.iter().map(|a| a.len() as u64).sum::<u64>());
    let apart: Vec<f64> = seen
        .iter()
        .filter(|a| a.len() > 1)
        .map(|a| a.iter().copied().fold(0.0, f64::max) - a.iter().copied().fold(f64::MAX, f64::min))
        .collect();
    let spread = file(&mut office, "spread").await;
    assert_eq!(spread.len(), 2);
    assert_eq!((spread[1][0].as_str(), spread[1][1].as_str()), ("'=1+1", apart.len().to_string().as_str()));
    let mean = apart.iter().sum::<f64>() / apart.len() as f64;
    assert!((spread[1][3].parse::<f64>().unwrap() - mean).abs() < 0.051, "{spread:?} {apart:?}");
    let rows = office.get(&format!("/overview/spread/rows?person={}", walked.who)).await.body;
    assert!(rows.contains(&format!("/proof/runs/{run}")), "{rows}");
    for (path, status) in [("person=7", 404), ("person=x", 400), ("", 400)] {
        assert_eq!(office.get(&format!("/overview/spread/rows?{path}")).await.status, status, "{path}");
    }
    let week = times[1..].iter().find(|l| l[2] != "0").expect("a week with quadrants")[0].clone();
    let rows = office.get(&format!("/overview/times/rows?week={week}")).await.body;
    assert!(rows.contains(&format!("/proof/runs/{run}")) && rows.contains("longest allowed"), "{rows}");

    let grams: Vec<(String, f64)> = sqlx::query_as(
        "select p.name, sum(d.grams)::float8 from dispensed d join lot l using (salon_id, lot_id) join product p using (salon_id, product_id)
         where d.salon_id = $1 group by 1",
    )
    .bind(salon.id.0)
    .fetch_all(&salon.owner)
    .await
    .unwrap();
    assert!(!grams.is_empty());
    let stock = file(&mut office, "stock").await;
    // 77 to 84 days of the weeks shown have gone: between eleven and twelve weeks.
    for (name, grams) in grams {
        let week: f64 = line(&stock, &name)[2].parse().unwrap();
        assert!((grams / 12.0 - 0.06..=grams / 11.0 + 0.06).contains(&week), "{name}: {week} of {grams}");
    }
}

#[tokio::test]
async fn what_said_no_is_told_apart_from_what_somebody_answered_for() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let who = salon.staff.stylist;
    let run = salon.start_run(stage.plan, who).await.unwrap();
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let loaded = runs::load(&mut s, &salon.app, run).await.unwrap().unwrap();
    s.commit().await.unwrap();
    for step in &loaded.frame.protocol.steps {
        let code = step.code.as_str();
        if step.hold_points.contains(&HoldPoint::Scalp) {
            let red =
                Signed { hold_point: HoldPoint::Scalp, value: "broken".into(), place: Some(HeadPlace::Nape) };
            salon
                .act(run, who, Command::SignHoldPoint { step: step.code.clone(), signed: red })
                .await
                .unwrap();
            break;
        }
        salon.sign_all(run, who, code, None).await;
        salon.act(run, who, start(code)).await.unwrap();
    }
    owner(&salon, "update plan set verdict = 'refuse' where salon_id = $1 and client_id = $2", stage.client)
        .await;
    for sql in [
        "update lot set quarantined = true, quarantine_reason = 'label not read' where salon_id = $1 and lot_id = $2",
        "insert into lot_judgement (salon_id, lot_id, judged_by, why, place, law_verdict)
           values ($1, $2, (select min(person_id) from person where salon_id = $1), 'label read', 'eu', 'within')",
    ] {
        sqlx::query(sql).bind(salon.id.0).bind(stage.lotion_lot.0).execute(&salon.owner).await.expect("judged");
    }
    // Somebody works at a chair, so that hours are open and drawn.
    salon.open_desk(2, 1).await;
    let mut office = office(&salon).await;
    let lines = file(&mut office, "holds").await;
    assert_eq!(lines.len(), 4, "{lines:?}");
    assert_eq!(line(&lines, "Scalp")[1..], ["said no", "1"]);
    assert_eq!(line(&lines, "Plan refused")[1..], ["said no", "1"]);
    assert_eq!(lines[3][1..], ["went on, answered for", "1"].map(str::to_string));
    let rows = office.get("/overview/holds/rows?what=scalp").await.body;
    assert!(rows.contains("Scalp: 1 time") && rows.contains(&format!("/proof/runs/{run}")), "{rows}");
    let rows = office.get("/overview/holds/rows?what=plan-refused").await.body;
    assert!(rows.contains(&format!("/clients/{}/plan", stage.client)), "{rows}");
    let rows = office.get("/overview/holds/rows?what=lot-released").await.body;
    assert!(rows.contains(&format!("/shelf/lots/{}", stage.lotion_lot)), "{rows}");
    assert_eq!(office.get("/overview/holds/rows?what=nothing").await.status, 400);
    // Each bar leads where its row of the table does, and says the same.
    let page = office.get("/overview").await.body;
    let links = |named: bool| -> Vec<&str> {
        let all = page.split("<a href=\"").skip(1).filter_map(|rest| rest.split_once('"'));
        let mine = all.filter(|(_, rest)| rest.starts_with(" aria-label=") == named).map(|(href, _)| href);
        mine.filter(|href| href.starts_with("/overview/") && href.contains("/rows?")).collect()
    };
    let (mut bars, mut rows) = (links(true), links(false));
    bars.sort_unstable();
    rows.sort_unstable();
    assert!(bars.len() >= 3 + 12, "the three that were held up, twelve weeks of hours: {bars:?}");
    assert_eq!(bars, rows);
    assert!(page.contains("aria-label=\"What: Scalp, How: said no, Times: 1\""), "{page}");
}

#[tokio::test]
async fn the_overview_is_the_managers_and_an_empty_salon_has_one() {
    let salon = salon_in_may().await;
    for (name, who) in
        [("Chair 1", salon.staff.stylist), ("Basin", salon.staff.assistant), ("Desk", salon.staff.reception)]
    {
        let mut seat = salon.seat(name, "chair", who).await;
        for path in ["/overview", "/overview/due.csv", "/overview/due/rows?week=2026-W20"] {
            assert_eq!(seat.get(path).await.status, 403, "{name} {path}");
        }
        assert!(!seat.get("/floor").await.body.contains("href=\"/overview\""));
    }
    let mut office = office(&salon).await;
    assert!(office.get("/floor").await.body.contains("href=\"/overview\""));
    let page = office.get("/overview").await;
    assert_eq!(page.status, 200);
    for words in [
        "Nobody is overdue",
        "Nobody known today is likely",
        "No quadrant was timed",
        "Nothing was held up",
        "The shelf is empty",
    ] {
        assert!(page.body.contains(words), "{words}: {}", page.body);
    }
    let today: Date = date!(2026 - 05 - 14);
    assert_eq!(rinsebell::domain::overview::Week::of(today).to_string(), "2026-W20");
    let rows = office.get("/overview/due/rows?week=2026-W20").await;
    assert!(rows.status == 200 && rows.body.contains("0 clients are due"), "{}", rows.body);
}
