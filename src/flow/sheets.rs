//! Which minutes of a product's sheet a head takes: its weakest place felt decides.

use crate::domain::ids::ClientId;
use crate::domain::plan_check::Felt;
use crate::domain::protocol::Clock;
use crate::domain::sheet::{self, SheetHair, SheetRow};
use crate::store::products::Times;
use crate::store::{Scoped, Stored, readings};

/// What was felt last at each place.
pub(super) async fn felt(s: &mut Scoped, client: ClientId) -> Stored<Vec<Felt>> {
    Ok(readings::latest_by_place(s, client).await?.iter().map(super::plan_checks::felt).collect())
}

/// The weakest hair felt on a head.
pub(super) async fn weakest(s: &mut Scoped, client: ClientId) -> Stored<Option<SheetHair>> {
    Ok(sheet::weakest(&felt(s, client).await?))
}

/// A row of the sheet as the domain reads it; what nobody can read counts for any hair.
pub fn row(t: &Times) -> SheetRow {
    let hair = SheetHair::from_code(&t.hair).unwrap_or(SheetHair::Any);
    SheetRow { hair, target_min: t.target_min, most_min: t.most_min }
}

/// The row of a clock that this hair takes, with the hair it is written for.
pub(super) fn for_hair(all: &[Times], clock: Clock, felt: Option<SheetHair>) -> Option<(&Times, SheetHair)> {
    let of_clock: Vec<&Times> = all.iter().filter(|t| t.clock == clock.code()).collect();
    let rows: Vec<SheetRow> = of_clock.iter().map(|t| row(t)).collect();
    sheet::choose(&rows, felt).map(|i| (of_clock[i], rows[i].hair))
}
