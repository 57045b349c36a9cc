//! An incident as a readable file, with the fields authorities ask for: product, batch, professional use, first and last
//! contact, onset and time to it, signs, site, what was done, other products, outcome (the UK authority's form; EU
//! 1223/2009 Art 23; US §605). rinsebell sends nothing: whoever must tell, tells.

use time::OffsetDateTime;

use crate::calendar::{Zone, day_words};
use crate::domain::incident::{Aid, Doctor, Serious, Sign};
use crate::store::incidents::{Account, Incident, Met};
use crate::store::salons::Salon;

/// The kind of an incident in words.
pub fn kind_words(kind: &str) -> &'static str {
    match kind {
        "stop-and-rinse" => tr!("Stop and rinse"),
        "sting" => tr!("It stings"),
        "over-processed" => tr!("Over-processed"),
        "most-time-passed" => tr!("Longest allowed passed"),
        "late-breach" => tr!("Against the rules, known late"),
        _ => tr!("Told afterwards"),
    }
}

/// Codes as words, commas between.
pub fn words_of(codes: &[String], words: impl Fn(&str) -> Option<&'static str>) -> String {
    codes.iter().map(|c| words(c).unwrap_or("?")).collect::<Vec<_>>().join(", ")
}

fn at(zone: &Zone, t: OffsetDateTime) -> String {
    format!("{} {}, {}", zone.day_words(t), zone.day_of(t).year(), zone.clock(t))
}

/// A lot in words.
pub fn met_words(zone: &Zone, m: &Met) -> String {
    let before =
        m.best_before.map_or_else(String::new, |d| tr!(", best before {} {}", day_words(d), d.year()));
    tr!(
        "{}, lot {}{before}: {} g from {}",
        m.product,
        m.lot,
        format_args!("{:.0}", m.grams),
        at(zone, m.first_at),
        before = before
    )
}

/// An account in lines.
pub fn account_lines(zone: &Zone, a: &Account) -> Vec<String> {
    let mut lines = vec![
        tr!("Began {}", at(zone, a.onset_at)),
        tr!("Signs: {}", words_of(&a.signs, |c| Sign::from_code(c).map(Sign::words))),
    ];
    let mut more = |what: &str, words: String| {
        if !words.is_empty() {
            lines.push(format!("{what}: {words}"));
        }
    };
    more(tr!("Where"), a.sites.clone());
    more(tr!("Serious"), words_of(&a.serious, |c| Serious::from_code(c).map(Serious::words)));
    more(tr!("Done at once"), words_of(&a.aid, |c| Aid::from_code(c).map(Aid::words)));
    more(tr!("Doctor"), Doctor::from_code(&a.doctor).map_or("", Doctor::words).to_string());
    let told: Vec<&str> = [(a.maker_told, tr!("the maker")), (a.authority_told, tr!("the authority"))]
        .iter()
        .filter(|t| t.0)
        .map(|t| t.1)
        .collect();
    more(tr!("Told"), told.join(", "));
    more(tr!("In words"), a.words.clone().unwrap_or_default());
    more(tr!("Looked after again"), a.follow_on.map(day_words).unwrap_or_default());
    if a.closed {
        lines.push(tr!("Closed").into());
    }
    lines
}

/// The whole report.
pub fn text(
    zone: &Zone,
    salon: &Salon,
    incident: &Incident,
    accounts: &[Account],
    met: &[Met],
    now: OffsetDateTime,
) -> String {
    let mut out = String::new();
    let mut line = |what: &str, words: &str| {
        if !words.is_empty() {
            out.push_str(&format!("{what}: {words}\n"));
        }
    };
    line(tr!("Report of an undesirable effect, written"), &at(zone, now));
    line(tr!("Salon"), &salon.name);
    line(tr!("Place of law"), &salon.place.to_uppercase());
    line(tr!("Used by"), tr!("a professional, in a salon"));
    line(tr!("Client"), &incident.client_name);
    line(tr!("Service"), incident.service.as_deref().unwrap_or(tr!("not known")));
    line(tr!("What"), kind_words(&incident.kind));
    line(tr!("Recorded"), &at(zone, incident.opened_at));
    line(tr!("Where on the head"), incident.place.as_deref().unwrap_or(""));
    for m in met {
        line(tr!("Product and batch"), &met_words(zone, m));
    }
    let (first, last) = (met.iter().map(|m| m.first_at).min(), met.iter().map(|m| m.first_at).max());
    line(tr!("First contact that day"), &first.map(|t| at(zone, t)).unwrap_or_default());
    line(tr!("Last product that day"), &last.map(|t| at(zone, t)).unwrap_or_default());
    if let (Some(first), Some(a)) = (first, accounts.first())
        && a.onset_at >= first
    {
        let min = (a.onset_at - first).whole_minutes();
        line(tr!("Time to onset"), &tr!("{} h {} min", min / 60, min % 60));
    }
    for (n, a) in accounts.iter().enumerate() {
        out.push_str(&tr!(
            "\n{} written {} by {}\n",
            if n == 0 { "Newest account," } else { "Account before," },
            at(zone, a.at),
            a.by_name
        ));
        for words in account_lines(zone, a) {
            out.push_str(&format!("{words}\n"));
        }
    }
    out.push_str(tr!("\nWho must be told, and by when, is local law's to say: in the EU and the UK the name on the label and sellers tell\nserious effects without delay; in the US the name on the label within 15 business days. A doctor's word comes first.\n"));
    out
}
