//! Making, taking back and telling a calendar feed.

use time::{Duration, OffsetDateTime};

use crate::domain::calendar_feed::{Feed, Taken};
use crate::domain::ids::{CalendarFeedId, PersonId};
use crate::secret;
use crate::store::calendar_feeds::{self as store, CalendarFeed, Of, Stretch};
use crate::store::{Scoped, Stored, salons};

/// Days before today a feed tells of.
const DAYS_BEFORE: i64 = 30;
/// Days after it.
const DAYS_AHEAD: i64 = 180;

/// Makes a feed; gives its secret, this once.
///
/// # Errors
/// Those of the store.
pub async fn make(s: &mut Scoped, of: Of, by: PersonId) -> Stored<String> {
    let (token, hash) = secret::new_token();
    store::insert(s, of, &hash, by).await?;
    s.changed("team");
    Ok(token)
}

/// Takes a feed back; false when it is not there, or (`own`) not this person's own.
///
/// # Errors
/// Those of the store.
pub async fn revoke(s: &mut Scoped, id: CalendarFeedId, by: PersonId, own: bool) -> Stored<bool> {
    let done = store::revoke(s, id, by, own).await?;
    s.changed("team");
    Ok(done)
}

/// The first 16 bytes of a hash over the feed's own secret and what is named, as hexadecimal: the same each time, and
/// telling nothing.
fn uid(hash: &[u8], what: &str) -> String {
    let mut text: String = hash.iter().map(|b| format!("{b:02x}")).collect();
    text.push(' ');
    text.push_str(what);
    secret::token_hash(&text)[..16].iter().map(|b| format!("{b:02x}")).collect()
}

/// What follows without a gap in one booking is one stretch.
fn joined(hash: &[u8], rows: Vec<Stretch>) -> Vec<Taken> {
    let mut taken: Vec<(i64, Taken)> = Vec::new();
    let mut nth = 0;
    for row in rows {
        match taken.last_mut() {
            Some((booking, last)) if *booking == row.booking_id => {
                if last.to >= row.from_at {
                    last.to = last.to.max(row.to_at);
                    continue;
                }
                nth += 1;
            }
            _ => nth = 0,
        }
        let uid = uid(hash, &format!("{} {nth}", row.booking_id));
        let of = Taken { uid, from: row.from_at, to: row.to_at, stamp: row.made_at, client: row.client_name };
        taken.push((row.booking_id, of));
    }
    let mut taken: Vec<Taken> = taken.into_iter().map(|(_, taken)| taken).collect();
    taken.sort_by(|a, b| (a.from, &a.uid).cmp(&(b.from, &b.uid)));
    taken
}

/// What the feed of this secret tells at `now`, whole days to either side; none for a secret that opens nothing.
///
/// # Errors
/// Those of the store.
pub async fn tell(s: &mut Scoped, token: &str, zone_midnight: OffsetDateTime) -> Stored<Option<Feed>> {
    let hash = secret::token_hash(token);
    let Some(feed) = store::find_by_token(s, &hash).await? else { return Ok(None) };
    let Some(salon) = salons::find(s).await? else { return Ok(None) };
    let (from, to) =
        (zone_midnight - Duration::days(DAYS_BEFORE), zone_midnight + Duration::days(DAYS_AHEAD));
    let rows = rows(s, &feed, from, to).await?;
    // A person's first name is on every screen of the salon; the surname stays in the house.
    let name = match feed.person_id {
        Some(_) => crate::domain::name::first_word(&feed.of_name).to_string(),
        None => feed.of_name.clone(),
    };
    Ok(Some(Feed {
        name: format!("{name}, {}", salon.name),
        taken: joined(&hash, rows),
        uid: uid(&hash, "feed"),
        made_at: feed.made_at,
        from,
        to,
    }))
}

/// A person's hands; at a chair or a basin everything at such a place; at a desk every booking.
async fn rows(
    s: &mut Scoped,
    feed: &CalendarFeed,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<Stretch>> {
    match (feed.person_id, feed.station_kind.as_str()) {
        (Some(person), _) => store::list_hands(s, PersonId(person), from, to).await,
        (None, kind @ ("chair" | "basin")) => store::list_places(s, kind, from, to).await,
        _ => store::list_bookings(s, from, to).await,
    }
}

#[cfg(test)]
mod tests {
    use time::macros::datetime;

    use super::*;

    fn stretch(booking_id: i64, from: OffsetDateTime, minutes: i64) -> Stretch {
        Stretch {
            booking_id,
            client_name: "Nerys Amblin".into(),
            from_at: from,
            to_at: from + Duration::minutes(minutes),
            made_at: from,
        }
    }

    #[test]
    fn stretches_of_one_booking_are_joined_where_they_touch_and_keep_their_names() {
        let at = datetime!(2026-05-14 08:00 UTC);
        let rows = || {
            vec![
                stretch(4, at, 30),
                stretch(4, at + Duration::minutes(30), 15),
                stretch(4, at + Duration::minutes(60), 15),
                stretch(5, at - Duration::minutes(60), 15),
            ]
        };
        let taken = joined(b"secret", rows());
        assert_eq!(taken.len(), 3);
        assert_eq!(taken[0].from, at - Duration::minutes(60));
        assert_eq!(taken[1].to, at + Duration::minutes(45));
        assert_eq!(joined(b"secret", rows()), taken, "the same each time");
        assert_ne!(taken[1].uid, taken[2].uid);
        assert_ne!(joined(b"another", rows())[0].uid, taken[0].uid);
    }
}
