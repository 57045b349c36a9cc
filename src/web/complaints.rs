//! Somebody rings and says that something went wrong: reception, who reads no health, writes it down and knows what to say.
//!
//! What is written becomes an incident's first account; here it is never shown again.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;
use time::OffsetDateTime;

use crate::calendar::iso_day;
use crate::domain::access::Act;
use crate::domain::incident::{Doctor, FOR_A_DOCTOR, Sign};
use crate::flow::incidents::{self as flow, Kept, Told};
use crate::store::clients::Client;
use crate::web::clients::{client_id, find, zone};
use crate::web::form::{Choice, Errors};
use crate::web::incidents::{WORDS_MOST, doctor_choices, read_onset};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/clients/{id}/complaint" Open::To(Act::FollowUp) => ask,
    post "/clients/{id}/complaint" Open::To(Act::FollowUp) => note,
    get "/clients/{id}/complaint/noted" Open::To(Act::FollowUp) => noted,
];

/// What was told, as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    once: String,
    pub onset_on: String,
    pub onset_at: String,
    signs: Vec<String>,
    doctor: String,
    words: String,
}

#[derive(Template)]
#[template(path = "clients/complaint.html")]
struct ComplaintPage {
    shell: Shell,
    errors: Errors,
    typed: Typed,
    base: String,
    client: String,
    phone: String,
    dial: String,
    emergency_number: String,
    signs: Vec<Choice>,
    doctor: Vec<Choice>,
    /// It was written down a moment ago.
    noted: bool,
}

fn complaint_page(
    seat: &Seat,
    now: OffsetDateTime,
    client: &Client,
    typed: Typed,
    errors: Errors,
    noted: bool,
) -> ComplaintPage {
    let signs: Vec<&str> = typed.signs.iter().map(String::as_str).collect();
    ComplaintPage {
        shell: seat.shell(now, "/clients", &[]),
        errors,
        base: format!("/clients/{}", client.client_id),
        client: client.name.clone(),
        phone: client.phone.clone(),
        dial: crate::web::recall::dial(&client.phone),
        emergency_number: seat.salon_row.emergency_number.clone(),
        // What a doctor is advised for stands first.
        signs: Choice::list(
            FOR_A_DOCTOR
                .into_iter()
                .chain(Sign::ALL.into_iter().filter(|s| !FOR_A_DOCTOR.contains(s)))
                .map(|s| (s.code(), s.words())),
            &signs,
        ),
        doctor: doctor_choices(&typed.doctor),
        typed,
        noted,
    }
}

/// What to say, and what to write down.
pub async fn ask(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::FollowUp)?;
    let zone = zone(&seat)?;
    let mut s = seat.begin().await?;
    let client = find(&mut s, client_id(&id)?).await?;
    let now = s.now().await?;
    s.commit().await?;
    let typed = Typed {
        once: once::key(),
        onset_on: iso_day(zone.day_of(now)),
        onset_at: zone.clock(now),
        ..Typed::default()
    };
    Ok(page::html(&complaint_page(&seat, now, &client, typed, Errors::none(), false)))
}

/// Writes it down.
pub async fn note(seat: Seat, Path(id): Path<String>, Form(f): Form<Typed>) -> Answered {
    let by = seat.require(Act::FollowUp)?.id;
    let id = client_id(&id)?;
    let zone = zone(&seat)?;
    let next = format!("/clients/{id}/complaint/noted");
    let mut s = seat.begin().await?;
    let client = find(&mut s, id).await?;
    if let Some(again) = once::claim(&mut s, &f.once, &next).await? {
        return Ok(again);
    }
    let now = s.now().await?;
    let mut errors = Errors::none();
    let onset_at = read_onset((&f.onset_on, &f.onset_at), &zone, now, &mut errors);
    let words = typed::lines(&mut errors, "words", &f.words, WORDS_MOST);
    let doctor = typed::code(
        &mut errors,
        "doctor",
        &f.doctor,
        Doctor::from_code,
        tr!("Choose how it stands with a doctor."),
    );
    let signs: Vec<Sign> = f.signs.iter().filter_map(|code| Sign::from_code(code)).collect();
    if let (Some(doctor), true) = (doctor, errors.is_empty()) {
        let told = Told {
            onset_at,
            signs: &signs,
            sites: "",
            serious: &[],
            aid: &[],
            doctor,
            maker_told: false,
            authority_told: false,
            words: &words,
            follow_on: None,
            closed: false,
        };
        let incident = flow::open_incident(&mut s, id, by).await?;
        match flow::write_account(&mut s, (incident, id), &told, None, by).await? {
            Kept::Done => {
                let answer = once::settle(&mut s, &f.once, &next).await?;
                s.commit().await?;
                return Ok(answer);
            }
            Kept::Amiss(wrong) => crate::web::incidents::note_amiss(&mut errors, &wrong),
            Kept::Stale => return Err(Problem::Broken),
        }
    }
    // Nothing of a refused one is kept.
    drop(s);
    Ok(page::refused(&complaint_page(&seat, now, &client, f, errors, false)))
}

/// It is written down: who has to know now.
pub async fn noted(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::FollowUp)?;
    let mut s = seat.begin().await?;
    let client = find(&mut s, client_id(&id)?).await?;
    let now = s.now().await?;
    s.commit().await?;
    Ok(page::html(&complaint_page(&seat, now, &client, Typed::default(), Errors::none(), true)))
}
