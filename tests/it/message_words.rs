//! The words of messages: the same kept out by the program and the database, a salon's own with a preview.

use rinsebell::domain::message::words::KEPT_OUT;

use crate::messages::{ready, write_due};
use crate::support::Salon;

#[tokio::test]
async fn the_database_keeps_the_same_words_out_as_the_program() {
    let salon = Salon::open().await;
    for stem in KEPT_OUT {
        let found: Option<String> = sqlx::query_scalar("select rinsebell_kept_out($1)")
            .bind(format!("Hello, {}x.", stem.to_uppercase()))
            .fetch_one(&salon.owner)
            .await
            .unwrap();
        assert!(found.is_some() || stem.ends_with(' '), "{stem}");
    }
    let source: String =
        sqlx::query_scalar("select prosrc from pg_proc where proname = 'rinsebell_kept_out'")
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    let mut theirs: Vec<&str> = source.split('\'').skip(1).step_by(2).collect();
    theirs.truncate(KEPT_OUT.len());
    assert_eq!(theirs, KEPT_OUT);
}

#[tokio::test]
async fn own_words_are_kept_with_a_preview_and_say_nothing_of_health() {
    let (salon, mut desk, client) = ready().await;
    let mut manager = salon.seat("Office", "desk", salon.staff.manager).await;
    let path = "/messages/words?kind=due&language=en";
    let page = manager.get(path).await;
    assert!(page.body.contains("As a client reads it"), "{}", page.body);
    let fields = |once: &str, body: &str, act: &str| {
        [
            ("once", once),
            ("kind", "due"),
            ("language", "en"),
            ("version", "0"),
            ("subject", "Come back, {first_name}"),
            ("body", body),
            ("act", act),
        ]
        .map(|(k, v)| (k, v.to_string()))
    };
    let mut send = async |body: &str, act: &str| {
        let once = manager.get(path).await.field("once");
        let typed = fields(&once, body, act);
        let typed: Vec<(&str, &str)> = typed.iter().map(|(k, v)| (*k, v.as_str())).collect();
        manager.post("/messages/words", &typed).await
    };
    let refused = send("Your relaxer is due: {link}", "keep").await;
    assert_eq!(refused.status, 422);
    assert!(
        refused.body.contains("about health or chemistry") && refused.body.contains("Your relaxer is due"),
        "{}",
        refused.body
    );
    assert_eq!(send("{link}", "look").await.status, 200);
    assert_eq!(send("We miss you: {link}", "keep").await.status, 303);
    let late = send("I was second: {link}", "keep").await;
    assert_eq!(late.status, 422, "somebody was first");
    assert!(late.body.contains("I was second"), "nothing typed is lost");
    write_due(&mut desk, client).await;
    let body: String = sqlx::query_scalar("select body from message order by message_id desc limit 1")
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(body, "We miss you: {link}");
}
