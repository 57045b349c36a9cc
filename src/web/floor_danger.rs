//! What the Floor says before anything else: stopped heads, heads over their longest allowed; and the one large clock of
//! a service, whose overrun is the one that its own screen says.

use time::OffsetDateTime;

use crate::web::floor::{Seen, in_words, ms};
use crate::web::floor_ahead::Told;
use crate::web::picture::Clock;
use crate::web::seat::short_name;

/// Stopped, and not ended.
pub(super) fn stopped(x: &Seen<'_>) -> bool {
    x.state.stop.is_some() && x.state.ended.is_none()
}

/// Since when a head is over its longest allowed, while nobody rinses it.
pub(super) fn overdue_since(
    state: &crate::domain::run::State<'_>,
    now: OffsetDateTime,
) -> Option<OffsetDateTime> {
    state.passed(now).map(|b| b.at)
}

pub(super) fn stopped_words(
    x: &Seen<'_>,
    now: OffsetDateTime,
    clock: &dyn Fn(OffsetDateTime) -> String,
) -> (i64, String, String) {
    let run = &x.loaded.run;
    let at = x.state.stop.map_or_else(String::new, |s| clock(s.at));
    let whose = tr!("{}, {}: stopped {at}", short_name(&run.client_name), run.chair, at = at);
    let water = x.state.water_until().filter(|until| *until > now);
    let headline = x.state.headline(now);
    let words = match water {
        Some(until) => tr!("{}. Water until {}.", headline.now, clock(until)),
        None => format!("{}.", headline.now),
    };
    (run.run_id, whose, words)
}

/// Who waits for nobody: a stopped head with product on, a head over its longest allowed.
pub(super) fn now_first(
    seen: &[Seen<'_>],
    now: OffsetDateTime,
    clock: &dyn Fn(OffsetDateTime) -> String,
) -> Vec<Told> {
    let told = |x: &Seen<'_>| {
        let name = short_name(&x.loaded.run.client_name);
        if stopped(x) && x.state.product_on() {
            let words = tr!("stopped: water on now, at any basin; the others wait");
            return Some(Told { title: tr!("Now {name}", name = name), words: words.into() });
        }
        let since = overdue_since(&x.state, now)?;
        let words = tr!(
            "over the longest allowed since {}, {}: rinse now, at any basin; the others wait",
            clock(since),
            in_words(now, since)
        );
        Some(Told { title: tr!("Now {name}", name = name), words })
    };
    seen.iter().filter_map(told).collect()
}

/// The one large clock: the window, else the nearest target, else how long the step has been in hand.
pub(super) fn main_clock(x: &Seen<'_>, now: OffsetDateTime) -> (Clock, String, String) {
    let state = &x.state;
    if let Some(stop) = state.stop.filter(|_| state.chemistry_met()) {
        if let Some(until) = state.water_until().filter(|until| *until > now) {
            let c = Clock::down(ms(until), ms(now));
            let label = tr!("stopped, {} of water still to run", c.text);
            return (c, tr!("of water").into(), label);
        }
        if state.product_on() || state.running().is_empty() {
            let c = Clock::up(ms(stop.at), ms(now));
            let label = tr!("stopped {} ago", c.text);
            return (c, tr!("since the stop").into(), label);
        }
    }
    if let Some(shuts) = state.window_shuts_at().filter(|shuts| *shuts > now) {
        let c = Clock::down(ms(shuts), ms(now));
        let label = tr!("{} left for both passes", c.text);
        return (c, tr!("left").into(), label);
    }
    let running = state.running();
    let past = running.iter().find(|r| r.on_hair && r.most_at.is_some_and(|m| m <= now));
    if let Some(r) = past {
        let c = Clock::down(ms(r.most_at.unwrap_or(now)), ms(now));
        let label = tr!("{} past the longest allowed", c.text);
        return (c, tr!("over").into(), label);
    }
    if let Some(at) = running.iter().filter_map(|r| r.target_at).min() {
        let c = Clock::down(ms(at), ms(now));
        if at <= now {
            let label = tr!("{} past the target", c.text);
            return (c, tr!("past target").into(), label);
        }
        let label = tr!("{} to target", c.text);
        return (c, tr!("in").into(), label);
    }
    if let Some(r) = running.first() {
        let c = Clock::up(ms(r.from), ms(now));
        let label = tr!("on {}", c.text);
        return (c, tr!("on").into(), label);
    }
    let since = state.in_hand.and_then(|i| state.steps[i].started_at).or(state.started_at).unwrap_or(now);
    let c = Clock::up(ms(since), ms(now));
    let label = tr!("{} in this step", c.text);
    (c, tr!("since").into(), label)
}
