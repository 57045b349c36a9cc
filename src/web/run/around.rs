//! What the Run screen shows beside the run itself, read in one go.

use super::bowl::Picked;
use super::practice::Practised;
use crate::calendar::Zone;
use crate::domain::access::{Act, may};
use crate::domain::ids::{PlanId, StationId};
use crate::domain::protocol::Kind;
use crate::domain::run::hands_stay::HandsKnown;
use crate::domain::run::holds::STRAND_TEST_DAYS;
use crate::flow::runs::Loaded;
use crate::flow::{run_context, run_hands, test_visits};
use crate::store::{Scoped, Stored, people, run_frames, stations, stock_notes};
use crate::web::seat::Seat;

/// What the page shows beside the run itself.
pub(super) struct Around {
    pub(super) names: Vec<(i64, String)>,
    /// Who may answer for a service.
    pub(super) may_answer: Vec<i64>,
    pub(super) stations: Vec<(i64, String)>,
    /// Every station, this one and those no longer in use too.
    pub(super) station_names: Vec<(i64, String)>,
    pub(super) lots: Vec<run_frames::LotRow>,
    pub(super) aftercare: bool,
    /// Until when qualified hands are here; absent when the service has ended.
    pub(super) hands: Option<HandsKnown>,
    /// What bowls of this run took beyond the book: lot and grams.
    pub(super) beyond: Vec<(i64, f32)>,
    /// What was picked, weighed or scanned for a bowl.
    pub(super) picked: Picked,
    /// The tests written down that this visit is about, in words; empty where its protocol records none.
    pub(super) written: Vec<String>,
    /// Nothing is left to write down.
    pub(super) stands: bool,
    /// It is practised: where its pages and acts are.
    pub(super) practised: Option<Practised>,
}

impl Around {
    pub(super) async fn load(s: &mut Scoped, seat: &Seat, loaded: &Loaded) -> Stored<Around> {
        let team: Vec<_> = people::list(s).await?.into_iter().filter(|p| !p.left).collect();
        let may_answer = team.iter().filter(|p| may(p.role, Act::HandOver)).map(|p| p.id.0).collect();
        let names = team.into_iter().map(|p| (p.id.0, p.name)).collect();
        let own = seat.station_id();
        let known = stations::list(s).await?;
        let station_names = known.iter().map(|x| (x.station_id, x.name.clone())).collect();
        let stations = known
            .into_iter()
            .filter(|x| x.paired && !x.revoked && Some(StationId(x.station_id)) != own && x.kind != "wall")
            .map(|x| (x.station_id, x.name))
            .collect();
        let of = (PlanId(loaded.run.plan_id), crate::domain::ids::RunId(loaded.run.run_id));
        let today = Zone::find(&seat.salon_row.zone).map_or(loaded.now.date(), |z| z.day_of(loaded.now));
        let lots = run_frames::list_lots(s, of, today).await?;
        let aftercare = crate::store::finish::find_aftercare(s, crate::domain::ids::RunId(loaded.run.run_id))
            .await?
            .is_some();
        let hands = match loaded.run.ended_at {
            Some(_) => None,
            None => Some(run_hands::known(s, loaded, seat.person()).await?),
        };
        let beyond = stock_notes::list_by_run(s, crate::domain::ids::RunId(loaded.run.run_id)).await?;
        let protocol = &loaded.frame.protocol;
        let service = protocol.kind == Kind::Service;
        let days = if service { STRAND_TEST_DAYS } else { 0 };
        let written = match test_visits::test_of(protocol) {
            Some(test) => test_visits::list_written(s, &loaded.run, (test, days)).await?,
            None => Vec::new(),
        };
        // A visit has written down what it came for; a service needs what its products ask.
        let stands = !written.is_empty() && (!service || run_context::strand_tests_stand(s, loaded).await?);
        let picked = Picked::default();
        Ok(Around {
            names,
            may_answer,
            stations,
            station_names,
            lots,
            aftercare,
            hands,
            beyond,
            picked,
            written,
            stands,
            practised: None,
        })
    }

    pub(super) fn name(&self, id: i64) -> String {
        self.names.iter().find(|(n, _)| *n == id).map_or_else(|| tr!("somebody").into(), |(_, n)| n.clone())
    }
}
