//! Calendar feeds: the page that makes and takes them back, and the feeds themselves.

use askama::Template;
use axum::extract::Path;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum_extra::extract::Form;
use serde::Deserialize;
use time::OffsetDateTime;

use crate::app::App;
use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::domain::ids::{CalendarFeedId, PersonId, SalonId, StationId};
use crate::flow::calendar_feeds as flow;
use crate::secret;
use crate::store::calendar_feeds::{self as store, CalendarFeed, Of};
use crate::store::people::Person;
use crate::store::stations::Station;
use crate::store::{people, salons, stations};
use crate::web::clients::zone;
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page};

/// The routes of these screens. Everybody keeps their own feed, a manager everybody's and the stations'.
pub const LINES: &[Line] = lines![
    get "/calendar" Open::To(Act::SeeClients) => list,
    post "/calendar" Open::To(Act::SeeClients) => make,
    post "/calendar/{id}/revocation" Open::To(Act::SeeClients) => revoke,
    get "/feeds/{key}" Open::All => feed,
];

/// Longest secret that is looked up, characters.
const KEY_MOST: usize = 100;

struct FeedLine {
    of: String,
    made: String,
    action: String,
    once_key: String,
}

#[derive(Template)]
#[template(path = "calendar_feeds/list.html")]
struct FeedsPage {
    shell: Shell,
    errors: Errors,
    once_key: String,
    whose: Vec<Choice>,
    feeds: Vec<FeedLine>,
    /// Shown this once.
    link: String,
    link_of: String,
}

fn choices(seat: &Seat, team: &[Person], stations: &[Station], chosen: &str) -> Vec<Choice> {
    let me = seat.person().map(|p| p.id);
    let manager = seat.may(Act::KeepTeam);
    let people = team
        .iter()
        .filter(|p| !p.left && (manager || Some(p.id) == me))
        .map(|p| (format!("person-{}", p.id), p.name.clone()));
    let stations = stations
        .iter()
        .filter(|x| manager && !x.revoked)
        .map(|x| (format!("station-{}", x.station_id), tr!("{} (station)", x.name)));
    let chosen = if chosen.is_empty() {
        me.map_or_else(String::new, |id| format!("person-{id}"))
    } else {
        chosen.to_string()
    };
    people.chain(stations).map(|(code, words)| Choice { chosen: code == chosen, code, words }).collect()
}

async fn feeds_page(seat: &Seat, chosen: &str, errors: Errors) -> Result<FeedsPage, Problem> {
    let zone = zone(seat)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let own = (!seat.may(Act::KeepTeam)).then(|| seat.person().map_or(PersonId(0), |p| p.id));
    let feeds = store::list_open(&mut s, own).await?;
    let team = people::list(&mut s).await?;
    let stations = stations::list(&mut s).await?;
    s.commit().await?;
    let line = |feed: &CalendarFeed| FeedLine {
        of: feed.of_name.clone(),
        made: tr!("{}, {} by {}", zone.day_words(feed.made_at), zone.clock(feed.made_at), feed.made_by_name),
        action: format!("/calendar/{}/revocation", feed.calendar_feed_id),
        once_key: once::key(),
    };
    Ok(FeedsPage {
        shell: seat.shell(now, if seat.may(Act::Book) { "/day" } else { "/calendar" }, &["team"]),
        errors,
        once_key: once::key(),
        whose: choices(seat, &team, &stations, chosen),
        feeds: feeds.iter().map(line).collect(),
        link: String::new(),
        link_of: String::new(),
    })
}

/// The feeds that are open, and the form for a new one.
pub async fn list(seat: Seat) -> Answered {
    seat.require(Act::SeeClients)?;
    Ok(page::html(&feeds_page(&seat, "", Errors::none()).await?))
}

/// A feed as asked for.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Making {
    once: String,
    of: String,
}

fn read_of(code: &str) -> Option<Of> {
    if let Some(id) = code.strip_prefix("person-") {
        return id.parse().ok().map(|id| Of::Person(PersonId(id)));
    }
    code.strip_prefix("station-")?.parse().ok().map(|id| Of::Station(StationId(id)))
}

/// Where this browser found us, for a link to be taken elsewhere.
fn origin(app: &App, headers: &HeaderMap) -> String {
    let scheme = if app.settings.secure { "https" } else { "http" };
    let host = headers.get(header::HOST).and_then(|h| h.to_str().ok()).unwrap_or_default();
    let fine = host.len() <= 255 && host.chars().all(|c| c.is_ascii_alphanumeric() || ".-:[]".contains(c));
    if fine && !host.is_empty() { format!("{scheme}://{host}") } else { String::new() }
}

/// Makes a feed and shows its link this once; sent again, the page comes without it.
pub async fn make(seat: Seat, headers: HeaderMap, Form(f): Form<Making>) -> Answered {
    let by = seat.require(Act::SeeClients)?.id;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/calendar").await? {
        return Ok(again);
    }
    let team = people::list(&mut s).await?;
    let stations = stations::list(&mut s).await?;
    let offered = choices(&seat, &team, &stations, "");
    let of = read_of(&f.of).filter(|_| offered.iter().any(|choice| choice.code == f.of));
    let Some(of) = of else {
        drop(s);
        let mut errors = Errors::none();
        errors.note("of", tr!("Choose whose calendar it is."));
        return Ok(page::refused(&feeds_page(&seat, &f.of, errors).await?));
    };
    let token = flow::make(&mut s, of, by).await?;
    once::settle(&mut s, &f.once, "/calendar").await?;
    s.commit().await?;
    let mut shown = feeds_page(&seat, &f.of, Errors::none()).await?;
    shown.link = format!("{}/feeds/{}.{token}.ics", origin(&seat.app, &headers), seat.salon);
    shown.link_of =
        offered.into_iter().find(|choice| choice.code == f.of).map_or_else(String::new, |c| c.words);
    Ok(page::html(&shown))
}

/// A form that carries its key alone.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Once {
    once: String,
}

/// Takes a feed back: its link opens nothing from now on.
pub async fn revoke(seat: Seat, Path(id): Path<String>, Form(f): Form<Once>) -> Answered {
    let by = seat.require(Act::SeeClients)?.id;
    let id = CalendarFeedId(id.parse().map_err(|_| Problem::NotFound)?);
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/calendar").await? {
        return Ok(again);
    }
    if !flow::revoke(&mut s, id, by, !seat.may(Act::KeepTeam)).await? {
        return Err(Problem::NotFound);
    }
    let answer = once::settle(&mut s, &f.once, "/calendar").await?;
    s.commit().await?;
    Ok(answer)
}

fn read_key(key: &str) -> Option<(SalonId, &str)> {
    if key.len() > KEY_MOST {
        return None;
    }
    let (salon, token) = key.strip_suffix(".ics").unwrap_or(key).split_once('.')?;
    let fine = token.len() >= 40 && token.chars().all(|c| c.is_ascii_alphanumeric() || "-_".contains(c));
    Some((salon.parse().ok()?, token)).filter(|_| fine)
}

/// A feed for who has its link; an unknown link and one taken back are not told apart.
pub async fn feed(
    axum::extract::State(app): axum::extract::State<App>,
    Path(key): Path<String>,
    headers: HeaderMap,
) -> Answered {
    let (salon, token) = read_key(&key).ok_or(Problem::NotFound)?;
    let mut s = app.begin(salon).await?;
    let zone =
        salons::find(&mut s).await?.and_then(|salon| Zone::find(&salon.zone)).ok_or(Problem::NotFound)?;
    let now: OffsetDateTime = s.now().await?;
    let told = flow::tell(&mut s, token, zone.midnight(zone.day_of(now))).await?;
    s.commit().await?;
    let text = told.ok_or(Problem::NotFound)?.text();
    let hash: String = secret::token_hash(&text)[..16].iter().map(|b| format!("{b:02x}")).collect();
    // Weak: what is compressed on the way is the same calendar.
    let etag = format!("W/\"{hash}\"");
    let known = headers.get(header::IF_NONE_MATCH).and_then(|h| h.to_str().ok()).unwrap_or_default();
    let same = known
        .split(',')
        .any(|tag| tag.trim() == "*" || tag.trim().trim_start_matches("W/").trim_matches('"') == hash);
    let kept = [
        (header::ETAG, etag),
        (header::CACHE_CONTROL, "private, no-cache".into()),
        (header::CONTENT_TYPE, "text/calendar; charset=utf-8".into()),
        (header::CONTENT_DISPOSITION, "inline; filename=\"calendar.ics\"".into()),
    ];
    let response: Response =
        if same { (StatusCode::NOT_MODIFIED, kept).into_response() } else { (kept, text).into_response() };
    Ok(response)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_a_salon_and_a_long_secret() {
        let token = "A".repeat(43);
        assert_eq!(read_key(&format!("7.{token}.ics")), Some((SalonId(7), token.as_str())));
        assert_eq!(read_key(&format!("7.{token}")), Some((SalonId(7), token.as_str())));
        for bad in [
            "",
            "7",
            "7.short",
            "x.AAAA",
            &format!("7.{}", "A".repeat(200)),
            &format!("7.{}%00", "A".repeat(43)),
        ] {
            assert_eq!(read_key(bad), None, "{bad}");
        }
    }
}
