//! Messages: written in the act's own transaction, to those who agreed, once; sent at least once under one Message-ID;
//! stopped by one request.

use std::path::PathBuf;

use axum::body::Body;
use axum::http::{Request, header};
use rinsebell::domain::ids::ClientId;
use rinsebell::mail::Mailer;
use rinsebell::work::outbox;
use time::macros::datetime;

use crate::bookings::{desk_in_may, form_of, search, send};
use crate::support::{Answer, Browser, Salon};

pub struct Post {
    dir: PathBuf,
    pub mailer: Mailer,
}

pub fn post(salon: &Salon) -> Post {
    let dir = std::env::temp_dir().join(format!("rb-post-{}-{}", std::process::id(), salon.database.name));
    let _ = std::fs::remove_dir_all(&dir);
    let mailer = Mailer::new(&format!("folder:{}", dir.display()), None, "https://salon.invalid").unwrap();
    Post { dir, mailer }
}

impl Post {
    /// Every message in the folder, decoded as far as these tests read it.
    pub fn letters(&self) -> Vec<String> {
        let Ok(folder) = std::fs::read_dir(&self.dir) else { return Vec::new() };
        folder
            .map(|f| std::fs::read_to_string(f.unwrap().path()).unwrap())
            // Soft line breaks and = of quoted-printable (RFC 2045 §6.7).
            .map(|text| text.replace("=\r\n", "").replace("=3D", "="))
            .collect()
    }
}

impl Drop for Post {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.dir);
    }
}

/// The path of the first link of a message that opens something.
fn link_of(letter: &str, nth: usize) -> String {
    let at = letter.match_indices("https://salon.invalid/c/").nth(nth).expect("a link").0;
    letter[at + "https://salon.invalid".len()..]
        .split(|c: char| c.is_whitespace() || c == '>')
        .next()
        .unwrap()
        .to_string()
}

/// The opening link stands in the body, after the headers' link to stop.
pub fn open_link(letter: &str) -> String {
    let body = letter.split_once("\r\n\r\n").expect("a body").1;
    link_of(body, 0)
}

async fn agree(salon: &Salon, desk: &mut Browser, client: ClientId, language: &str) {
    sqlx::query("update client set email = 'ilka@client.invalid' where client_id = $1")
        .bind(client.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let page = desk.get(&format!("/clients/{client}/messages")).await;
    assert_eq!(page.status, 200, "{}", page.body);
    let done = desk
        .post(
            &format!("/clients/{client}/wishes"),
            &[("once", &page.field("once")), ("channel", "email"), ("agreed", "yes"), ("language", language)],
        )
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
}

async fn states(salon: &Salon) -> Vec<(String, String)> {
    sqlx::query_as("select kind, state from message order by message_id")
        .fetch_all(&salon.owner)
        .await
        .unwrap()
}

pub async fn ready() -> (Salon, Browser, ClientId) {
    let salon = desk_in_may(2, 1).await;
    let client = salon.due_client("Ilka Moorcroft", "2026-02-19").await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    agree(&salon, &mut desk, client, "en").await;
    (salon, desk, client)
}

pub async fn book(desk: &mut Browser, client: ClientId) -> i64 {
    let page = desk.get(&search(client)).await;
    let done = send(desk, &form_of(&page, 0)).await;
    assert_eq!(done.status, 303, "{}", done.body);
    done.location_id()
}

pub async fn write_due(desk: &mut Browser, client: ClientId) -> Answer {
    let path = format!("/clients/{client}/messages");
    let page = desk.get(&path).await;
    desk.post(&path, &[("once", &page.field("once"))]).await
}

/// A mail program's one-click request (RFC 8058 §3.2): no cookie, no origin.
async fn one_click(salon: &Salon, path: &str) -> Answer {
    let request = Request::post(path)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(Body::from("List-Unsubscribe=One-Click"))
        .unwrap();
    Browser::stranger(&salon.app).send(request).await
}

#[tokio::test]
async fn a_booking_is_told_once_and_its_link_moves_and_cancels_it() {
    let (salon, mut desk, client) = ready().await;
    let post = post(&salon);
    let id = book(&mut desk, client).await;
    assert_eq!(states(&salon).await, [("booked".into(), "waiting".into())]);
    assert_eq!(outbox::step(&salon.app, &post.mailer).await.unwrap(), 1);
    assert_eq!(
        outbox::step(&salon.app, &post.mailer).await.unwrap(),
        0,
        "what has left does not leave again"
    );
    let letters = post.letters();
    assert_eq!(letters.len(), 1);
    assert!(letters[0].contains("ilka@client.invalid"), "{}", letters[0]);

    let mut phone = Browser::stranger(&salon.app);
    let link = open_link(&letters[0]);
    let page = phone.get(&link).await;
    assert_eq!(page.status, 200, "{}", page.body);
    assert!(page.body.contains("You are booked") && !page.body.contains("<script"), "{}", page.body);
    let chosen = [("start", page.field("start").replace("&#43;", "+")), ("print", page.field("print"))];
    let chosen: Vec<(&str, &str)> = chosen.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let moved = phone.post(&format!("{link}/booking"), &chosen).await;
    assert_eq!(moved.status, 200, "{}", moved.body);
    let states_of: Vec<(i64, String)> =
        sqlx::query_as("select booking_id, state from booking where purpose = 'service' order by 1")
            .fetch_all(&salon.owner)
            .await
            .unwrap();
    assert_eq!(states_of[0], (id, "cancelled".into()));
    assert_eq!((states_of.len(), states_of[1].1.as_str()), (2, "booked"));

    // The link was used; a fresh one came.
    assert_eq!(phone.get(&link).await.status, 410);
    assert_eq!(phone.post(&format!("{link}/booking"), &chosen).await.status, 410);
    outbox::step(&salon.app, &post.mailer).await.unwrap();
    let fresh = post.letters().iter().map(|l| open_link(l)).find(|l| *l != link).expect("a second message");
    let gone = phone.post(&format!("{fresh}/cancellation"), &[]).await;
    assert_eq!(gone.status, 200, "{}", gone.body);
    let left: i64 = sqlx::query_scalar("select count(*) from booking where state = 'booked'")
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(left, 0);
    let kinds: Vec<String> = states(&salon).await.into_iter().map(|(k, _)| k).collect();
    assert_eq!(kinds, ["booked", "booked", "cancelled"]);
}

#[tokio::test]
async fn a_due_client_chooses_an_opening_by_the_link_and_nothing_else_opens() {
    let (salon, mut desk, client) = ready().await;
    let post = post(&salon);
    assert_eq!(write_due(&mut desk, client).await.status, 303);
    outbox::step(&salon.app, &post.mailer).await.unwrap();
    let link = open_link(&post.letters()[0]);
    let mut phone = Browser::stranger(&salon.app);
    let page = phone.get(&link).await;
    assert!(page.body.contains("Choose a time"), "{}", page.body);
    // Nothing of the team's screens is reachable with it.
    for path in ["/clients", "/regrowth", &format!("/clients/{client}")] {
        assert_eq!(phone.get(path).await.status, 303, "{path}");
    }
    // Neither another salon's, nor a changed token, nor a stop token opens it.
    let other = salon.second().await;
    let token = link.rsplit('/').next().unwrap();
    let mut changed = token.to_string();
    let last = if changed.ends_with('A') { "Q" } else { "A" };
    changed.replace_range(20..21, last);
    for path in
        [format!("/c/{other}/{token}"), format!("/c/{}/{changed}", salon.id), format!("/c/{}/0", salon.id)]
    {
        assert_eq!(phone.get(&path).await.status, 404, "{path}");
    }
    let chosen = [("start", page.field("start").replace("&#43;", "+")), ("print", page.field("print"))];
    let chosen: Vec<(&str, &str)> = chosen.iter().map(|(k, v)| (*k, v.as_str())).collect();
    assert_eq!(phone.post(&format!("{link}/booking"), &chosen).await.status, 200);
    assert_eq!(phone.get(&link).await.status, 410, "used once");
    let by: i64 =
        sqlx::query_scalar("select made_by from booking where state = 'booked' and purpose = 'service'")
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert_eq!(by, salon.staff.reception.0, "in the name of whoever sent the link");
}

#[tokio::test]
async fn a_link_ends_with_its_time() {
    let (salon, mut desk, client) = ready().await;
    let post = post(&salon);
    write_due(&mut desk, client).await;
    outbox::step(&salon.app, &post.mailer).await.unwrap();
    let link = open_link(&post.letters()[0]);
    salon.advance(std::time::Duration::from_secs(31 * 86_400)).await;
    let mut phone = Browser::stranger(&salon.app);
    assert_eq!(phone.get(&link).await.status, 410);
    assert_eq!(
        phone
            .post(&format!("{link}/booking"), &[("start", "2026-06-20T10:00:00+02:00"), ("print", "")])
            .await
            .status,
        410
    );
    // Stopping messages works all the same (RFC 8058 §3.1: the address in the header must work).
    let letter = &post.letters()[0];
    let stop = link_of(letter.split("List-Unsubscribe:").nth(1).unwrap(), 0);
    assert_eq!(one_click(&salon, &stop).await.status, 200);
}

#[tokio::test]
async fn one_request_stops_messages_and_nothing_leaves_afterwards() {
    let (salon, mut desk, client) = ready().await;
    let post = post(&salon);
    book(&mut desk, client).await;
    outbox::step(&salon.app, &post.mailer).await.unwrap();
    let letter = post.letters()[0].clone();
    let stop = link_of(letter.split("List-Unsubscribe:").nth(1).unwrap(), 0);
    // A second message waits while the client stops.
    assert_eq!(write_due(&mut desk, client).await.status, 303);
    for _ in 0..2 {
        assert_eq!(one_click(&salon, &stop).await.status, 200);
    }
    assert_eq!(outbox::step(&salon.app, &post.mailer).await.unwrap(), 0);
    assert_eq!(states(&salon).await[1], ("due".into(), "stopped".into()));
    assert_eq!(post.letters().len(), 1);
    let refused = write_due(&mut desk, client).await;
    assert_ne!(refused.status, 303);
    // The link to stop opens nothing else.
    let mut phone = Browser::stranger(&salon.app);
    assert_eq!(phone.post(&format!("{stop}/cancellation"), &[]).await.status, 404);
    assert_eq!(phone.post(&format!("{stop}/booking"), &[("start", ""), ("print", "")]).await.status, 404);
    // And a mail program that looks at the address without sending stops nothing.
    let (other_salon, mut other_desk, other) = ready().await;
    let other_post = self::post(&other_salon);
    book(&mut other_desk, other).await;
    outbox::step(&other_salon.app, &other_post.mailer).await.unwrap();
    let stop = link_of(other_post.letters()[0].split("List-Unsubscribe:").nth(1).unwrap(), 0);
    let looked = Browser::stranger(&other_salon.app).get(&stop).await;
    assert!(looked.body.contains("No more messages"), "{}", looked.body);
    let agreed: bool = sqlx::query_scalar("select agreed from contact_wish order by wish_id desc limit 1")
        .fetch_one(&other_salon.owner)
        .await
        .unwrap();
    assert!(agreed);
}

#[tokio::test]
async fn nobody_is_written_to_who_did_not_agree_whatever_asks_the_database() {
    let salon = desk_in_may(2, 1).await;
    let client = salon.due_client("Ilka Moorcroft", "2026-02-19").await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    let refused = write_due_of_stranger(&mut desk, client).await;
    assert_ne!(refused.status, 303, "no consent");
    book(&mut desk, client).await;
    assert!(states(&salon).await.is_empty(), "a booking is made all the same, and nothing is written");
    // The database by itself.
    agree(&salon, &mut desk, client, "es").await;
    write_due(&mut desk, client).await;
    let again = "insert into message (salon_id, client_id, kind, channel, language, address, subject, body, message_ref, link_id, next_at)
        select salon_id, client_id, kind, channel, language, address, $1, body, message_ref || $2, link_id, next_at from message limit 1";
    let try_it = async |subject: &str, more: &str| {
        sqlx::query(again)
            .bind(subject)
            .bind(more)
            .execute(&salon.owner)
            .await
            .map(|_| ())
            .map_err(|e| e.to_string())
    };
    try_it("Hola", "1").await.expect("agreed");
    assert!(try_it("Your patch test", "2").await.unwrap_err().contains("message:kept-out"));
    sqlx::query("update client set no_contact = true where client_id = $1")
        .bind(client.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    assert!(try_it("Hola", "3").await.unwrap_err().contains("message:no-contact"));
    sqlx::query("update client set no_contact = false where client_id = $1")
        .bind(client.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    sqlx::query("insert into contact_wish (salon_id, client_id, channel, agreed, by) values ($1,$2,'email',false,null)")
        .bind(salon.id.0)
        .bind(client.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    assert!(try_it("Hola", "4").await.unwrap_err().contains("message:no-consent"));
    // What waits is stopped when it would leave.
    let post = post(&salon);
    assert_eq!(outbox::step(&salon.app, &post.mailer).await.unwrap(), 0);
    assert!(states(&salon).await.iter().all(|(_, state)| state == "stopped"));
}

async fn write_due_of_stranger(desk: &mut Browser, client: ClientId) -> Answer {
    let page = desk.get(&format!("/clients/{client}/messages")).await;
    assert!(page.body.contains("has not agreed"), "{}", page.body);
    desk.post(&format!("/clients/{client}/messages"), &[("once", &page.field("once"))]).await
}

#[tokio::test]
async fn a_message_is_sent_by_one_of_two_processes_and_again_after_a_crash() {
    let (salon, mut desk, client) = ready().await;
    let post = post(&salon);
    write_due(&mut desk, client).await;
    let (a, b) = tokio::join!(outbox::step(&salon.app, &post.mailer), outbox::step(&salon.app, &post.mailer));
    assert_eq!(a.unwrap() + b.unwrap(), 1, "one lease, one sending");
    // As if the process died after taking it: leased, not settled.
    sqlx::query("update message set state = 'waiting', ended_at = null")
        .execute(&salon.owner)
        .await
        .unwrap_err();
    write_due(&mut desk, client).await;
    sqlx::query(
        "update message set leased_until = rinsebell_now() + interval '2 minutes' where state = 'waiting'",
    )
    .execute(&salon.owner)
    .await
    .unwrap();
    assert_eq!(outbox::step(&salon.app, &post.mailer).await.unwrap(), 0, "held by the other");
    salon.advance(std::time::Duration::from_secs(121)).await;
    assert_eq!(outbox::step(&salon.app, &post.mailer).await.unwrap(), 1);
    assert_eq!(post.letters().len(), 2);
}

#[tokio::test]
async fn an_old_message_books_no_second_visit_and_stops_the_address_it_went_to() {
    let (salon, mut desk, client) = ready().await;
    let post = post(&salon);
    write_due(&mut desk, client).await;
    outbox::step(&salon.app, &post.mailer).await.unwrap();
    let letter = post.letters()[0].clone();
    book(&mut desk, client).await;
    let mut phone = Browser::stranger(&salon.app);
    assert_eq!(phone.get(&open_link(&letter)).await.status, 410, "booked by telephone meanwhile");
    // The record has another address by now: what was asked for is the one written to.
    sqlx::query("update client set email = 'new@client.invalid' where client_id = $1")
        .bind(client.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let stop = link_of(letter.split("List-Unsubscribe:").nth(1).unwrap(), 0);
    assert_eq!(one_click(&salon, &stop).await.status, 200);
    let stopped: bool = sqlx::query_scalar(
        "select exists (select from address_stop where address_hash = rinsebell_address_hash('ilka@client.invalid'))",
    )
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    assert!(stopped);
}

#[tokio::test]
async fn a_message_is_taken_back_while_it_waits_and_not_while_it_leaves() {
    let (salon, mut desk, client) = ready().await;
    write_due(&mut desk, client).await;
    let id: i64 = sqlx::query_scalar("select message_id from message").fetch_one(&salon.owner).await.unwrap();
    sqlx::query("update message set leased_until = rinsebell_now() + interval '1 minute'")
        .execute(&salon.owner)
        .await
        .unwrap();
    let take = async |desk: &mut Browser| {
        let once = rinsebell::secret::new_uuid();
        desk.post(&format!("/messages/{id}/stop"), &[("once", &once)]).await.status
    };
    assert_eq!(take(&mut desk).await, 409, "it is leaving");
    salon.advance(std::time::Duration::from_secs(61)).await;
    assert_eq!(take(&mut desk).await, 303);
    assert_eq!(states(&salon).await, [("due".into(), "stopped".into())]);
}

#[tokio::test]
async fn a_reminder_comes_the_day_before_and_never_twice() {
    let (salon, mut desk, client) = ready().await;
    book(&mut desk, client).await;
    assert_eq!(outbox::remind(&salon.app).await.unwrap(), 0, "a week ahead: not yet");
    salon.set_clock(datetime!(2026-05-20 06:00 UTC)).await;
    assert_eq!(outbox::remind(&salon.app).await.unwrap(), 1);
    assert_eq!(outbox::remind(&salon.app).await.unwrap(), 0);
    let (kind, body): (String, String) =
        sqlx::query_as("select kind, body from message order by message_id desc limit 1")
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert_eq!(kind, "reminder");
    assert!(body.contains("Thu 21 May"), "{body}");
}

#[tokio::test]
async fn a_booking_the_desk_cancels_is_told_with_a_link_to_choose_again() {
    let (salon, mut desk, client) = ready().await;
    let id = book(&mut desk, client).await;
    let page = desk.get(&format!("/bookings/{id}")).await;
    let form =
        [("once", page.field("once")), ("version", page.field("version")), ("reason", "stylist ill".into())];
    let form: Vec<(&str, &str)> = form.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let done = desk.post(&format!("/bookings/{id}/cancellation"), &form).await;
    assert_eq!(done.status, 303, "{}", done.body);
    let told = [("booked".to_string(), "stopped".to_string()), ("cancelled".into(), "waiting".into())];
    assert_eq!(states(&salon).await, told, "what was not told yet is told no more");
    let body: String = sqlx::query_scalar("select body from message where kind = 'cancelled'")
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert!(body.contains("{link}") && !body.contains("ill"), "{body}");
}
