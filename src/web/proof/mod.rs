//! The sign-off book: every visit, and the whole record of one, to read and to print.

mod book;
mod sheet;
mod visit;
mod words;

pub use sheet::VisitPage;
pub use visit::{again, visit_page};
pub(in crate::web) use words::Names;

use crate::domain::access::Act;
use crate::web::routes::{Line, Open, lines};

/// The routes of the book. A client's visits stand in it too.
pub const LINES: &[Line] = lines![
    get "/proof" Open::To(Act::SeeProof) => book::list,
    get "/proof/runs/{id}" Open::To(Act::SeeProof) => visit::show,
    get "/clients/{id}/visits" Open::To(Act::SeeHealth) => book::of_client,
];
