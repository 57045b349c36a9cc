//! The hub of one process: news from the database's listener out to the open streams.

use tokio::sync::{broadcast, watch};

use crate::domain::ids::SalonId;

/// One piece of news.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum News {
    /// A topic of a salon has a new version.
    Changed { salon: SalonId, topic: String, version: i64 },
    /// News may have been lost: everybody fetches everything anew.
    Gap,
}

/// What the process knows of the database's clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Beat {
    /// In contact; the database's clock, milliseconds since 1970, when last asked.
    Now { server_now_ms: i64 },
    /// The database does not answer.
    Away,
}

/// Clone freely; all clones are one hub.
#[derive(Clone)]
pub struct Hub {
    news: broadcast::Sender<News>,
    beat: watch::Sender<Beat>,
}

impl Default for Hub {
    fn default() -> Self {
        // A stream that falls 1,024 pieces behind is told of a gap and fetches everything.
        Hub { news: broadcast::channel(1024).0, beat: watch::channel(Beat::Away).0 }
    }
}

impl Hub {
    /// Tells every open stream.
    pub fn tell(&self, news: News) {
        // Nobody listening is fine.
        let _ = self.news.send(news);
    }

    /// A receiver of all that is told from now on.
    pub fn listen(&self) -> broadcast::Receiver<News> {
        self.news.subscribe()
    }

    /// Sets the latest beat.
    pub fn set_beat(&self, beat: Beat) {
        self.beat.send_replace(beat);
    }

    /// A receiver of beats.
    pub fn beats(&self) -> watch::Receiver<Beat> {
        self.beat.subscribe()
    }
}
