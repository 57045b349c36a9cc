//! Documents of any size, the same ones every time.

use serde_json::{Value, json};

fn many(count: usize, one: impl Fn(usize) -> Value) -> String {
    Value::Array((0..count).map(one).collect()).to_string()
}

fn growth(observations: &[Value]) -> Value {
    json!({
        "prior": {"mean_mm_per_day": 0.30, "sd_mm_per_day": 0.08}, "observations": observations,
        "target_mm": 25, "days_since": 60, "least_days": 56
    })
}

fn observation(i: usize) -> Value {
    json!({"days": 60 + i % 60, "mm": 15.0 + (i % 17) as f64, "sd_mm": 2})
}

/// One client measured `n` times.
pub fn regrowth_observations(n: usize) -> String {
    growth(&(0..n).map(observation).collect::<Vec<_>>()).to_string()
}

/// `n` clients measured three times each.
pub fn regrowth_documents(n: usize) -> String {
    many(n, |i| growth(&[observation(i), observation(i + 5), observation(i + 11)]))
}

/// The `i`th of `n` days from 1900 on, spread over 120 years at most.
fn day(i: usize, n: usize) -> String {
    let from = time::macros::date!(1900 - 01 - 01);
    let apart = (43_000 / n.max(1)).clamp(1, 90);
    (from + time::Duration::days((i * apart) as i64)).to_string()
}

fn strand(events: &[Value], plan: &[Value], n: usize) -> String {
    json!({
        "length_mm": 200, "on": day(0, n), "rate_mm_per_day": 0.30, "events": events,
        "as_of": day(n, n), "plan": plan
    })
    .to_string()
}

fn two() -> Vec<Value> {
    vec![
        json!({"family": "thio", "zone": "new-growth", "straightens": true}),
        json!({"family": "thio", "zone": "root-to-end"}),
    ]
}

/// A salon's usual history: measured, trimmed, new growth treated, in turn.
pub fn strand_events(n: usize) -> String {
    let event = |i: usize| match i % 3 {
        0 => json!({"on": day(i, n), "did": "apply", "family": "thio", "zone": "new-growth"}),
        1 => json!({"on": day(i, n), "did": "trim", "mm": 5}),
        _ => {
            json!({"on": day(i, n), "did": "apply", "family": "oxidative-colour", "zone": {"from_mm": 0, "to_mm": 30}})
        }
    };
    strand(&(0..n).map(event).collect::<Vec<_>>(), &two(), n)
}

/// Nothing is cut off: every treatment of new growth leaves one piece more.
pub fn strand_pieces(n: usize) -> String {
    let event = |i: usize| {
        let family = if i.is_multiple_of(2) { "thio" } else { "oxidative-colour" };
        json!({"on": day(i, n), "did": "apply", "family": family, "zone": "new-growth"})
    };
    strand(&(0..n).map(event).collect::<Vec<_>>(), &two(), n)
}

/// A plan of `n` applications over ten pieces.
pub fn strand_applications(n: usize) -> String {
    let events: Vec<Value> = (0..10)
        .map(|i| json!({"on": day(i, 100), "did": "apply", "family": "lightener", "zone": "new-growth"}))
        .collect();
    let families = ["thio", "oxidative-colour", "direct-dye", "sodium-hydroxide"];
    let plan: Vec<Value> =
        (0..n).map(|i| json!({"family": families[i % 4], "zone": {"ends_from_mm": i % 50}})).collect();
    strand(&events, &plan, 100)
}

/// A product of `n` contents, most of them named again and again.
pub fn limits_contents(n: usize) -> String {
    let known =
        ["ammonium-thioglycolate", "thioglycolic-acid", "ammonia", "hydrogen-peroxide", "sodium-hydroxide"];
    let contents: Vec<Value> =
        (0..n).map(|i| json!({"ingredient": known[i % known.len()], "percent": 0.0001})).collect();
    json!({"place": "eu", "use": "professional", "purpose": "waving-straightening", "contents": contents, "ph": 9.2})
        .to_string()
}

/// `n` heads.
pub fn rods_documents(n: usize) -> String {
    many(
        n,
        |i| json!({"section_mm": 100 + i % 100, "wanted": "S", "rod_mm": null, "rod_length_mm": 80, "scalp_cm2": 600}),
    )
}

/// `n` zones of hair.
pub fn amounts_documents(n: usize) -> String {
    many(
        n,
        |i| json!({"hairs_per_cm2": 190, "scalp_cm2": 600, "diameter_um": 70, "zone_mm": 20 + i % 30, "product_to_hair": 3}),
    )
}

fn instant(minute: usize) -> String {
    let at = time::macros::datetime!(2025-04-10 10:00 UTC) + time::Duration::minutes(minute as i64);
    at.format(&time::format_description::well_known::Rfc3339).expect("a year of four digits")
}

fn touches(n: usize, quadrant: impl Fn(usize) -> String) -> String {
    let events: Vec<Value> = (0..n)
        .map(|i| {
            let did = if i % 2 == 0 { "start" } else { "rinse" };
            json!({"at": instant(i), "quadrant": quadrant(i / 2), "did": did})
        })
        .collect();
    json!({"events": events, "now": instant(n), "most_minutes": 20}).to_string()
}

/// Places started and rinsed in turn, each once, `n` events.
pub fn exposure_events(n: usize) -> String {
    touches(n, |i| format!("place {i}"))
}

/// As many quadrants as there is room for in `2n` events: each once.
pub fn exposure_quadrants(n: usize) -> String {
    touches(2 * n, |i| format!("place {i}"))
}

/// A salon of `staff` on `days` days asked for a service of `segments` on a grid of `grid` minutes: everybody works
/// five days of seven, a third of the day taken; hands-off time and a basin in turn; a patch-test visit before.
pub fn openings(days: usize, staff: usize, segments: usize, grid: f64) -> String {
    let person = |i: usize| format!("p{i}");
    let people: Vec<Value> = (0..staff)
        .map(|i| json!({"id": person(i), "may": if i.is_multiple_of(3) { json!(["thio"]) } else { json!([]) }}))
        .collect();
    let hours: Vec<Value> = (0..staff)
        .flat_map(|i| {
            (0..5).map(move |d| json!({"person": person(i), "weekday": 1 + (i + d) % 7, "open": "09:00", "close": "18:00"}))
        })
        .take(10_000)
        .collect();
    let start = time::macros::datetime!(2026-03-02 00:00 UTC);
    let text = |at: time::OffsetDateTime| {
        at.format(&time::format_description::well_known::Rfc3339).expect("a year of four digits")
    };
    let taken: Vec<Value> = (0..days * staff * 3)
        .take(9_900)
        .map(|i| {
            let (day, who, nth) = (i / (staff * 3), i / 3 % staff, i % 3);
            let from = start + time::Duration::minutes((day * 1440 + 540 + nth * 170 + who * 7 % 60) as i64);
            json!({"person": person(who), "start": text(from), "end": text(from + time::Duration::minutes(60))})
        })
        .collect();
    let parts: Vec<Value> = (0..segments)
        .map(|i| match i % 3 {
            0 => json!({"minutes": 20, "hands": {"may": "thio", "same_as": if i > 0 { json!(0) } else { Value::Null }}, "places": ["chair"]}),
            1 => json!({"minutes": 10, "hands": null, "places": ["chair"]}),
            _ => json!({"minutes": 10, "hands": {"may": null, "same_as": null}, "places": ["basin"]}),
        })
        .collect();
    json!({
        "grid_minutes": grid, "zone": "Europe/Paris", "from": "2026-03-02", "days": days, "hours": hours,
        "people": people, "places": [{"kind": "chair", "count": 30}, {"kind": "basin", "count": 6}], "taken": taken,
        "segments": parts, "patch_test": {"minutes": 15, "least_hours_before": 48, "may": null},
        "wanted": text(start + time::Duration::days(days as i64 / 2)), "most": 5
    })
    .to_string()
}
