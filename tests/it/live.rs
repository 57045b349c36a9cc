//! News between stations and between processes: within a second, and after the database came back.

use std::time::{Duration, Instant};

use rinsebell::app::{App, Settings};
use rinsebell::domain::run::{Happened, HeadPlace};
use rinsebell::live::hub::{Beat, News};
use rinsebell::reference::Reference;
use tokio_util::sync::CancellationToken;

use crate::support::Salon;

/// A second process on the same database, as far as news goes.
fn other_process(salon: &Salon, stop: &CancellationToken) -> App {
    let settings = Settings { secure: false, practice: true, demo: false };
    App::start(salon.database.app.clone(), Reference::embedded(), settings, stop.clone())
}

async fn in_contact(app: &App) {
    let mut beats = app.hub.beats();
    tokio::time::timeout(Duration::from_secs(10), beats.wait_for(|b| matches!(b, Beat::Now { .. })))
        .await
        .expect("a beat within 10 s")
        .expect("the hub lives");
}

/// Waits until the process listens: a notice sent by hand is heard.
async fn listening(salon: &Salon, app: &App) {
    let mut news = app.hub.listen();
    for _ in 0..100 {
        sqlx::query("select pg_notify('rinsebell_live', '0|hello|1')")
            .execute(&salon.owner)
            .await
            .expect("sent");
        if tokio::time::timeout(Duration::from_millis(100), news.recv()).await.is_ok() {
            return;
        }
    }
    panic!("the process does not listen");
}

async fn heard(news: &mut tokio::sync::broadcast::Receiver<News>, topic: &str) -> bool {
    let until = tokio::time::Instant::now() + Duration::from_secs(5);
    loop {
        match tokio::time::timeout_at(until, news.recv()).await {
            Ok(Ok(News::Changed { topic: t, .. })) if t == topic => return true,
            Ok(Ok(_)) => {}
            _ => return false,
        }
    }
}

#[tokio::test]
async fn a_tap_in_one_process_is_heard_in_the_other_within_a_second() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let run = salon.start_run(stage.plan, salon.staff.stylist).await.unwrap();
    let stop = CancellationToken::new();
    let other = other_process(&salon, &stop);
    in_contact(&other).await;
    listening(&salon, &other).await;
    let mut news = other.hub.listen();
    let began = Instant::now();
    salon.fact(run, 5, Happened::StingReported { place: HeadPlace::Nape }).await.unwrap();
    assert!(heard(&mut news, &format!("run:{run}")).await);
    assert!(began.elapsed() < Duration::from_secs(1), "{:?}", began.elapsed());
    stop.cancel();
}

#[tokio::test]
async fn a_lost_listener_says_there_was_a_gap_and_hears_again() {
    let salon = Salon::open().await;
    let stop = CancellationToken::new();
    let other = other_process(&salon, &stop);
    in_contact(&other).await;
    listening(&salon, &other).await;
    let mut news = other.hub.listen();
    let cut: i64 = sqlx::query_scalar(
        "select count(pg_terminate_backend(pid)) from pg_stat_activity where datname = current_database() and query ilike 'listen %'",
    )
    .fetch_one(&superuser(&salon).await)
    .await
    .unwrap();
    assert!(cut >= 1, "a listener was cut");
    let gap = tokio::time::timeout(Duration::from_secs(10), async {
        while let Ok(n) = news.recv().await {
            if n == News::Gap {
                return true;
            }
        }
        false
    });
    assert!(gap.await.expect("within 10 s"), "everybody fetches anew");
    listening(&salon, &other).await;
    stop.cancel();
}

async fn superuser(salon: &Salon) -> sqlx::PgPool {
    sqlx::postgres::PgPoolOptions::new()
        .max_connections(1)
        .connect_with(salon.database.superuser.clone())
        .await
        .expect("superuser")
}
