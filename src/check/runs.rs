//! Each run's record: its chain, its columns, its fold, and what follows from it in other tables.

use super::{Checker, holds};
use crate::domain::ids::{ClientId, RunId, SalonId};
use crate::domain::run::{Event, EventKind, Granted, State};
use crate::flow::plans::zone_columns;
use crate::flow::run_effects::{Met, exposures_met};
use crate::flow::runs::{Loaded, frozen_frame};
use crate::store::proof::{self, Chain, Line};
use crate::store::runs::Run;
use crate::store::sweep::{self, Dispensed};
use crate::store::{Scoped, StoreError, Stored};

/// What is wrong in a run: the event it is about, and what.
type Wrong = (Option<i64>, String);

impl Checker {
    pub(super) async fn check_runs(&mut self, salon: SalonId) -> Stored<()> {
        let mut after = 0;
        loop {
            let mut s = self.begin(salon).await?;
            let page = sweep::list_runs(&mut s, after).await?;
            s.commit().await?;
            let Some(last) = page.last() else { return Ok(()) };
            after = last.run_id;
            for listed in page {
                let id = listed.run_id;
                let wrong = match self.check_run(salon, RunId(id)).await {
                    Ok(wrong) => wrong,
                    Err(StoreError::Corrupt(table, what)) => {
                        vec![(None, format!("unreadable row in {table} ({what})."))]
                    }
                    Err(other) => return Err(other),
                };
                self.report.extend(wrong.into_iter().map(|(seq, what)| match seq {
                    Some(seq) => format!("Salon {salon}, run {id}, event {seq}: {what}"),
                    None => format!("Salon {salon}, run {id}: {what}"),
                }));
            }
        }
    }

    /// One run, whole, in one snapshot.
    async fn check_run(&mut self, salon: SalonId, id: RunId) -> Stored<Vec<Wrong>> {
        let mut s = self.begin(salon).await?;
        let Some(run) = crate::store::runs::find(&mut s, id).await? else { return Ok(Vec::new()) };
        let (mut wrong, events, whole) = self.read_record(&mut s, &run).await?;
        self.report.runs += 1;
        // What cannot be read cannot be folded; that it cannot be read is said already.
        if whole {
            let protocol = self.protocol(&mut s, &run.protocol, run.revision).await?;
            let (frame, products) = frozen_frame(&mut s, protocol, &run).await?;
            let now = s.now().await?;
            let mut loaded = Loaded { run, frame, events, products, now };
            wrong.extend(ending(&mut s, &loaded).await?);
            wrong.extend(dispensed(&mut s, &loaded).await?);
            wrong.extend(strand(&mut s, &loaded).await?);
            let held = holds::check(&mut s, &mut loaded).await?;
            wrong.extend(held.into_iter().map(|(seq, what)| (Some(seq), what)));
        }
        s.commit().await?;
        Ok(wrong)
    }

    /// Follows the chain and reads the events; the last is whether every one could be read.
    async fn read_record(&mut self, s: &mut Scoped, run: &Run) -> Stored<(Vec<Wrong>, Vec<Event>, bool)> {
        let (id, salon) = (RunId(run.run_id), s.salon);
        let (mut wrong, mut events, mut whole) = (Vec::new(), Vec::new(), true);
        let mut chain = Chain::default();
        loop {
            let lines = proof::list_lines(s, id, chain.seq).await?;
            if lines.is_empty() {
                break;
            }
            self.report.events += lines.len() as u64;
            for line in lines {
                let seq = Some(i64::from(line.seq));
                wrong.extend(chain.follow(salon, id, &line).into_iter().map(|b| (seq, b.words())));
                match line.event() {
                    Ok(event) => {
                        wrong.extend(columns(run, &line, &event).into_iter().map(|w| (seq, w)));
                        events.push(event);
                    }
                    Err(StoreError::Corrupt(_, what)) => {
                        whole = false;
                        wrong.push((seq, format!("it cannot be read ({what}).")));
                    }
                    Err(other) => return Err(other),
                }
            }
        }
        Ok((wrong, events, whole))
    }
}

/// What the columns of a line say against each other.
fn columns(run: &Run, line: &Line, event: &Event) -> Vec<String> {
    let mut found = Vec::new();
    if line.outcome.as_deref() != event.kind.outcome() {
        let means = event.kind.outcome().unwrap_or("nothing");
        let says = line.outcome.as_deref().unwrap_or("nothing");
        found.push(format!("its outcome says {says}, its answer means {means}."));
    }
    let starts = matches!(event.kind, EventKind::Granted(Granted::RunStarted { .. }));
    if (line.seq == 1) != starts {
        found.push("a record begins with run_started, once.".to_owned());
    }
    let fact = matches!(event.kind, EventKind::Happened(_));
    if fact != event.fact_id.is_some() {
        found.push("a fact has its own name (fact_id), a permission none.".to_owned());
    }
    if !fact && event.by.is_none() {
        found.push("nobody's name stands under a permission.".to_owned());
    }
    if event.happened_at > event.recorded_at || (fact && event.happened_at < run.started_at) {
        found.push("it happened outside the time between the run's start and its recording.".to_owned());
    }
    found
}

/// Where the run's own row disagrees with the fold, and whether an ended run stands in the ledger.
async fn ending(s: &mut Scoped, loaded: &Loaded) -> Stored<Vec<Wrong>> {
    let mut wrong = Vec::new();
    let (state, run) = (loaded.state(), &loaded.run);
    let on_record = loaded.events.iter().find(|e| ends(e));
    let how = on_record.map(|e| match &e.kind {
        EventKind::Granted(Granted::RunFinished { stopped: true }) => "stopped",
        EventKind::Granted(Granted::RunFinished { .. }) => "finished",
        _ => "left",
    });
    if run.ended_at != on_record.map(|e| e.recorded_at) || run.ended_how.as_deref() != how {
        let says = run.ended_how.as_deref().unwrap_or("under way");
        wrong.push((None, format!("its row says {says}, its record {}.", how.unwrap_or("under way"))));
    }
    if state.ended.is_some() != on_record.is_some() || state.seq != loaded.events.last().map_or(0, |e| e.seq)
    {
        wrong.push((None, "its events do not fold to where its record ends.".to_owned()));
    }
    let ledger = proof::find_ledger(s, RunId(run.run_id)).await?;
    match (on_record, ledger) {
        (Some(end), Some(line)) if i64::from(line.last_seq) != end.seq => {
            wrong.push((Some(end.seq), format!("the ledger says it ended with event {}.", line.last_seq)));
        }
        (Some(end), None) => {
            wrong.push((Some(end.seq), "it ended and does not stand in the ledger.".to_owned()))
        }
        (None, Some(_)) => wrong.push((None, "it stands in the ledger and has not ended.".to_owned())),
        _ => {}
    }
    Ok(wrong)
}

fn ends(event: &Event) -> bool {
    matches!(&event.kind, EventKind::Granted(Granted::RunFinished { .. } | Granted::RunLeft { .. }))
}

/// Where the lots' rows disagree with the events.
async fn dispensed(s: &mut Scoped, loaded: &Loaded) -> Stored<Vec<Wrong>> {
    let rows = sweep::list_dispensed(s, RunId(loaded.run.run_id)).await?;
    let state = loaded.state();
    let said: Vec<Dispensed> = loaded
        .events
        .iter()
        .filter(|e| !state.is_taken_back(e))
        .filter_map(|e| match &e.kind {
            EventKind::Granted(Granted::LotDispensed { application, lot, grams }) => Some(Dispensed {
                seq: i32::try_from(e.seq).unwrap_or(i32::MAX),
                lot_id: lot.0,
                application: application.to_string(),
                // As the column keeps it.
                grams: *grams as f32,
            }),
            _ => None,
        })
        .collect();
    let mut wrong = Vec::new();
    for one in &said {
        if !rows.contains(one) {
            let what = format!("lot {} for {} is not among what was dispensed.", one.lot_id, one.application);
            wrong.push((Some(i64::from(one.seq)), what));
        }
    }
    for row in rows.iter().filter(|row| !said.contains(row)) {
        let what =
            format!("{} g of lot {} stand as dispensed, and it does not say so.", row.grams, row.lot_id);
        wrong.push((Some(i64::from(row.seq)), what));
    }
    Ok(wrong)
}

/// Where the strand lacks what an ended run put on the hair, or cut off.
async fn strand(s: &mut Scoped, loaded: &Loaded) -> Stored<Vec<Wrong>> {
    let Some(end) = loaded.events.iter().position(ends) else { return Ok(Vec::new()) };
    let state = State::fold(&loaded.frame, &loaded.events[..=end]);
    let (client, run) = (ClientId(loaded.run.client_id), RunId(loaded.run.run_id));
    let mut left = sweep::list_left(s, client, run).await?;
    let mut wrong = Vec::new();
    for Met { letter, family, zone, .. } in exposures_met(s, loaded, &state).await? {
        let (family, zone) = (family.code(), zone_columns(zone).0);
        let there = left.iter().position(|l| {
            l.did == "apply" && l.family.as_deref() == Some(family) && l.zone.as_deref() == Some(zone)
        });
        match there {
            Some(n) => {
                left.remove(n);
            }
            None => wrong.push((
                None,
                format!("product {} ({family}, {zone}) is not in the client's strand.", letter),
            )),
        }
    }
    for more in left.iter().filter(|l| l.did == "apply") {
        let (family, zone) = (more.family.as_deref().unwrap_or("?"), more.zone.as_deref().unwrap_or("?"));
        wrong.push((
            None,
            format!("the client's strand has {family} ({zone}) from it, and its record has not."),
        ));
    }
    let cut: f64 = left.iter().filter(|l| l.did == "trim").filter_map(|l| l.mm).sum();
    if (cut - state.trimmed_mm).abs() > 1e-6 {
        wrong.push((None, format!("{:.1} mm were cut, the strand says {cut:.1} mm.", state.trimmed_mm)));
    }
    Ok(wrong)
}
