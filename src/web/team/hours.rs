//! Regular hours, typed a weekday a line: "09:00–12:30, 13:30–18:00".

use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;

use super::{people, problem};
use crate::domain::access::Act;
use crate::flow::team as flow;
use crate::store::hours::Hours;
use crate::web::form::Errors;
use crate::web::once;
use crate::web::problem::Answered;
use crate::web::seat::Seat;

/// Field names and words of the weekdays, Monday first (ISO 8601).
pub(super) const WEEKDAYS: [(&str, &str); 7] = [
    ("monday", mark!("Monday")),
    ("tuesday", mark!("Tuesday")),
    ("wednesday", mark!("Wednesday")),
    ("thursday", mark!("Thursday")),
    ("friday", mark!("Friday")),
    ("saturday", mark!("Saturday")),
    ("sunday", mark!("Sunday")),
];

/// Most spans on one day: a break or two.
const SPANS_MOST: usize = 4;

/// The week as typed.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct TypedHours {
    once: String,
    monday: String,
    tuesday: String,
    wednesday: String,
    thursday: String,
    friday: String,
    saturday: String,
    sunday: String,
}

impl TypedHours {
    /// The week as kept.
    pub(super) fn of(kept: &[Hours]) -> TypedHours {
        let wall = |min: i32| format!("{:02}:{:02}", min / 60, min % 60);
        let day = |n: i16| {
            let spans = kept.iter().filter(|h| h.weekday == n);
            spans
                .map(|h| format!("{}–{}", wall(h.opens_min), wall(h.closes_min)))
                .collect::<Vec<_>>()
                .join(", ")
        };
        TypedHours {
            once: String::new(),
            monday: day(1),
            tuesday: day(2),
            wednesday: day(3),
            thursday: day(4),
            friday: day(5),
            saturday: day(6),
            sunday: day(7),
        }
    }

    /// The lines, Monday first.
    pub(super) fn days(&self) -> [String; 7] {
        [
            &self.monday,
            &self.tuesday,
            &self.wednesday,
            &self.thursday,
            &self.friday,
            &self.saturday,
            &self.sunday,
        ]
        .map(Clone::clone)
    }

    fn read(&self) -> (Vec<Hours>, Errors) {
        let mut errors = Errors::none();
        let mut hours = Vec::new();
        for (n, ((field, _), line)) in (1..).zip(WEEKDAYS.iter().zip(self.days())) {
            match spans(&line) {
                Ok(found) => hours.extend(found.into_iter().map(|(opens_min, closes_min)| Hours {
                    weekday: n,
                    opens_min,
                    closes_min,
                })),
                Err(words) => errors.note(*field, words),
            }
        }
        (hours, errors)
    }
}

fn minute(text: &str) -> Option<i32> {
    let (h, m) = text.trim().split_once([':', '.'])?;
    let plain = |t: &str| (1..=2).contains(&t.len()) && t.bytes().all(|b| b.is_ascii_digit());
    if !plain(h) || !plain(m) || m.len() != 2 {
        return None;
    }
    let (h, m): (i32, i32) = (h.parse().ok()?, m.parse().ok()?);
    (m < 60 && h * 60 + m <= 1440).then_some(h * 60 + m)
}

/// Spans of one day in minutes after 00:00; empty for a day off.
fn spans(line: &str) -> Result<Vec<(i32, i32)>, &'static str> {
    if line.trim().is_empty() {
        return Ok(Vec::new());
    }
    let mut found: Vec<(i32, i32)> = Vec::new();
    for part in line.split([',', ';']) {
        let ends = part.split_once(['-', '–']).and_then(|(a, b)| Some((minute(a)?, minute(b)?)));
        let Some((opens, closes)) = ends else {
            return Err(tr!(
                "Write from–to in hours and minutes, such as 09:00–12:30, 13:30–18:00; leave it empty on a day off."
            ));
        };
        if opens >= closes {
            return Err(tr!("A span ends after it begins, on the same day; midnight is 24:00."));
        }
        if found.last().is_some_and(|(_, before)| opens < *before) {
            return Err(tr!("One span after the other: the next begins when the one before has ended."));
        }
        found.push((opens, closes));
    }
    if found.len() > SPANS_MOST { Err(tr!("At most four spans a day.")) } else { Ok(found) }
}

/// Keeps somebody's week.
pub async fn keep(seat: Seat, Path(id): Path<String>, Form(f): Form<TypedHours>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let mut s = seat.begin().await?;
    let person = people::find(&mut s, &id).await?;
    let (hours, errors) = f.read();
    if !errors.is_empty() {
        drop(s);
        return people::person_page(&seat, &id, None, Some(&f), errors).await;
    }
    let here = format!("/team/people/{}", person.id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    flow::set_hours(&mut s, person.id, &hours).await.map_err(problem)?;
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_read_in_spans() {
        assert_eq!(spans(""), Ok(vec![]));
        assert_eq!(spans("9:00-17:00"), Ok(vec![(540, 1020)]));
        assert_eq!(spans(" 09:00 – 12:30 , 13.30–24:00"), Ok(vec![(540, 750), (810, 1440)]));
        for bad in [
            "9",
            "09:00",
            "09:00–09:00",
            "18:00–09:00",
            "10:00–12:00, 11:00–13:00",
            "24:01–24:02",
            "9:0–10:00",
            "-1:00–2:00",
            "09:60–10:00",
        ] {
            assert!(spans(bad).is_err(), "{bad}");
        }
        assert!(spans(&["1:00-1:01"; 9].join(",")).is_err());
    }

    #[test]
    fn kept_hours_read_back_as_typed() {
        let (hours, errors) = TypedHours {
            sunday: "00:00–24:00".into(),
            tuesday: "08:05–09:00, 09:00–10:00".into(),
            ..TypedHours::default()
        }
        .read();
        assert!(errors.is_empty());
        let again = TypedHours::of(&hours);
        assert_eq!(
            (again.sunday.as_str(), again.tuesday.as_str()),
            ("00:00–24:00", "08:05–09:00, 09:00–10:00")
        );
        assert_eq!(again.read().0, hours);
    }
}
