//! The growth fan of a strand: from the record to the picture's numbers.

use crate::domain::length;
use time::Date;

use crate::calendar::month_words;
use crate::domain::growth::normal::phi_inverse;
use crate::domain::growth::{Rate, Retouch, RetouchWindow};
use crate::domain::strand::Deed;
use crate::flow::strands::Told;
use crate::web::picture::fan::{Due, Fan, Measured};

/// The shortest lying axis, days: 25 weeks.
const LEAST_DAYS: f64 = 175.0;
/// The longest lying axis that can still be read, days.
const MOST_DAYS: f64 = 1400.0;
/// Measurements that are drawn, the latest.
const MOST_MEASURED: usize = 6;

fn short(day: Date) -> String {
    format!("{} {}", day.day(), month_words(day.month()))
}

/// Every measurement against the last thing that met the root before it.
fn measured(told: &Told) -> Vec<Measured> {
    let mut born: Option<(Date, f64)> = None;
    let mut all = Vec::new();
    for visit in
        told.story.visits().iter().zip(told.story.deeds.iter().filter(|(_, d)| !matches!(d, Deed::Trim(_))))
    {
        use crate::domain::growth::visits::Did;
        match (visit.0.did, &visit.1.1) {
            (Did::Applied { at_scalp: true }, Deed::Apply(_, e)) => born = Some((visit.0.on, e.on_sd_days)),
            (Did::Measured { mm, sd_mm }, _) => {
                let Some((from, doubt)) = born else { continue };
                let day = (visit.0.on - from).whole_days() as f64;
                if day > 0.0 {
                    let words = tr!("{}, {mm}", short(visit.0.on), mm = length::said(mm));
                    all.push(Measured { day, day_doubt: doubt, mm, mm_doubt: sd_mm, words });
                }
            }
            _ => {}
        }
    }
    let skip = all.len().saturating_sub(MOST_MEASURED);
    all.split_off(skip)
}

fn band(rate: Rate) -> (f64, f64) {
    let reach = rate.sd * phi_inverse(0.9);
    ((rate.mean - reach).max(0.0), rate.mean + reach)
}

/// The fan `days` after `last`.
pub fn draw(
    told: &Told,
    last: Date,
    days: f64,
    asked: Option<Retouch>,
    window: Option<RetouchWindow>,
) -> Fan {
    let measured = measured(told);
    let furthest = measured.iter().map(|m| m.day + m.day_doubt).fold(days * 1.15, f64::max);
    let span = ((furthest / 7.0).ceil() * 7.0).clamp(LEAST_DAYS, MOST_DAYS);
    let target_mm = asked.map_or(0.0, |a| a.target_mm);
    let highest = measured.iter().map(|m| m.mm + m.mm_doubt).fold(told.rate.mean * span * 1.1, f64::max);
    let mm = ((highest.max(target_mm * 1.4) / 10.0).ceil() * 10.0).clamp(40.0, 600.0);
    let due = window.and_then(|w| {
        let day = |d: Date| (d - last).whole_days() as f64;
        let (from, to) = (w.early?, w.late.unwrap_or(w.latest));
        let words = tr!("due {} to {}", short(from), short(to));
        Some(Due { from_day: day(from), to_day: day(to.max(from)), words })
    });
    let now = told.rate.growth(days);
    let met = due.as_ref().map_or(String::new(), |d| tr!(" It is {}.", d.words));
    Fan {
        days: span,
        mm,
        rate: told.rate.mean,
        band: band(told.rate),
        prior: (told.prior != told.rate).then(|| band(told.prior)),
        target_mm,
        today: (days, tr!("today, {days} days", days = format_args!("{:.0}", days))),
        due,
        measured,
        label: tr!(
            "Growth fan. From {} the estimate runs at {} {unit} a day. Today {}, 80 percent between {} and {}.{met}",
            short(last),
            length::rate(told.rate.mean),
            length::said(now.mean),
            length::figure(now.low),
            length::figure(now.high),
            unit = crate::words::measuring().symbol(),
            met = met
        ),
    }
}
