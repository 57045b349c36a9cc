//! The words of messages: templates with places, and what never stands in one.

use super::{Facts, Kind, Place};

/// Longest subject, characters (RFC 5322 §2.1.1 asks for lines of at most 78).
pub const SUBJECT_MOST: usize = 70;
/// Longest body, characters.
pub const BODY_MOST: usize = 2000;

/// Stems of words about health and chemistry: a message that holds a word beginning so says more than a stranger at
/// the client's screen may read. English and Spanish; ours, no source. The database holds the same list.
pub const KEPT_OUT: [&str; 46] = [
    "acid",
    "alerg",
    "alcalin",
    "allerg",
    "amonia",
    "ammonia",
    "bleach",
    "blister",
    "breakage",
    "burn",
    "caustic",
    "champú médico",
    "chemical",
    "damage",
    "decolor",
    "dermat",
    "developer",
    "disease",
    "dye",
    "ecz",
    "embaraz",
    "formald",
    "guanidin",
    "health",
    "hidróxido",
    "hydroxide",
    "irrita",
    "lightener",
    "lye",
    "medic",
    "neutrali",
    "oxid",
    "parche",
    "patch",
    "perm ",
    "peroxid",
    "pregnan",
    "psoria",
    "químic",
    "quemad",
    "reaction",
    "reacción",
    "relaxer",
    "salud",
    "scalp",
    "thio",
];

/// A fault of a template.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    Empty,
    TooLong {
        most: usize,
        has: usize,
    },
    /// A brace that opens no known place of this kind.
    UnknownPlace(String),
    /// There is no `{link}`: the client could do nothing with it.
    NoLink,
    /// Words about health or chemistry.
    KeptOut(&'static str),
    /// A line break in the subject, or a control character.
    Control,
}

impl Fault {
    /// As a sentence for the form.
    #[must_use]
    pub fn words(&self, kind: Kind) -> String {
        match self {
            Fault::Empty => tr!("Write the words.").into(),
            Fault::TooLong { most, has } => {
                tr!("At most {most} characters fit here; this has {has}.", most = most, has = has)
            }
            Fault::UnknownPlace(found) => {
                let known: Vec<String> = kind.places().iter().map(|p| format!("{{{}}}", p.code())).collect();
                tr!("{{{found}}} is no place here. Places are: {}.", known.join(", "), found = found)
            }
            Fault::NoLink => tr!("Write {link} where the client's own link goes.").into(),
            Fault::KeptOut(stem) => tr!(
                "“{}” is about health or chemistry: no message carries that, anybody may read it over a shoulder.",
                stem.trim()
            ),
            Fault::Control => tr!("There is a character in this that does not travel in a message.").into(),
        }
    }
}

/// The first stem of [`KEPT_OUT`] that begins a word of the text.
#[must_use]
pub fn kept_out(text: &str) -> Option<&'static str> {
    let mut low = String::from(" ");
    for c in text.chars() {
        if c.is_alphanumeric() {
            low.extend(c.to_lowercase());
        } else {
            low.push(' ');
        }
    }
    low.push(' ');
    KEPT_OUT.into_iter().find(|stem| low.contains(&format!(" {stem}")))
}

fn places(text: &str) -> impl Iterator<Item = &str> {
    text.split('{').skip(1).map(|rest| rest.split('}').next().unwrap_or(rest))
}

/// Every fault of a subject (`body` false) or a body.
#[must_use]
pub fn faults(kind: Kind, text: &str, body: bool) -> Vec<Fault> {
    let mut found = Vec::new();
    let (most, has) = (if body { BODY_MOST } else { SUBJECT_MOST }, text.chars().count());
    if text.trim().is_empty() {
        found.push(Fault::Empty);
    }
    if has > most {
        found.push(Fault::TooLong { most, has });
    }
    if text.chars().any(|c| c.is_control() && !(body && matches!(c, '\n' | '\r'))) {
        found.push(Fault::Control);
    }
    for name in places(text) {
        if !kind.places().iter().any(|p| p.code() == name) || (!body && name == Place::Link.code()) {
            found.push(Fault::UnknownPlace(name.chars().take(40).collect()));
        }
    }
    if body && !places(text).any(|p| p == Place::Link.code()) {
        found.push(Fault::NoLink);
    }
    found.extend(kept_out(text).map(Fault::KeptOut));
    found
}

/// The words with every place filled; a value is put in once and never read as a place itself. Line breaks in a value
/// become spaces: a name cannot add a line to a header.
#[must_use]
pub fn fill(text: &str, facts: &Facts) -> String {
    let lacks = |line: &&str| line.contains("{phone}") && facts.of(Place::Phone).trim().is_empty();
    let text: String = text.split_inclusive('\n').filter(|line| !lacks(line)).collect();
    fill_in(&text, facts)
}

fn fill_in(text: &str, facts: &Facts) -> String {
    let mut words = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('{') {
        words.push_str(before);
        let (name, after) = after.split_once('}').unwrap_or((after, ""));
        if let Some(place) = Place::ALL.into_iter().find(|p| p.code() == name) {
            let value = facts.of(place);
            if place == Place::Link {
                words.push_str(value);
            } else {
                words.extend(
                    value.chars().map(|c| if c.is_control() || matches!(c, '{' | '}') { ' ' } else { c }),
                );
            }
        }
        rest = after;
    }
    words.push_str(rest);
    words.replace("\r\n", "\n").replace('\r', "\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn health_and_chemistry_are_found_in_any_case_and_only_at_the_beginning_of_a_word() {
        for bad in [
            "your PATCH test",
            "The relaxer is due",
            "scalp",
            "prueba de Parche",
            "su reacción",
            "a perm is due",
        ] {
            assert!(kept_out(bad).is_some(), "{bad}");
        }
        for fine in [
            "We dispatch nothing",
            "your next visit",
            "permanent address",
            "su próxima visita",
            "Placid Hair",
        ] {
            assert_eq!(kept_out(fine), None, "{fine}");
        }
    }

    #[test]
    fn a_template_knows_its_places() {
        assert!(faults(Kind::Due, "Hello {first_name}: {link}", true).is_empty());
        assert_eq!(faults(Kind::Due, "Hello {day}: {link}", true), [Fault::UnknownPlace("day".into())]);
        assert_eq!(faults(Kind::Due, "Hello", true), [Fault::NoLink]);
        assert_eq!(faults(Kind::Due, "{link}", false), [Fault::UnknownPlace("link".into())]);
        assert_eq!(faults(Kind::Due, "a\nb", false), [Fault::Control]);
        assert_eq!(faults(Kind::Due, " ", false), [Fault::Empty]);
    }

    proptest! {
        /// A value never becomes a place, and never adds a line.
        #[test]
        fn values_stay_values(name in "\\PC{0,40}|[{}\\n\\r a-z]{0,40}") {
            let facts = Facts { first_name: name.clone(), salon: "Salon".into(), ..Facts::default() };
            let words = fill("Dear {first_name}, {salon}. {link}", &facts);
            let (braces, ends) = (words.matches('{').count(), words.ends_with(super::super::LINK));
            prop_assert!(ends && braces == 1);
            prop_assert!(!words.contains(['\n', '\r']));
        }
    }
}
