//! The demo's plans and the service under way.

use super::files::Client;
use super::{Laid, Stage};
use crate::domain::ids::ClientId;
use crate::store::Scoped;

/// Checks and keeps the client's plan, and gives the service as far as the file says.
pub async fn plan_and_run(_s: &mut Scoped, _stage: &Stage<'_>, _id: ClientId, _c: &'static Client) -> Laid<()> {
    Ok(())
}
