//! A refusal in the words of the Run screen.

use axum::http::StatusCode;

use crate::calendar::Zone;
use crate::domain::protocol::HoldPoint;
use crate::flow::runs::Refused;
use crate::web::form::Reason;
use crate::web::problem::Problem;
use crate::web::seat::Seat;

/// A refusal as the Run screen shows it: heading, reasons, status.
pub(super) struct Said {
    pub heading: &'static str,
    pub reasons: Vec<Reason>,
    pub status: StatusCode,
}

/// The words of the database's own guard.
fn guard_words(rule: &str) -> String {
    let whole = match rule {
        "rinse:missing" => tr!("product is still on the hair, no water has run clear"),
        "hair:left-open" => tr!("the hair was opened and is not closed: neutralise or normalise first"),
        "rinse:due" => tr!("a test curl or a look shows that it is reached"),
        "most-time:passed" => tr!("the product has been on longer than the longest allowed"),
        "window:shut" => tr!("the window in which the passes are done has shut"),
        "step:out-of-turn" | "step:closing-begun" => {
            tr!("another step comes first, or the hair is being closed")
        }
        "product:other-family" => tr!("the product is of another chemistry than this service gives there"),
        "plan:of-earlier-visit" => tr!("the plan was checked before this visit"),
        "plan:stale" => tr!("something the plan rests on has changed since"),
        "sting:not-rinsed" => tr!("it stung, and that place is not rinsed"),
        "sting:not-read" => tr!("it stung, and the scalp was not read since that place was rinsed"),
        "permission:not-withdrawable" | "permission:rested-on" => {
            tr!("it is not taken back any more: something rests on it")
        }
        "gloves:not-the-same" => tr!("no pair of these hands is answered for since water ran"),
        "stop:not-read" => tr!("nobody has answered since the stop: skin whole, eyes clear, no swelling?"),
        "stop:skin-not-whole" => tr!("skin, eyes or swelling: 20 minutes of water first, then a stylist"),
        "hands:not-a-manager" => tr!("a manager names hands that stay"),
        "hands:not-qualified" => {
            tr!("hands that stay are a stylist’s or a manager’s, qualified in this chemistry")
        }
        _ => "",
    };
    if !whole.is_empty() {
        return tr!("The record itself refuses: {whole}.", whole = whole);
    }
    let (point, why) = rule.split_once(':').unwrap_or((rule, ""));
    let title = HoldPoint::from_code(point).map_or_else(|| point.to_string(), |p| p.title().to_string());
    let why = match why {
        "missing" => tr!("not answered"),
        "stale" | "lapsed" => tr!("the answer no longer holds"),
        "failed" => tr!("answered, and it does not hold"),
        "reaction" | "past-reaction" => tr!("a reaction is on record, and nobody may override it"),
        "not-held" => tr!("the record does not hold"),
        "before-stop-closed" => tr!("answered before the stop was ended"),
        "not-clear" => tr!("not clear"),
        "quarantined" => tr!("it stands in quarantine, or outside the law's limits, and is never dispensed"),
        "more-than-came-in" => tr!("more grams than came in with it"),
        "other-product" => tr!("it is of another product than what goes on here"),
        "out-of-use" => tr!("it was taken out of use"),
        "out-of-date" => tr!("it is out of date"),
        "open-too-long" => tr!("it has been open for longer than it keeps"),
        "part-not-held" => tr!("the other part of the mixture is not in the bowl"),
        other => other,
    };
    tr!("The record itself refuses: {title}, {why}.", title = title, why = why)
}

pub(super) fn said(refused: Refused, seat: &Seat) -> Result<Said, Problem> {
    let zone = Zone::find(&seat.salon_row.zone);
    let at = |i: time::OffsetDateTime| zone.as_ref().map_or_else(String::new, |z| z.clock(i));
    match refused {
        Refused::NotFound => Err(Problem::NotFound),
        Refused::Store(e) => Err(e.into()),
        Refused::Stale(what) => Ok(Said {
            heading: tr!("Somebody was first"),
            reasons: vec![Reason::plain(tr!("{what} This is how it stands now.", what = what))],
            status: StatusCode::CONFLICT,
        }),
        Refused::Guard(rule) => Ok(Said {
            heading: tr!("Not yet"),
            reasons: vec![Reason::plain(guard_words(&rule))],
            status: StatusCode::UNPROCESSABLE_ENTITY,
        }),
        Refused::Reasons(all) => Ok(Said {
            heading: tr!("Not yet"),
            reasons: all.iter().map(|r| Reason::with_way(r.words(&at), r.way_out(), "")).collect(),
            status: StatusCode::UNPROCESSABLE_ENTITY,
        }),
    }
}
