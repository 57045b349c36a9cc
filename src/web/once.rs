//! A form sent twice acts once. Each showing of a form carries a fresh key in the field `once`.

use axum::response::Response;

use crate::store::{Scoped, idempotency};
use crate::web::page;
use crate::web::problem::Problem;

/// A fresh key for a form.
pub fn key() -> String {
    crate::secret::new_uuid()
}

fn is_uuid(key: &str) -> bool {
    key.len() == 36
        && key
            .chars()
            .enumerate()
            .all(|(i, c)| if [8, 13, 18, 23].contains(&i) { c == '-' } else { c.is_ascii_hexdigit() })
}

/// Claims the key inside the act's transaction. `Some`: acted before, this is the same answer again.
pub async fn claim(s: &mut Scoped, key: &str, path: &str) -> Result<Option<Response>, Problem> {
    if !is_uuid(key) {
        return Err(Problem::Bad("This form was not made here: open the page again.".into()));
    }
    Ok(idempotency::claim(s, key, path).await?.map(|location| page::see(&location)))
}

/// Keeps where the answer lies and gives the redirect; commit after it.
pub async fn settle(s: &mut Scoped, key: &str, location: &str) -> Result<Response, Problem> {
    idempotency::settle(s, key, location).await?;
    Ok(page::see(location))
}
