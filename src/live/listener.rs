//! The listener: one task with its own connection that never runs anything else, and one that asks the clock.
//!
//! LISTEN loses what is sent while it reconnects, so a reconnect, an error and every slow resync tell a gap.
//! `try_recv` is never wrapped in a select or a timeout: a dropped call would reconnect in silence.

use std::time::Duration;

use sqlx::PgPool;
use sqlx::postgres::{PgConnectOptions, PgListener, PgPoolOptions};
use time::OffsetDateTime;
use tokio_util::sync::CancellationToken;

use super::hub::{Beat, Hub, News};
use crate::domain::ids::SalonId;

/// How often the database's clock is asked and told to the streams: stations notice a silence within 5 s.
pub const BEAT_EVERY: Duration = Duration::from_secs(1);
/// How long it may take over its answer.
const ASK_LIMIT: Duration = Duration::from_millis(1_500);
/// Until it is asked again when it did not: one slow answer is no outage, two in a row are.
const ASK_AGAIN: Duration = Duration::from_millis(250);

/// Reads `salon|topic|version`.
fn read(payload: &str) -> Option<News> {
    let mut parts = payload.splitn(3, '|');
    let salon = SalonId(parts.next()?.parse().ok()?);
    let topic = parts.next()?.to_string();
    let version = parts.next()?.parse().ok()?;
    Some(News::Changed { salon, topic, version })
}

/// Starts the listener's and the beat's tasks; they end with `stop`.
pub fn start(options: PgConnectOptions, pool: PgPool, hub: Hub, stop: CancellationToken) {
    let heard = hub.clone();
    let listening = tokio::spawn(async move {
        loop {
            hear(&options, &heard).await;
            heard.tell(News::Gap);
            tokio::time::sleep(Duration::from_millis(300)).await;
        }
    });
    tokio::spawn(async move {
        let mut away = true;
        loop {
            let mut beat = ask(&pool).await;
            if beat == Beat::Away && !away {
                tokio::time::sleep(ASK_AGAIN).await;
                beat = ask(&pool).await;
            }
            hub.set_beat(beat);
            let pause = if beat == Beat::Away {
                away = true;
                Duration::from_millis(500)
            } else {
                if std::mem::take(&mut away) {
                    hub.tell(News::Gap);
                }
                BEAT_EVERY
            };
            tokio::select! {
                () = tokio::time::sleep(pause) => {}
                () = stop.cancelled() => break,
            }
        }
        listening.abort();
    });
}

/// Asks the database for its clock; away when it does not answer in time. An answer that this process slept over is none:
/// it says when it was, and stations would set their clocks back by it.
pub async fn ask(pool: &PgPool) -> Beat {
    let began = tokio::time::Instant::now();
    let asked = sqlx::query_scalar::<_, OffsetDateTime>("select rinsebell_now()").fetch_one(pool);
    match tokio::time::timeout(ASK_LIMIT, asked).await {
        Ok(Ok(now)) if began.elapsed() <= ASK_LIMIT => {
            Beat::Now { server_now_ms: (now.unix_timestamp_nanos() / 1_000_000) as i64 }
        }
        _ => Beat::Away,
    }
}

/// Listens until the connection is lost for good.
async fn hear(options: &PgConnectOptions, hub: &Hub) {
    // A pool of its own with one connection that never retires.
    let own = PgPoolOptions::new()
        .max_connections(1)
        .max_lifetime(None)
        .idle_timeout(None)
        .acquire_timeout(Duration::from_secs(3))
        .connect_lazy_with(options.clone());
    let Ok(mut listener) = PgListener::connect_with(&own).await else { return };
    if listener.listen("rinsebell_live").await.is_err() {
        return;
    }
    hub.tell(News::Gap);
    loop {
        match listener.try_recv().await {
            Ok(Some(note)) => {
                if let Some(news) = read(note.payload()) {
                    hub.tell(news);
                }
            }
            Ok(None) => hub.tell(News::Gap),
            Err(error) => {
                tracing::warn!(%error, "the listener lost its connection; it begins again");
                return;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_payload_is_salon_topic_version() {
        assert_eq!(
            read("7|run:12|44"),
            Some(News::Changed { salon: SalonId(7), topic: "run:12".into(), version: 44 })
        );
        assert_eq!(read("x|run|1"), None);
        assert_eq!(read("7|run"), None);
    }
}
