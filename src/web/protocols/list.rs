//! Every service of the salon: as shipped or its own, and what is news.

use askama::Template;

use super::counted;
use crate::domain::access::Act;
use crate::store::protocols::Issue;
use crate::store::{protocol_drafts, protocols};
use crate::web::page;
use crate::web::problem::Answered;
use crate::web::seat::Seat;
use crate::web::shell::Shell;

struct Row {
    href: String,
    title: String,
    /// What is in force.
    state: String,
    /// What waits for the manager; empty for nothing.
    news: String,
}

#[derive(Template)]
#[template(path = "protocols/list.html")]
struct ListPage {
    shell: Shell,
    answer: String,
    rows: Vec<Row>,
}

fn row(code: &str, heads: &[Issue], drafts: &[String]) -> Option<Row> {
    let of = |own: bool| heads.iter().find(|i| i.protocol == code && i.is_own() == own);
    let (shipped, own) = (of(false)?, of(true));
    let state = match own {
        Some(o) if o.retired => tr!("not offered").to_owned(),
        Some(o) => tr!("the salon’s own, revision {}", o.revision),
        None => tr!("as shipped, revision {}", shipped.revision),
    };
    let newer = own.is_some_and(|o| o.based_on.is_some_and(|b| b < shipped.revision));
    let mut news = Vec::new();
    if newer {
        news.push(tr!("the shipped one changed: revision {}", shipped.revision));
    }
    if drafts.iter().any(|d| d == code) {
        news.push(tr!("a draft is open").to_owned());
    }
    Some(Row {
        href: format!("/protocols/{code}"),
        title: crate::words::of(&own.unwrap_or(shipped).title).to_owned(),
        state,
        news: news.join("; "),
    })
}

/// The list.
pub async fn show(seat: Seat) -> Answered {
    seat.require(Act::KeepProtocols)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let heads = protocols::list_heads(&mut s).await?;
    let drafts = protocol_drafts::list_codes(&mut s).await?;
    s.commit().await?;
    let own = heads.iter().filter(|i| i.is_own()).count();
    let mut codes: Vec<&str> = heads.iter().map(|i| i.protocol.as_str()).collect();
    codes.dedup();
    let mut rows: Vec<Row> = codes.iter().filter_map(|code| row(code, &heads, &drafts)).collect();
    rows.sort_by(|a, b| a.title.cmp(&b.title));
    Ok(page::html(&ListPage {
        shell: seat.shell(now, "/protocols", &["protocols"]),
        answer: match own {
            0 => tr!("{}, all as shipped", counted(rows.len(), "protocol", "protocols")),
            n => tr!("{}, {n} of the salon’s own", counted(rows.len(), "protocol", "protocols"), n = n),
        },
        rows,
    }))
}
