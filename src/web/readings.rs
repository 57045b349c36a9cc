//! Hair readings: what hands and ruler found, one place at a time.

use crate::domain::length;
use askama::Template;
use axum::extract::Path;
use axum_extra::extract::{Form, Query};
use serde::Deserialize;
use time::{Date, OffsetDateTime};

use crate::domain::access::Act;
use crate::domain::hair_test::WetStretch;
use crate::domain::strand::StrandRefusal;
use crate::flow::readings::{self as flow, ReadingRefused};
use crate::store::clients::Client;
use crate::store::readings::{self, Record};
use crate::store::{Scoped, strands};
use crate::web::clients::{client_id, find, tabs, zone};
use crate::web::consults::start_rate;
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::{ClientTabs, Shell};
use crate::web::tests::instant_words;
use crate::web::{once, page, typed};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/clients/{id}/readings" Open::To(Act::SeeHealth) => show,
    post "/clients/{id}/readings" Open::To(Act::MeasureHair) => note,
];

const PLACES: [(&str, &str); 5] = [
    ("whole", mark!("whole head")),
    ("hairline", mark!("hairline")),
    ("temples", mark!("temples")),
    ("crown", mark!("crown")),
    ("nape", mark!("nape")),
];
const TEXTURES: [(&str, &str); 3] =
    [("fine", mark!("fine")), ("medium", mark!("medium")), ("coarse", mark!("coarse"))];
const POROSITIES: [(&str, &str); 3] =
    [("low", mark!("low")), ("normal", mark!("normal")), ("high", mark!("high"))];
const DENSITIES: [(&str, &str); 3] =
    [("thin", mark!("thin")), ("medium", mark!("medium")), ("thick", mark!("thick"))];
/// Doubt of a reading, mm (2-domain.md, Regrowth: ruler ±2, by eye ±4).
const BY_RULER_SD_MM: f32 = 2.0;
const BY_EYE_SD_MM: f32 = 4.0;

/// A reading as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    once: String,
    /// The unit the form was shown in.
    unit: String,
    place: String,
    new_growth_mm: String,
    read_as: String,
    read_by: String,
    curl_index: String,
    texture: String,
    porosity: String,
    density: String,
    wet_stretch: String,
    breakage: String,
    lightened: String,
    shortest_mm: String,
    confirmed: String,
}

fn one_of(list: &'static [(&'static str, &'static str)], code: &str) -> Option<&'static str> {
    list.iter().find(|(c, _)| *c == code).map(|(c, _)| *c)
}

fn words_of(list: &[(&'static str, &'static str)], code: Option<&str>) -> &'static str {
    code.and_then(|code| list.iter().find(|(c, _)| *c == code))
        .map_or("", |(_, words)| crate::words::of(words))
}

impl Typed {
    /// Nothing chosen is nothing felt; a code that is none of the list is wrong.
    fn felt(
        &self,
        e: &mut Errors,
        name: &str,
        raw: &str,
        list: &'static [(&'static str, &'static str)],
    ) -> Option<&'static str> {
        if raw.is_empty() {
            return None;
        }
        typed::code(e, name, raw, |c| one_of(list, c), tr!("Choose one of these."))
    }

    fn read(&self) -> (flow::Reading, Errors) {
        let mut e = Errors::none();
        let place =
            typed::code(&mut e, "place", &self.place, |c| one_of(&PLACES, c), tr!("Choose the place."));
        let mut record = Record { place: place.unwrap_or("whole"), ..Record::default() };
        let growth =
            typed::length(&mut e, "new_growth_mm", &self.new_growth_mm, (0.5, 1000.0), tr!("the new growth"));
        record.new_growth_mm = growth.map(|x| x as f32);
        let curl_index =
            typed::number(&mut e, "curl_index", &self.curl_index, (1.0, 6.0), tr!("stretched ÷ as it lies"));
        if growth.is_some() {
            record.read_natural = typed::code(
                &mut e,
                "read_as",
                &self.read_as,
                |c| ["stretched", "natural"].contains(&c).then_some(c == "natural"),
                tr!("Say whether the hair was stretched or lay as it lies."),
            )
            .unwrap_or(false);
            record.sd_mm = typed::code(
                &mut e,
                "read_by",
                &self.read_by,
                |c| match c {
                    "ruler" => Some(BY_RULER_SD_MM),
                    "eye" => Some(BY_EYE_SD_MM),
                    _ => None,
                },
                tr!("By ruler or by eye?"),
            );
            if record.read_natural && self.curl_index.trim().is_empty() {
                e.note(
                    "curl_index",
                    tr!("Hair as it lies needs its curl index: stretched length ÷ length as it lies."),
                );
            }
        }
        record.texture = self.felt(&mut e, "texture", &self.texture, &TEXTURES);
        record.porosity = self.felt(&mut e, "porosity", &self.porosity, &POROSITIES);
        record.density = self.felt(&mut e, "density", &self.density, &DENSITIES);
        record.wet_stretch = if self.wet_stretch.is_empty() {
            None
        } else {
            typed::code(
                &mut e,
                "wet_stretch",
                &self.wet_stretch,
                WetStretch::from_code,
                tr!("Choose one of these."),
            )
            .map(WetStretch::code)
        };
        let yes = |raw: &str| match raw {
            "yes" => Some(true),
            "no" => Some(false),
            _ => None,
        };
        (record.breakage, record.lightened) = (yes(&self.breakage), yes(&self.lightened));
        let shortest =
            typed::length(&mut e, "shortest_mm", &self.shortest_mm, (1.0, 2000.0), tr!("the shortest layer"));
        record.shortest_mm = shortest.map(|x| x as f32);
        let empty = Record { place: record.place, ..Record::default() };
        if e.is_empty() && record == empty {
            e.note("new_growth_mm", tr!("Nothing was felt or measured yet: fill in what was."));
        }
        (flow::Reading { record, curl_index, confirmed: self.confirmed == "yes" }, e)
    }
}

struct PlaceLine {
    place: &'static str,
    growth: String,
    feel: String,
    when: String,
}

#[derive(Template)]
#[template(path = "readings/show.html")]
struct ReadingsPage {
    shell: Shell,
    tabs: ClientTabs,
    errors: Errors,
    typed: Typed,
    answer: String,
    lines: Vec<PlaceLine>,
    once_key: String,
    action: String,
    base: String,
    places: Vec<Choice>,
    read_as: Vec<Choice>,
    read_by: Vec<Choice>,
    textures: Vec<Choice>,
    porosities: Vec<Choice>,
    densities: Vec<Choice>,
    stretches: Vec<Choice>,
    breakage: Vec<Choice>,
    lightened: Vec<Choice>,
    /// The reading was questioned: it can be said again.
    confirm: Vec<Choice>,
    no_strand: bool,
    may_measure: bool,
}

struct Opened {
    client: Client,
    now: OffsetDateTime,
    today: Date,
    latest: Vec<readings::Reading>,
    no_strand: bool,
}

async fn open(seat: &Seat, s: &mut Scoped, id: &str) -> Result<Opened, Problem> {
    let client = find(s, client_id(id)?).await?;
    let latest = readings::latest_by_place(s, client.id()).await?;
    let no_strand = strands::find_beginning(s, client.id()).await?.is_none();
    let now = s.now().await?;
    Ok(Opened { client, now, today: zone(seat)?.day_of(now), latest, no_strand })
}

fn line(zone: &crate::calendar::Zone, r: &readings::Reading) -> PlaceLine {
    let growth = r.new_growth_mm.map_or_else(String::new, |mm| {
        let how = if r.read_natural { tr!("as it lies") } else { tr!("stretched") };
        let odd = if r.confirmed_odd { tr!(", confirmed") } else { "" };
        tr!("{} {how}{odd}", length::as_written(f64::from(mm)), how = how, odd = odd)
    });
    let stretch = r.wet_stretch.as_deref().and_then(WetStretch::from_code).map(WetStretch::words);
    let mut feel: Vec<String> = Vec::new();
    for (what, words) in [
        ("", words_of(&TEXTURES, r.texture.as_deref())),
        (tr!("porosity "), words_of(&POROSITIES, r.porosity.as_deref())),
        (tr!("density "), words_of(&DENSITIES, r.density.as_deref())),
        (tr!("wet stretch "), stretch.unwrap_or_default()),
        ("", if r.breakage == Some(true) { tr!("breakage") } else { "" }),
        ("", if r.lightened == Some(true) { tr!("lightened") } else { "" }),
    ] {
        if !words.is_empty() {
            feel.push(format!("{what}{words}"));
        }
    }
    if let Some(mm) = r.shortest_mm {
        feel.push(tr!("shortest {}", length::as_written(f64::from(mm))));
    }
    PlaceLine {
        place: words_of(&PLACES, Some(&r.place)),
        growth,
        feel: feel.join(", "),
        when: tr!("{} by {}", instant_words(zone, r.taken_at), r.taken_by),
    }
}

fn readings_page(
    seat: &Seat,
    o: &Opened,
    t: Typed,
    errors: Errors,
    odd: bool,
) -> Result<ReadingsPage, Problem> {
    let zone = zone(seat)?;
    let yes_no = |chosen: &str| Choice::list([("no", "no"), ("yes", "yes")], &[chosen]);
    let answer = match o.latest.iter().find(|r| r.place == "whole").and_then(|r| r.new_growth_mm) {
        Some(mm) => tr!("New growth last read: {}", length::as_written(f64::from(mm))),
        None if o.latest.is_empty() => tr!("Nothing felt or measured yet").into(),
        None => tr!("New growth is not measured yet").into(),
    };
    let base = format!("/clients/{}", o.client.client_id);
    Ok(ReadingsPage {
        shell: seat.shell(o.now, "/clients", &[]),
        tabs: tabs(seat, &o.client, "readings"),
        answer,
        lines: o.latest.iter().map(|r| line(&zone, r)).collect(),
        once_key: once::key(),
        action: format!("{base}/readings"),
        base,
        places: Choice::list(PLACES, &[t.place.as_str()]),
        read_as: Choice::list(
            [("stretched", "stretched"), ("natural", tr!("as it lies"))],
            &[t.read_as.as_str()],
        ),
        read_by: Choice::list(
            [
                ("ruler", tr!("ruler, ± {}", length::said(f64::from(BY_RULER_SD_MM))).as_str()),
                ("eye", tr!("by eye, ± {}", length::said(f64::from(BY_EYE_SD_MM))).as_str()),
            ],
            &[t.read_by.as_str()],
        ),
        textures: Choice::list(TEXTURES, &[t.texture.as_str()]),
        porosities: Choice::list(POROSITIES, &[t.porosity.as_str()]),
        densities: Choice::list(DENSITIES, &[t.density.as_str()]),
        stretches: Choice::list(WetStretch::ALL.map(|x| (x.code(), x.words())), &[t.wet_stretch.as_str()]),
        breakage: yes_no(&t.breakage),
        lightened: yes_no(&t.lightened),
        confirm: if odd {
            Choice::list([("yes", tr!("Measured again, it is right"))], &[t.confirmed.as_str()])
        } else {
            Vec::new()
        },
        no_strand: o.no_strand,
        may_measure: seat.may(Act::MeasureHair),
        typed: t,
        errors,
    })
}

/// What was asked of the screen.
#[derive(Deserialize, Default)]
pub struct Asked {
    #[serde(default)]
    place: String,
}

/// The latest readings and the form.
pub async fn show(seat: Seat, Path(id): Path<String>, Query(q): Query<Asked>) -> Answered {
    seat.require(Act::SeeHealth)?;
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    s.commit().await?;
    let place = one_of(&PLACES, &q.place).unwrap_or("whole").to_string();
    let curl_index = o.client.curl_index.map(|x| typed::shown(f64::from(x))).unwrap_or_default();
    let typed = Typed { place, curl_index, ..Typed::default() };
    Ok(page::html(&readings_page(&seat, &o, typed, Errors::none(), false)?))
}

/// Keeps a reading.
pub async fn note(seat: Seat, Path(id): Path<String>, Form(f): Form<Typed>) -> Answered {
    let by = seat.require(Act::MeasureHair)?.id;
    typed::measure_as_sent(&f.unit);
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    let here = format!("/clients/{}/readings", o.client.client_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let (reading, mut e) = f.read();
    let mut odd = false;
    if e.is_empty() {
        let rate = start_rate(&seat, &o.client)?;
        match flow::note_reading(&mut s, o.client.id(), by, o.today, rate, reading).await {
            Ok(()) => {
                crate::flow::dues::refresh_due(&mut s, &seat.app, o.client.id()).await?;
                let answer = once::settle(&mut s, &f.once, &here).await?;
                s.commit().await?;
                return Ok(answer);
            }
            Err(ReadingRefused::Odd { expected_mm, days, stretched_mm }) => {
                odd = true;
                e.note("new_growth_mm", tr!("{stretched_mm} stretched after {days} days, where about {expected_mm} were to be expected. Measure again; if it is right, say so below.", stretched_mm = length::said(stretched_mm), days = days, expected_mm = length::figure(expected_mm)));
            }
            Err(ReadingRefused::Strand(StrandRefusal::NothingBehind)) => {
                e.note(
                    "new_growth_mm",
                    tr!("Nothing lies behind the new growth: all of this hair is bare. Leave it empty."),
                );
            }
            Err(ReadingRefused::Strand(_)) => {
                e.note("new_growth_mm", tr!("The root met a product on the last day on record: there is no new growth to measure yet."));
            }
            Err(ReadingRefused::Store(why)) => return Err(why.into()),
        }
    }
    Ok(page::refused(&readings_page(&seat, &o, f, e, odd)?))
}
