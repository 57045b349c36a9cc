//! Quiet hours hold at leaving too: what nobody waits for stays, what answers an act goes, in the program and the database.

use std::time::Duration;

use rinsebell::domain::message::Kind;
use rinsebell::work::outbox;
use time::macros::datetime;

use crate::calls::{app, says};
use crate::messages::{book, post, ready, write_due};
use crate::support::Salon;

async fn states(salon: &Salon) -> Vec<(String, String, i16)> {
    sqlx::query_as("select kind, state, tries from message order by message_id")
        .fetch_all(&salon.owner)
        .await
        .unwrap()
}

#[tokio::test]
async fn at_night_only_what_answers_an_act_leaves() {
    let (salon, mut desk, client) = ready().await;
    let post = post(&salon);
    assert_eq!(write_due(&mut desk, client).await.status, 303);
    book(&mut desk, client).await;
    // 21:00 in Paris, where quiet hours begin: the try was put off to there, or the program was stopped all day.
    salon.set_clock(datetime!(2026-05-14 19:00 UTC)).await;
    assert_eq!(outbox::step(&salon.app, &post.mailer).await.unwrap(), 1);
    let of = |kind: &str, state: &str, tries| (kind.to_string(), state.to_string(), tries);
    assert_eq!(states(&salon).await, [of("due", "waiting", 0), of("booked", "sent", 1)]);
    salon.set_clock(datetime!(2026-05-15 05:59 UTC)).await;
    assert_eq!(outbox::step(&salon.app, &post.mailer).await.unwrap(), 0, "07:59");
    salon.set_clock(datetime!(2026-05-15 06:00 UTC)).await;
    assert_eq!(outbox::step(&salon.app, &post.mailer).await.unwrap(), 1, "08:00 is quiet no more");
    assert_eq!(states(&salon).await[0], of("due", "sent", 1));
    assert_eq!(post.letters().len(), 2);
}

#[tokio::test]
async fn the_database_gives_no_lease_in_quiet_hours() {
    let (salon, mut desk, client) = ready().await;
    write_due(&mut desk, client).await;
    book(&mut desk, client).await;
    let mut app = app(&salon).await;
    let lease = |kind: &str| {
        format!(
            "update message set leased_until = rinsebell_now() + interval '1 minute' where kind = '{kind}'"
        )
    };
    salon.set_clock(datetime!(2026-05-14 21:30 UTC)).await;
    assert_eq!(says(&mut app, lease("due")).await, "RB011 message:quiet");
    assert_eq!(says(&mut app, lease("booked")).await, "done 1");
    let off = "update salon set quiet_weekdays = '{5}', quiet_from = '00:00', quiet_until = '00:00'";
    sqlx::query(off).execute(&salon.owner).await.unwrap();
    assert_eq!(says(&mut app, lease("due")).await, "done 1", "Thursday: the hours were switched off");
    salon.set_clock(datetime!(2026-05-15 10:00 UTC)).await;
    assert_eq!(says(&mut app, lease("due")).await, "RB011 message:quiet", "on a quiet day");
    // What had left before is recorded at any hour.
    let sent = "update message set state = 'sent', ended_at = rinsebell_now(), leased_until = null where kind = 'due'";
    assert_eq!(says(&mut app, sent.into()).await, "done 1");
    for kind in Kind::ALL {
        let quiet: bool = sqlx::query_scalar("select rinsebell_keeps_quiet($1)")
            .bind(kind.code())
            .fetch_one(&salon.owner)
            .await
            .unwrap();
        assert_eq!(quiet, kind.keeps_quiet(), "{kind:?}");
    }
}

#[tokio::test]
async fn what_waited_until_its_link_ended_does_not_leave() {
    let (salon, mut desk, client) = ready().await;
    let post = post(&salon);
    write_due(&mut desk, client).await;
    salon.advance(Duration::from_secs(30 * 86_400 + 1)).await;
    assert_eq!(outbox::step(&salon.app, &post.mailer).await.unwrap(), 0);
    let said: (String, String) =
        sqlx::query_as("select state, said from message").fetch_one(&salon.owner).await.unwrap();
    assert_eq!(said, ("stopped".to_string(), "too late, its link has ended".to_string()));
    assert!(post.letters().is_empty());
}

/// A request given up while its transaction begins leaves no connection inside one.
#[tokio::test]
async fn a_beginning_given_up_leaves_nothing_open() {
    let salon = Salon::open().await;
    for n in 0..400_u64 {
        let begin = salon.app.begin(salon.id);
        let _ = tokio::time::timeout(Duration::from_micros(n * 5), begin).await;
    }
    let open = "select count(*) from pg_stat_activity where datname = current_database() and state like 'idle in transaction%'";
    let end = std::time::Instant::now() + Duration::from_secs(20);
    loop {
        let left: i64 = sqlx::query_scalar(open).fetch_one(&salon.owner).await.unwrap();
        if left == 0 {
            break;
        }
        assert!(std::time::Instant::now() < end, "{left} connections stay inside a transaction");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}
