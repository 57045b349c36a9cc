//! Hair readings: what hands and ruler found, per place.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PersonId};

/// A reading of one place.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Reading {
    pub reading_id: i64,
    /// hairline, temples, crown, nape, whole.
    pub place: String,
    pub taken_at: OffsetDateTime,
    pub taken_by: String,
    /// As read: natural when `read_natural`, else stretched.
    pub new_growth_mm: Option<f32>,
    pub read_natural: bool,
    /// Of the reading as read.
    pub sd_mm: Option<f32>,
    pub texture: Option<String>,
    pub porosity: Option<String>,
    pub density: Option<String>,
    pub wet_stretch: Option<String>,
    pub breakage: Option<bool>,
    pub lightened: Option<bool>,
    pub shortest_mm: Option<f32>,
    pub confirmed_odd: bool,
}

/// A reading to keep.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Record {
    pub place: &'static str,
    pub new_growth_mm: Option<f32>,
    pub read_natural: bool,
    pub sd_mm: Option<f32>,
    pub texture: Option<&'static str>,
    pub porosity: Option<&'static str>,
    pub density: Option<&'static str>,
    pub wet_stretch: Option<&'static str>,
    pub breakage: Option<bool>,
    pub lightened: Option<bool>,
    pub shortest_mm: Option<f32>,
    pub confirmed_odd: bool,
}

/// The latest reading of each place (five at most).
pub async fn latest_by_place(s: &mut Scoped, client: ClientId) -> Stored<Vec<Reading>> {
    Ok(sqlx::query_as(
        "select r.reading_id, r.place, r.taken_at, p.name as taken_by, r.new_growth_mm, r.read_natural, r.sd_mm, r.texture, r.porosity, r.density,
            r.wet_stretch, r.breakage, r.lightened, r.shortest_mm, r.confirmed_odd
         from unnest(array['whole', 'hairline', 'temples', 'crown', 'nape']) with ordinality w(place, n)
           cross join lateral (select * from hair_reading h where h.salon_id = $1 and h.client_id = $2 and h.place = w.place
             order by h.taken_at desc, h.reading_id desc limit 1) r
           join person p on p.salon_id = r.salon_id and p.person_id = r.taken_by
         order by w.n",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Keeps a reading.
pub async fn insert(s: &mut Scoped, client: ClientId, by: PersonId, r: &Record) -> Stored<i64> {
    Ok(sqlx::query_scalar(
        "insert into hair_reading (salon_id, client_id, taken_by, place, new_growth_mm, read_natural, sd_mm, texture, porosity, density, wet_stretch,
            breakage, lightened, shortest_mm, confirmed_odd)
         values ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11,$12,$13,$14,$15) returning reading_id",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(by.0)
    .bind(r.place)
    .bind(r.new_growth_mm)
    .bind(r.read_natural)
    .bind(r.sd_mm)
    .bind(r.texture)
    .bind(r.porosity)
    .bind(r.density)
    .bind(r.wet_stretch)
    .bind(r.breakage)
    .bind(r.lightened)
    .bind(r.shortest_mm)
    .bind(r.confirmed_odd)
    .fetch_one(&mut *s.tx)
    .await?)
}
