//! The consult's questions, answered at home by a link: shown beside the consult, settling nothing.

use rinsebell::work::outbox;

use crate::calls;
use crate::messages::{book, open_link, post, ready};
use crate::support::Browser;

#[tokio::test]
async fn questions_answered_at_home_stand_beside_the_consult_and_are_shown_to_nobody_else() {
    let (salon, mut desk, client) = ready().await;
    let post = post(&salon);
    book(&mut desk, client).await;
    outbox::step(&salon.app, &post.mailer).await.unwrap();
    let link = open_link(&post.letters()[0]);
    let questions = format!("{link}/questions");
    let mut phone = Browser::stranger(&salon.app);
    assert!(phone.get(&link).await.body.contains(&questions));
    let page = phone.get(&questions).await;
    assert!(
        page.body.contains("Do you take any medication?") && !page.body.contains("<script"),
        "{}",
        page.body
    );
    // Nothing said is sent back; what is too long loses nothing.
    assert_eq!(phone.post(&questions, &[("history", " ")]).await.status, 422);
    let long = "x".repeat(1001);
    let refused = phone.post(&questions, &[("medication", "not-sure"), ("history", &long)]).await;
    assert!(refused.status == 422 && refused.body.contains(&long) && refused.body.contains("checked"));
    let told = [
        ("medication", "not-sure"),
        ("pregnant", "no"),
        ("lightened", "maybe"),
        ("history", "A box of dark brown in May."),
    ];
    let done = phone.post(&questions, &told).await;
    assert!(done.status == 200 && done.body.contains("asked again in the chair"), "{}", done.body);
    assert!(!phone.get(&questions).await.body.contains("dark brown"), "not shown by the link");

    let mut chair = salon.seat("Chair", "chair", salon.staff.stylist).await;
    let consult = chair.get(&format!("/clients/{client}/consult")).await;
    assert!(
        consult.body.contains("Answered at home") && consult.body.contains("A box of dark brown in May.")
    );
    assert!(consult.body.contains("<td>not sure</td>") && !consult.body.contains("Hair lightened"));
    assert_eq!(consult.body.matches("checked").count(), 0, "nothing is ticked for the client");
    assert_eq!(desk.get(&format!("/clients/{client}/consult")).await.status, 403, "reception sees no health");

    // A link that is over takes nothing, at the database either; a link is no way to write a hundred times.
    for _ in 0..4 {
        assert_eq!(phone.post(&questions, &told).await.status, 200);
    }
    assert_eq!(phone.post(&questions, &told).await.status, 422);
    sqlx::query("update client_link set revoked_at = rinsebell_now() where client_id = $1")
        .bind(client.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    assert_eq!(phone.post(&questions, &told).await.status, 410);
    let mut app = calls::app(&salon).await;
    let forged = "insert into home_answer (salon_id, client_id, link_id, told) select salon_id, client_id, link_id, '{\"pregnant\":\"no\"}' from client_link limit 1";
    assert_eq!(calls::says(&mut app, forged.to_string()).await, "RB012 home:closed");
}
