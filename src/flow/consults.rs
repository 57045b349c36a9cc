//! Taking a consult: what was told is kept, what is already in the hair becomes the strand's beginning.

use time::Date;

use super::plan_checks;
use super::strands as strands_flow;
use crate::calendar::Zone as TimeZone;
use crate::domain::chemistry::family::Family;
use crate::domain::consult::{
    Account, Circumstance, Finding, Laid, LengthRefusal, Told, ToldExposure, findings, lay_strand,
};
use crate::domain::growth::Rate;
use crate::domain::ids::{ClientId, PersonId};
use crate::domain::plan_check::MetalSeen;
use crate::domain::strand::{Deed, Exposure, Known, Zone};
use crate::reference::Reference;
use crate::secret;
use crate::store::clients::Client;
use crate::store::{Scoped, StoreError, Stored, answers, clients, consults, strands};

/// What a consult form came to.
#[derive(Clone, Debug)]
pub struct Taken {
    pub told: Told,
    /// A date of birth told now, where the record had none.
    pub born_on: Option<Date>,
    /// The client's own words; empty for none.
    pub words: String,
    /// Why a stylist goes on; empty where nothing asks for it.
    pub reason: String,
    /// Who read it for a minor.
    pub guardian: Option<String>,
    /// Length of the hair today and how much of it the client can account for; on a first consult only.
    pub hair: Option<(f64, Account)>,
    /// What is already in the hair.
    pub exposures: Vec<ToldExposure>,
}

/// Why a consult was not kept.
#[derive(Debug)]
pub enum ConsultRefused {
    /// What was told of the hair does not fit together.
    Hair(Vec<LengthRefusal>),
    Store(StoreError),
}

impl From<StoreError> for ConsultRefused {
    fn from(e: StoreError) -> Self {
        ConsultRefused::Store(e)
    }
}

/// Keeps a consult read in the chair today.
pub async fn take_consult(
    s: &mut Scoped,
    client: ClientId,
    by: PersonId,
    today: Date,
    rate: Rate,
    taken: &Taken,
) -> Result<(), ConsultRefused> {
    clients::lock(s, client).await?;
    lay(s, client, by, today, rate, taken).await?;
    if let Some(born_on) = taken.born_on {
        clients::set_born_on(s, client, born_on).await?;
    }
    let reason_id = keep_words(s, client, &taken.reason).await?;
    let words_id = keep_words(s, client, &taken.words).await?;
    consults::insert(s, client, by, &taken.told, (reason_id, words_id, taken.guardian.as_deref())).await?;
    s.changed(format!("client:{client}"));
    Ok(())
}

async fn keep_words(s: &mut Scoped, client: ClientId, words: &str) -> Stored<Option<i64>> {
    if words.is_empty() {
        return Ok(None);
    }
    Ok(Some(answers::insert(s, client, &secret::random::<16>(), words).await?))
}

async fn lay(
    s: &mut Scoped,
    client: ClientId,
    by: PersonId,
    today: Date,
    rate: Rate,
    taken: &Taken,
) -> Result<(), ConsultRefused> {
    let (length_mm, not_before, begins) = match strands::find_story(s, client).await? {
        Some((story, _)) => {
            let strand = story.tell(rate, today).map_err(|(n, why)| {
                StoreError::Corrupt(
                    "strand_event",
                    tr!("deed {n}: {why}", n = n, why = format_args!("{:?}", why)),
                )
            })?;
            let last = story.deeds.last().map_or(story.on, |(on, _)| *on);
            (strand.length_mm(), Some(last), false)
        }
        None => match taken.hair {
            Some((length_mm, _)) => (length_mm, None, true),
            None => return Ok(()),
        },
    };
    let laid =
        lay_strand(length_mm, today, rate, &taken.exposures, not_before).map_err(ConsultRefused::Hair)?;
    if begins {
        strands::begin(s, client, laid.length_mm, laid.on).await?;
    }
    append_laid(s, client, by, &laid).await?;
    if let (true, Some((length_mm, Account::UpTo(mm)))) = (begins, taken.hair)
        && mm < length_mm
    {
        let exposure = Exposure {
            family: Family::Unknown,
            on: today,
            known: Known::Inferred,
            on_sd_days: 0.0,
            straightened: None,
        };
        let zone = if mm > 0.0 { Zone::EndsFrom(mm) } else { Zone::RootToEnd };
        strands::append(s, client, (today, &Deed::Apply(zone, exposure)), None, Some(by)).await?;
    }
    Ok(())
}

async fn append_laid(s: &mut Scoped, client: ClientId, by: PersonId, laid: &Laid) -> Stored<()> {
    for (told, from, to) in &laid.rows {
        let zone = match (*from, *to) {
            (None, None) => Zone::RootToEnd,
            (Some(from), None) => Zone::EndsFrom(from),
            (from, Some(to)) => Zone::Between(from.unwrap_or(0.0), to),
        };
        let exposure = Exposure {
            family: told.family,
            on: told.on,
            known: Known::Told,
            on_sd_days: told.on_sd_days,
            straightened: None,
        };
        strands::append(s, client, (told.on, &Deed::Apply(zone, exposure)), None, Some(by)).await?;
    }
    Ok(())
}

/// What the latest consult says against a service with these families today (empty: any); none where no
/// consult was ever taken. A reaction once told stands whatever a later consult leaves out.
pub async fn find_findings(
    s: &mut Scoped,
    reference: &Reference,
    client: &Client,
    (zone, least_age_years): (&TimeZone, u8),
    today: Date,
    families: &[Family],
) -> Stored<Option<Vec<Finding>>> {
    let Some(latest) = consults::latest(s, client.id()).await? else { return Ok(None) };
    let mut told = latest.told;
    told.reactions = consults::list_reactions_ever(s, client.id()).await?;
    told.black_henna_reaction = consults::find_black_henna_reaction_ever(s, client.id()).await?;
    let taken = consults::list_by_client(s, client.id(), 50).await?;
    told.own.keep_metal(taken.iter().map(|c| &c.told.own));
    let strand = strands_flow::load(s, reference, client, today, None).await?;
    let metal_cleared =
        plan_checks::metal(s, client.id(), &taken, strand.as_ref()).await? == MetalSeen::Negative;
    let of = Circumstance {
        metal_cleared,
        born_on: client.born_on,
        taken_on: zone.day_of(latest.taken_at),
        today,
        least_age_years,
    };
    Ok(Some(findings(&told, &of, families)))
}
