//! Protocols: what this salon does, as shipped or in its own words and times; changed as a draft, rehearsed,
//! published with who and why. Managers only.

mod document;
mod draft;
mod list;
mod meanwhile;
mod one;
mod publication;
mod service;
mod step;

use crate::domain::access::Act;
use crate::domain::protocol::difference::Change;
use crate::flow::protocols::ProtocolRefused;
use crate::web::problem::Problem;
use crate::web::routes::{Line, Open, lines};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/protocols" Open::To(Act::KeepProtocols) => list::show,
    get "/protocols/{code}" Open::To(Act::KeepProtocols) => one::show,
    post "/protocols/{code}/retirement" Open::To(Act::KeepProtocols) => one::retire,
    post "/protocols/{code}/drafts" Open::To(Act::KeepProtocols) => draft::begin,
    get "/protocols/{code}/draft" Open::To(Act::KeepProtocols) => draft::show,
    post "/protocols/{code}/draft" Open::To(Act::KeepProtocols) => draft::keep_service,
    post "/protocols/{code}/draft/order" Open::To(Act::KeepProtocols) => draft::order,
    post "/protocols/{code}/draft/removal" Open::To(Act::KeepProtocols) => draft::discard,
    get "/protocols/{code}/draft/step" Open::To(Act::KeepProtocols) => step::show,
    post "/protocols/{code}/draft/step" Open::To(Act::KeepProtocols) => step::keep,
    get "/protocols/{code}/publication" Open::To(Act::KeepProtocols) => publication::show,
    post "/protocols/{code}/publication" Open::To(Act::KeepProtocols) => publication::publish,
    get "/protocols/{code}/rehearsal" Open::To(Act::KeepProtocols) => crate::web::run::rehearsal::show,
];

/// A difference as a row: where, what, before, after; an empty text for nothing.
pub struct ChangeRow {
    pub at: String,
    pub what: String,
    pub before: String,
    pub after: String,
}

fn rows(changes: Vec<Change>) -> Vec<ChangeRow> {
    let row = |c: Change| ChangeRow {
        at: c.at,
        what: c.what,
        before: c.before.unwrap_or_default(),
        after: c.after.unwrap_or_default(),
    };
    changes.into_iter().map(row).collect()
}

/// "1 difference", "4 differences".
fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", crate::words::of(if n == 1 { one } else { many }))
}

/// A refusal that is no answer to a form becomes a problem; `look` is where to see what changed.
fn problem(why: ProtocolRefused, look: &str) -> Problem {
    match why {
        ProtocolRefused::NotFound => Problem::NotFound,
        ProtocolRefused::Stale => stale(look),
        ProtocolRefused::Store(e) => e.into(),
        ProtocolRefused::Guard(rule) => {
            tracing::error!(rule, "the database refused a protocol that passed here");
            Problem::Broken
        }
        ProtocolRefused::Faults(_) | ProtocolRefused::Unchanged => Problem::Broken,
    }
}

fn stale(look: &str) -> Problem {
    Problem::Stale {
        what: tr!("Somebody saved, published or discarded this meanwhile.").into(),
        look: look.into(),
    }
}
