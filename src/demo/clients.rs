//! The demo's clients: record, strand, consult, consent, readings, tests, follow-ups, plan, run.

use time::macros::format_description;
use time::{Date, OffsetDateTime};

use super::files::{Client, Consent, Deed, PatchTest, Reading, StrandTest};
use super::told::nothing_amiss;
use super::{DemoFault, Laid, Stage, named, service};
use crate::domain::call::Way;
use crate::domain::chemistry::family::Family;
use crate::domain::consult::Own;
use crate::domain::followup::Outcome;
use crate::domain::ids::ClientId;
use crate::domain::strand::{self, Exposure, Known, Zone};
use crate::reference::consent::ConsentValues;
use crate::secret;
use crate::store::followups::NewFollowup;
use crate::store::hair_tests::StrandSeen;
use crate::store::{
    Scoped, answers, clients, consents, consults, demo, followups, hair_tests, readings, salons, skin_tests,
    strands,
};

/// Lays out one client with all that is on record.
pub async fn lay(s: &mut Scoped, stage: &mut Stage<'_>, c: &'static Client) -> Laid<()> {
    let born = Date::parse(&c.born, format_description!("[year]-[month]-[day]"))
        .map_err(|_| DemoFault::File(format!("{} is no day", c.born)))?;
    let record = clients::Record {
        name: c.name.clone(),
        born_on: Some(born),
        phone: c.phone.clone(),
        email: String::new(),
        curl_group: Some(c.curl.clone()),
        curl_index: c.curl_index,
        usual_person: Some(named(&stage.people, &c.usual)?),
        no_contact: c.no_contact,
    };
    let id = clients::insert(s, &record).await?;
    stage.clients.insert(c.name.clone(), id);
    strands::begin(s, id, c.strand.length_mm, stage.day(c.strand.day)).await?;
    for deed in &c.hair {
        grow(s, stage, id, deed, &c.strand.by).await?;
    }
    consult(s, stage, id, (&c.strand.by, ""), stage.on(c.strand.day)).await?;
    if let Some(told) = &c.consult {
        consult(s, stage, id, (&told.by, &told.words), stage.min(told.min)).await?;
    }
    if let Some(signed) = &c.consent {
        consent(s, stage, id, &c.name, signed).await?;
    }
    for reading in &c.readings {
        read(s, stage, id, reading).await?;
    }
    for test in &c.patch_tests {
        patch_test(s, stage, id, test).await?;
    }
    for test in &c.strand_tests {
        strand_test(s, stage, id, test).await?;
    }
    for f in &c.followups {
        let outcome = Outcome::from_code(&f.outcome)
            .ok_or_else(|| DemoFault::File(format!("{} is no outcome", f.outcome)))?;
        let next = f.next_day.map(|d| stage.day(d));
        let by = named(&stage.people, &f.by)?;
        let new = NewFollowup {
            client: id,
            by,
            outcome,
            way: Way::WeCalled,
            next_step: None,
            next_on: next,
            note: &f.note,
            booking: None,
        };
        let kept = followups::insert(s, &new).await?;
        demo::date_followup(s, kept.0, stage.on(f.day)).await?;
    }
    service::plan_and_run(s, stage, id, c).await
}

async fn grow(s: &mut Scoped, stage: &Stage<'_>, id: ClientId, d: &Deed, by: &str) -> Laid<()> {
    let unread = || DemoFault::File(format!("a line of the strand of client {id} cannot be read"));
    let on = stage.day(d.day);
    let deed = match (&d.apply, d.measure_mm, d.trim_mm) {
        (Some(family), None, None) => {
            let zone = match (d.zone.as_deref(), d.from_mm) {
                (Some("root-to-end"), None) => Zone::RootToEnd,
                (Some("new-growth"), None) => Zone::NewGrowth,
                (Some("ends-from"), Some(from)) => Zone::EndsFrom(from),
                _ => return Err(unread()),
            };
            let known = Known::from_code(d.known.as_deref().unwrap_or("recorded")).ok_or_else(unread)?;
            let family = Family::from_code(family).ok_or_else(unread)?;
            strand::Deed::Apply(
                zone,
                Exposure { family, on, known, on_sd_days: d.sd_days, straightened: None },
            )
        }
        (None, Some(mm), None) => strand::Deed::Measure { mm, sd_mm: d.sd_mm.ok_or_else(unread)? },
        (None, None, Some(mm)) => strand::Deed::Trim(mm),
        _ => return Err(unread()),
    };
    let by = named(&stage.people, by)?;
    let seq = strands::append(s, id, (on, &deed), None, Some(by)).await?;
    // Told things are recorded at the consult; the others on their day, today's an hour and a half ago.
    let at = if d.day == 0 { stage.min(-90.0) } else { stage.on(d.day) };
    Ok(demo::date_strand_event(s, id, seq, at).await?)
}

async fn consult(
    s: &mut Scoped,
    stage: &Stage<'_>,
    id: ClientId,
    (by, words): (&str, &str),
    at: OffsetDateTime,
) -> Laid<()> {
    let told = nothing_amiss(Own::default());
    let words = match words {
        "" => None,
        words => Some(answers::insert(s, id, &secret::random::<16>(), words).await?),
    };
    consults::insert(s, id, named(&stage.people, by)?, &told, (None, words, None)).await?;
    Ok(demo::date_consult(s, id, at).await?)
}

async fn consent(s: &mut Scoped, stage: &Stage<'_>, id: ClientId, name: &str, c: &Consent) -> Laid<()> {
    let Some(salon) = salons::find(s).await? else {
        return Err(DemoFault::Refused("the salon is not there".into()));
    };
    let today = stage.day(0);
    let day = format!("{} {}", crate::calendar::day_words(today), today.year());
    let values = ConsentValues {
        salon: &salon.name,
        client: name,
        day: &day,
        emergency_number: &salon.emergency_number,
    };
    let words = stage.app.reference.consent.words(false, &values);
    let signed = consents::Signed {
        words: &words,
        name,
        drawing: None,
        by_guardian: false,
        station: Some(named(&stage.stations, &c.station)?),
        witness: named(&stage.people, &c.by)?,
    };
    let kept = consents::insert(s, id, &signed).await?;
    Ok(demo::date_consent(s, kept, stage.min(c.min)).await?)
}

async fn read(s: &mut Scoped, stage: &Stage<'_>, id: ClientId, r: &'static Reading) -> Laid<()> {
    let record = readings::Record {
        place: &r.place,
        new_growth_mm: r.new_growth_mm,
        sd_mm: r.sd_mm,
        texture: r.texture.as_deref(),
        porosity: r.porosity.as_deref(),
        density: r.density.as_deref(),
        wet_stretch: r.wet_stretch.as_deref(),
        shortest_mm: r.shortest_mm,
        breakage: Some(false),
        ..readings::Record::default()
    };
    let kept = readings::insert(s, id, named(&stage.people, &r.by)?, &record).await?;
    Ok(demo::date_reading(s, kept, stage.min(r.min)).await?)
}

async fn patch_test(s: &mut Scoped, stage: &Stage<'_>, id: ClientId, t: &PatchTest) -> Laid<()> {
    let product = named(&stage.products, &t.product)?;
    let lot = named(&stage.first_lots, &t.product)?;
    let by = named(&stage.people, &t.by)?;
    let kept = skin_tests::insert(s, id, (product, lot), &t.place, by).await?;
    let hours = |h: f64| stage.min(h * 60.0);
    let read_by = match &t.read_by {
        Some(name) => Some(named(&stage.people, name)?.0),
        None => None,
    };
    let dates = demo::PatchDates {
        placed_at: hours(t.placed_h),
        off_at: t.off_h.map(hours),
        off_by: by.0,
        read_at: t.read_h.map(hours),
        read_by,
        outcome: t.outcome.clone(),
    };
    Ok(demo::date_skin_test(s, kept.0, &dates).await?)
}

async fn strand_test(s: &mut Scoped, stage: &Stage<'_>, id: ClientId, t: &StrandTest) -> Laid<()> {
    let (product, by) = (named(&stage.products, &t.product)?, named(&stage.people, &t.by)?);
    let lot = stage.first_lots.get(&t.product).copied();
    for place in ["worst-place", "sound-place"] {
        let seen = StrandSeen { curl_formed: true, wet_stretch: "returns", gummy: false, passed: true };
        let kept = hair_tests::insert_strand(s, id, (product, lot), (place, t.minutes), seen, by).await?;
        demo::date_hair_test(s, kept.0, stage.on(t.day)).await?;
    }
    Ok(())
}
