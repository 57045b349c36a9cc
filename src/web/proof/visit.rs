//! One visit's record as a page: read the rows, follow the chain, hand both to the sheet.

use axum::extract::Path;
use std::collections::BTreeMap;

use super::sheet::{Proven, Sheet, VisitPage};
use super::words::Names;
use crate::app::App;
use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::domain::ids::{PlanId, RunId};
use crate::flow::runs;
use crate::store::proof::{self, Chain};
use crate::store::{Scoped, people, plans, stations, visits};
use crate::web::clients::zone;
use crate::web::form::Errors;
use crate::web::page;
use crate::web::problem::{Answered, Problem};
use crate::web::result_photos;
use crate::web::seat::Seat;
use crate::web::shell::Shell;

/// Follows the chain of a record to its head, and looks whether the ledger agrees.
async fn prove(s: &mut Scoped, run: RunId) -> Result<Proven, Problem> {
    let (mut chain, mut broken) = (Chain::default(), Vec::new());
    let mut ending = None;
    let ledger = proof::find_ledger(s, run).await?;
    loop {
        let lines = proof::list_lines(s, run, chain.seq).await?;
        if lines.is_empty() {
            break;
        }
        for line in lines {
            let found = chain.follow(s.salon, run, &line);
            broken.extend(found.into_iter().map(|b| tr!("Event {}: {}", line.seq, b.words())));
            if ledger.as_ref().is_some_and(|l| l.last_seq == line.seq) {
                ending = Some(line.hash);
            }
        }
    }
    if let Some(ledger) = &ledger
        && (ending.as_ref() != Some(&ledger.head_hash) || !ledger.holds(s.salon))
    {
        broken.push(tr!("Ledger line {}: it does not fit this record.", ledger.ledger_seq));
    }
    Ok(Proven {
        head: proof::hex(&chain.head),
        events: chain.seq,
        broken,
        ledger: ledger.map(|l| l.ledger_seq),
    })
}

/// The whole record of a visit.
pub async fn show(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeProof)?;
    let id: RunId = id.parse().map_err(|_| Problem::NotFound)?;
    let zone = zone(&seat)?;
    let mut s = seat.begin().await?;
    let shell = seat.shell(s.now().await?, "/proof", &[&format!("run:{id}")]);
    let shown = visit_page(&mut s, &seat.app, &zone, id, shell, Errors::none()).await?;
    s.commit().await?;
    Ok(page::html(&shown))
}

/// The same again, with what was wrong with a photo.
pub async fn again(seat: &Seat, id: RunId, errors: Errors) -> Answered {
    let zone = zone(seat)?;
    let mut s = seat.begin().await?;
    let shell = seat.shell(s.now().await?, "/proof", &[&format!("run:{id}")]);
    let shown = visit_page(&mut s, &seat.app, &zone, id, shell, errors).await?;
    s.commit().await?;
    Ok(page::refused(&shown))
}

/// What a visit's page shows, in a frame.
pub async fn visit_page(
    s: &mut Scoped,
    app: &App,
    zone: &Zone,
    id: RunId,
    shell: Shell,
    errors: Errors,
) -> Result<VisitPage, Problem> {
    let loaded = runs::load(s, app, id).await?.ok_or(Problem::NotFound)?;
    let proven = prove(s, id).await?;
    let plan = plans::find(s, PlanId(loaded.run.plan_id)).await?;
    let incidents = visits::list_incidents(s, id).await?;
    let lots = visits::list_lots(s, id).await?;
    let photos = result_photos::of_visit(s, zone, id, errors).await?;
    let people = people::list(s).await?;
    let stations = stations::list(s).await?;
    let names = Names {
        frame: &loaded.frame,
        people: people.into_iter().map(|p| (p.id.0, p.name)).collect(),
        stations: stations.into_iter().map(|x| (x.station_id, x.name)).collect(),
        lots: lots.into_iter().map(|(id, code, name)| (id, (code, name))).collect::<BTreeMap<_, _>>(),
    };
    let sheet = Sheet { loaded: &loaded, state: loaded.state(), names, zone };
    Ok(VisitPage::new(&sheet, shell, proven, plan, &incidents, photos))
}
