//! The salon's own rules: where it is, what it holds itself to, how many places there are.

use askama::Template;
use axum_extra::extract::Form;
use serde::Deserialize;
use time::Time;

use super::problem;
use crate::calendar::{Zone, clock};
use crate::domain::access::Act;
use crate::flow::team::{self as flow, TeamRefused};
use crate::store::hours as hours_store;
use crate::store::salons::Salon;
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};
use crate::words::{Language, Unit};

/// The salon as typed.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct TypedSalon {
    once: String,
    name: String,
    zone: String,
    place: String,
    language: String,
    length_unit: String,
    emergency_number: String,
    eye_wash_place: String,
    least_age: String,
    patch_valid_days: String,
    chairs: String,
    basins: String,
    hoods: String,
    quiet_from: String,
    quiet_until: String,
    quiet_weekdays: Vec<String>,
}

/// Days of the week by ISO number.
pub(in crate::web) const WEEKDAYS: [(&str, &str); 7] = [
    ("1", mark!("Monday")),
    ("2", mark!("Tuesday")),
    ("3", mark!("Wednesday")),
    ("4", mark!("Thursday")),
    ("5", mark!("Friday")),
    ("6", mark!("Saturday")),
    ("7", mark!("Sunday")),
];

/// Whose law, with its words.
const PLACES_OF_LAW: [(&str, &str); 3] =
    [("eu", mark!("European Union")), ("uk", mark!("United Kingdom")), ("us", mark!("United States"))];

/// In what lengths are said, with its words.
const UNITS: [(&str, &str); 2] = [("mm", mark!("millimetres")), ("in", mark!("inches"))];

fn whole(e: &mut Errors, field: &str, raw: &str, least: i16, most: i16, what: &str) -> i16 {
    match raw.trim().parse::<i16>() {
        Ok(n) if (least..=most).contains(&n) => n,
        _ => {
            e.note(
                field,
                tr!(
                    "Write {what}, a whole number from {least} to {most}.",
                    what = what,
                    least = least,
                    most = most
                ),
            );
            least
        }
    }
}

impl TypedSalon {
    fn of(x: &Salon, places: &[hours_store::PlaceCount]) -> TypedSalon {
        let count = |kind: &str| places.iter().find(|p| p.kind == kind).map_or(0, |p| p.count).to_string();
        TypedSalon {
            once: String::new(),
            name: x.name.clone(),
            zone: x.zone.clone(),
            place: x.place.clone(),
            language: x.language.clone(),
            length_unit: x.length_unit.clone(),
            emergency_number: x.emergency_number.clone(),
            eye_wash_place: x.eye_wash_place.clone(),
            least_age: x.least_age.to_string(),
            patch_valid_days: x.patch_valid_days.to_string(),
            chairs: count("chair"),
            basins: count("basin"),
            hoods: count("hood"),
            quiet_from: clock(x.quiet_from),
            quiet_until: clock(x.quiet_until),
            quiet_weekdays: x.quiet_weekdays.iter().map(ToString::to_string).collect(),
        }
    }

    fn read(&self, kept: &Salon) -> (Salon, [(&'static str, i16); 3], Errors) {
        let mut e = Errors::none();
        let name = typed::needed(&mut e, "name", &self.name, 80, tr!("Write the salon's name."));
        let zone = typed::code(
            &mut e,
            "zone",
            self.zone.trim(),
            |z| Zone::find(z).map(|z| z.name().to_string()),
            tr!("Write a time zone of the IANA list, such as Europe/Paris or America/New_York."),
        );
        if !PLACES_OF_LAW.iter().any(|(c, _)| *c == self.place) {
            e.note("place", tr!("Choose whose law the limits follow."));
        }
        if !self.language.is_empty() && !Language::CHOICES.iter().any(|l| l.tag() == self.language) {
            e.note("language", tr!("Choose a language of the screens."));
        }
        if !self.length_unit.is_empty() && Unit::of_symbol(&self.length_unit).is_none() {
            e.note("length_unit", tr!("Lengths are said in mm or in inches."));
        }
        let emergency_number = typed::needed(
            &mut e,
            "emergency_number",
            &self.emergency_number,
            30,
            tr!("Write the number to call in an emergency, such as 112."),
        );
        let eye_wash_place = typed::line(&mut e, "eye_wash_place", &self.eye_wash_place, 120);
        let least_age = whole(&mut e, "least_age", &self.least_age, 0, 30, tr!("the youngest age in years"));
        let patch_valid_days = whole(
            &mut e,
            "patch_valid_days",
            &self.patch_valid_days,
            2,
            183,
            tr!("how many days a patch test holds"),
        );
        let places = [
            ("chair", whole(&mut e, "chairs", &self.chairs, 0, 200, tr!("how many chairs there are"))),
            ("basin", whole(&mut e, "basins", &self.basins, 0, 200, tr!("how many basins there are"))),
            ("hood", whole(&mut e, "hoods", &self.hoods, 0, 200, tr!("how many hoods there are"))),
        ];
        let wall = |e: &mut Errors, field: &str, raw: &str| {
            let minute = typed::minute(e, field, raw);
            Time::from_hms((minute / 60) as u8, (minute % 60) as u8, 0).unwrap_or(Time::MIDNIGHT)
        };
        let quiet_from = wall(&mut e, "quiet_from", &self.quiet_from);
        let quiet_until = wall(&mut e, "quiet_until", &self.quiet_until);
        let quiet_weekdays: Vec<i16> = WEEKDAYS
            .iter()
            .filter(|(n, _)| self.quiet_weekdays.iter().any(|x| x == n))
            .filter_map(|(n, _)| n.parse().ok())
            .collect();
        let salon = Salon {
            quiet_from,
            quiet_until,
            quiet_weekdays,
            name,
            zone: zone.unwrap_or_default(),
            place: self.place.clone(),
            language: if self.language.is_empty() { kept.language.clone() } else { self.language.clone() },
            length_unit: if self.length_unit.is_empty() {
                kept.length_unit.clone()
            } else {
                self.length_unit.clone()
            },
            emergency_number,
            eye_wash_place,
            least_age,
            patch_valid_days,
            ..kept.clone()
        };
        (salon, places, e)
    }
}

#[derive(Template)]
#[template(path = "team/salon.html")]
struct SalonPage {
    shell: Shell,
    errors: Errors,
    once_key: String,
    typed: TypedSalon,
    places: Vec<Choice>,
    languages: Vec<Choice>,
    units: Vec<Choice>,
    weekdays: Vec<Choice>,
}

async fn salon_page(seat: &Seat, f: Option<TypedSalon>, errors: Errors) -> Result<SalonPage, Problem> {
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let counts = hours_store::list_places(&mut s).await?;
    s.commit().await?;
    let typed = f.unwrap_or_else(|| TypedSalon::of(&seat.salon_row, &counts));
    Ok(SalonPage {
        shell: seat.shell(now, "/team", &[]),
        errors,
        once_key: once::key(),
        places: Choice::list(PLACES_OF_LAW, &[typed.place.as_str()]),
        languages: Choice::list(
            Language::CHOICES.map(|l| (l.tag(), l.own_name())),
            &[typed.language.as_str()],
        ),
        units: Choice::list(UNITS, &[typed.length_unit.as_str()]),
        weekdays: Choice::list(
            WEEKDAYS,
            &typed.quiet_weekdays.iter().map(String::as_str).collect::<Vec<_>>(),
        ),
        typed,
    })
}

/// The salon's own rules.
pub async fn form(seat: Seat) -> Answered {
    seat.require(Act::KeepTeam)?;
    Ok(page::html(&salon_page(&seat, None, Errors::none()).await?))
}

/// Keeps them.
pub async fn keep(seat: Seat, Form(f): Form<TypedSalon>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let (salon, places, mut errors) = f.read(&seat.salon_row);
    if !errors.is_empty() {
        return Ok(page::refused(&salon_page(&seat, Some(f), errors).await?));
    }
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/team/salon").await? {
        return Ok(again);
    }
    match flow::change_salon(&mut s, &salon, &places).await {
        Ok(()) => {
            let answer = once::settle(&mut s, &f.once, "/team").await?;
            s.commit().await?;
            Ok(answer)
        }
        Err(TeamRefused::ZoneUnknown) => {
            drop(s);
            errors.note(
                "zone",
                tr!("The database does not know this zone; choose a neighbouring city of the IANA list."),
            );
            Ok(page::refused(&salon_page(&seat, Some(f), errors).await?))
        }
        Err(why) => Err(problem(why)),
    }
}
