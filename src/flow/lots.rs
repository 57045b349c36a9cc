//! Lots coming in, judged by the law, opened, counted, taken out of use.

use serde_json::json;
use time::Date;

use crate::app::App;
use crate::domain::chemistry::family::Family;
use crate::domain::chemistry::limits::{Check, Place};
use crate::domain::ids::{ClientId, LotId, PersonId, ProductId};
use crate::domain::lot::{self, Anew, Content, NoteKind, ReceptionRefusal, Standing, Verdict};
use crate::domain::stock::{UseAs, purpose};
use crate::store::lots::{self, Judged, Lot, Received};
use crate::store::people::Person;
use crate::store::products::Product;
use crate::store::{Scoped, StoreError, Stored, recall, salons, stock_notes};

/// Why a lot was not kept.
#[derive(Debug)]
pub enum LotRefused {
    /// This product has a lot of this code.
    CodeTaken,
    /// Not taken in as asked, with every reason.
    Reception(Vec<ReceptionRefusal>),
    Store(StoreError),
}

impl From<StoreError> for LotRefused {
    fn from(e: StoreError) -> Self {
        match e {
            StoreError::Refused { rule, .. } if rule == "lot_code_unique" => LotRefused::CodeTaken,
            e => LotRefused::Store(e),
        }
    }
}

/// What is told of a lot beside its code and dates.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Told {
    /// Its own contents, where the label differs from the product's.
    pub contents: Option<Vec<Content>>,
    /// pH as measured.
    pub ph: Option<f32>,
    /// The words ticked as read on its label.
    pub seen: Vec<String>,
    /// Asked for quarantine, and why.
    pub apart: Option<String>,
}

/// Contents as kept in the database.
pub fn contents_of(kept: &serde_json::Value) -> Vec<Content> {
    let rows = kept.as_array().map(Vec::as_slice).unwrap_or_default();
    rows.iter()
        .filter_map(|x| Some((x["ingredient"].as_str()?.to_string(), x["percent"].as_f64()?)))
        .collect()
}

/// Contents as the database keeps them.
pub fn kept_contents(contents: &[Content]) -> serde_json::Value {
    contents.iter().map(|(code, x)| json!({ "ingredient": code, "percent": x })).collect()
}

/// The law's checks of a product, or of a lot of it with contents and pH of its own.
pub fn checks<'a>(
    app: &'a App,
    place: &str,
    product: &Product,
    contents: Option<&[Content]>,
    ph: Option<f32>,
) -> Vec<Check<'a>> {
    let Some(place) = Place::from_code(place) else { return Vec::new() };
    let uses = (
        Family::from_code(&product.family).unwrap_or(Family::Unknown),
        UseAs::from_code(&product.use_as).unwrap_or(UseAs::Other),
    );
    let own = contents_of(&product.contents);
    let contents = contents.unwrap_or(&own);
    lot::check(&app.reference.limits, place, uses, contents, ph.or(product.ph))
}

fn lines(checks: &[Check<'_>]) -> serde_json::Value {
    checks
        .iter()
        .map(|c| {
            json!({
                "counted_as": c.counted_as, "percent": c.percent, "limit": c.limit.percent,
                "ph_low": c.limit.ph_low, "ph_high": c.limit.ph_high, "within": c.within, "source": c.limit.source,
                "must_say": c.must_say().collect::<Vec<_>>(),
            })
        })
        .collect()
}

/// What the law says of what is told of a lot, and what becomes of it by `decide`.
async fn judged(
    s: &mut Scoped,
    app: &App,
    product: &Product,
    told: &Told,
    by: PersonId,
    decide: impl FnOnce(Verdict, &[&str]) -> Result<Standing, Vec<ReceptionRefusal>>,
) -> Result<Judged, LotRefused> {
    let salon = salons::find(s).await?.ok_or_else(|| StoreError::Corrupt("salon", s.salon.to_string()))?;
    let place = Place::from_code(&salon.place)
        .ok_or_else(|| StoreError::Corrupt("salon", tr!("place {}", salon.place)))?;
    let checks = checks(app, &salon.place, product, told.contents.as_deref(), told.ph);
    let (verdict, words) = (lot::verdict(&checks), lot::must_say(&checks));
    let standing = decide(verdict, &words).map_err(LotRefused::Reception)?;
    let seen: Vec<&str> = words.into_iter().filter(|w| told.seen.iter().any(|x| x == w)).collect();
    Ok(Judged {
        contents: told.contents.as_deref().map(kept_contents),
        ph: told.ph,
        place: place.code(),
        verdict: verdict.code(),
        law: lines(&checks),
        label_seen: json!(seen),
        quarantine_reason: match standing {
            Standing::ForUse => None,
            Standing::Quarantined(reason) => Some(reason),
        },
        by,
    })
}

/// Books a lot in, judged by the law of the salon's place; outside it, only apart.
pub async fn receive_lot(
    s: &mut Scoped,
    app: &App,
    product: &Product,
    lot: &Received,
    told: &Told,
    by: PersonId,
) -> Result<LotId, LotRefused> {
    let decide = |verdict, words: &[&str]| lot::receive(verdict, words, &told.seen, told.apart.as_deref());
    let judged = judged(s, app, product, told, by, decide).await?;
    let id = lots::insert(s, ProductId(product.product_id), lot, &judged).await?;
    s.changed("shelf");
    Ok(id)
}

/// Some limit could speak of this: contents are known, or none is filed for such a use.
fn law_asked(product: &Product, told: &Told) -> bool {
    let family = Family::from_code(&product.family).unwrap_or(Family::Unknown);
    let use_as = UseAs::from_code(&product.use_as).unwrap_or(UseAs::Other);
    told.contents.is_some() || !contents_of(&product.contents).is_empty() || purpose(family, use_as).is_none()
}

/// Judges a lot that stands on the shelf anew, and keeps who and why: into quarantine, or out of it where the law has
/// nothing against it and a manager says so.
pub async fn judge_lot(
    s: &mut Scoped,
    app: &App,
    (product, lot): (&Product, &Lot),
    told: &Told,
    why: &str,
    by: &Person,
) -> Result<(), LotRefused> {
    let anew = Anew { apart: lot.quarantined, role: by.role, law_asked: law_asked(product, told), why };
    let decide =
        |verdict, words: &[&str]| lot::judge_anew(anew, verdict, words, &told.seen, told.apart.as_deref());
    let judged = judged(s, app, product, told, by.id, decide).await?;
    lots::judge(s, LotId(lot.lot_id), &judged, why.trim()).await?;
    s.changed("shelf");
    Ok(())
}

/// Puts apart what a product's corrected contents or pH bring outside the law: every lot in use that is judged by them.
pub(super) async fn judge_lots_of(
    s: &mut Scoped,
    app: &App,
    product: &Product,
    today: Date,
    by: PersonId,
) -> Result<(), LotRefused> {
    for row in lots::list(s, Some(ProductId(product.product_id)), today).await? {
        if row.quarantined || row.withdrawn_at.is_some() {
            continue;
        }
        let id = LotId(row.lot_id);
        let Some(kept) = lots::find_judgement(s, id).await? else { continue };
        let seen = kept.label_seen.as_array().map(Vec::as_slice).unwrap_or_default();
        let told = Told {
            contents: kept.contents.as_ref().map(contents_of),
            ph: kept.ph,
            seen: seen.iter().filter_map(|x| x.as_str().map(str::to_string)).collect(),
            apart: None,
        };
        let why = mark!("What the product contains was corrected: outside the law's limits.");
        let mut outside = false;
        let decide = |verdict, _: &[&str]| {
            outside = verdict == Verdict::Outside;
            Ok(Standing::Quarantined(why.to_string()))
        };
        let judged = judged(s, app, product, &told, by, decide).await?;
        if outside {
            lots::judge(s, id, &judged, why).await?;
        }
    }
    Ok(())
}

/// What the law says now of a lot as it came in, with the salon's place and the table of today; the worse of that and
/// what was said at reception holds.
pub fn law_now(
    app: &App,
    place: &str,
    product: &Product,
    row: (&str, Option<&serde_json::Value>, Option<f32>),
) -> Verdict {
    let (kept, contents, ph) = row;
    let own = contents.map(contents_of);
    let now = lot::verdict(&checks(app, place, product, own.as_deref(), ph));
    if kept == Verdict::Outside.code() { Verdict::Outside } else { now }
}

/// Opened today; the first opening counts.
pub async fn open_lot(s: &mut Scoped, id: LotId, today: Date) -> Stored<()> {
    lots::open(s, id, today).await?;
    s.changed("shelf");
    Ok(())
}

/// Takes a lot out of use, for good.
pub async fn withdraw_lot(s: &mut Scoped, id: LotId, reason: &str, by: PersonId) -> Stored<()> {
    lots::withdraw(s, id, reason, by).await?;
    s.changed("shelf");
    Ok(())
}

/// Notes that a client was told of a recalled lot, or was not reached. At any hour: whether it may wait, people decide.
pub async fn note_recall_call(
    s: &mut Scoped,
    id: LotId,
    client: ClientId,
    told: bool,
    by: PersonId,
) -> Stored<()> {
    recall::insert_call(s, id, client, told, by).await?;
    s.changed("shelf");
    Ok(())
}

/// Notes grams that went on no head, or what was counted. False when more was to go than the book has left.
pub async fn note_stock(
    s: &mut Scoped,
    id: LotId,
    (kind, grams): (NoteKind, f32),
    reason: &str,
    by: PersonId,
) -> Stored<bool> {
    match stock_notes::insert(s, id, kind.code(), grams, reason, by).await {
        Ok(()) => {
            s.changed("shelf");
            Ok(true)
        }
        Err(StoreError::Refused { rule, .. }) if rule == "stock:more-than-left" => Ok(false),
        Err(e) => Err(e),
    }
}
