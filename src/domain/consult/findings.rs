//! What follows from a consult: refuse, wait or advise, in words, with the way out.

use super::own;
use super::told::{Scalp, Told};
use crate::domain::chemistry::family::Family;
use crate::words;
use time::{Date, Duration};

/// How heavy a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// Nothing stands against it; something is to be said or signed.
    Advise,
    /// A strand test first.
    Test,
    /// Not before a day.
    Wait,
    /// No chemical service; nobody may override.
    Refuse,
}

impl Weight {
    /// The code shown in classes of the page and kept with a plan.
    pub const fn code(self) -> &'static str {
        match self {
            Weight::Advise => "advise",
            Weight::Test => "test",
            Weight::Wait => "wait",
            Weight::Refuse => "refuse",
        }
    }
}

/// One thing a consult brought up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Code of the rule.
    pub rule: &'static str,
    /// How heavy it is.
    pub weight: Weight,
    /// The family it stands against; none: every chemical service.
    pub family: Option<Family>,
    /// What was found, as a sentence.
    pub words: String,
    /// What can be done instead, or what would change it.
    pub way_out: String,
    /// The first day it no longer stands, for a wait.
    pub until: Option<Date>,
    /// Where the rule comes from.
    pub source: &'static str,
}

/// What the findings depend on besides the answers.
#[derive(Clone, Copy, Debug)]
pub struct Circumstance {
    /// The client's date of birth, where it is known.
    pub born_on: Option<Date>,
    /// The local day the consult was taken.
    pub taken_on: Date,
    /// The local day asked about.
    pub today: Date,
    /// Lowest age for a chemical service, set by the manager.
    pub least_age_years: u8,
    /// A metallic-salt test was read negative, no silver was named, and nothing metallic was told since.
    pub metal_cleared: bool,
}

/// Under this age a guardian reads and signs (trade-rules.md: common practice, local law decides).
pub const GUARDIAN_BELOW_YEARS: u8 = 18;
/// Under this age oxidative colour is refused (the label's own words, EU).
const COLOUR_FROM_YEARS: u8 = 16;
/// Days to wait after scratching or vigorous brushing.
const AFTER_SCRATCH: Duration = Duration::days(3);
/// Days to wait after braids, weave or glue.
const AFTER_BRAIDS: Duration = Duration::days(14);

pub(super) const CP: &str = mark!("common practice, no source");
const HANDBOOK: &str = mark!("handbook teaching");
const PUBLISHED: &str = mark!("published");

/// Whole years lived on a day; 29 February counts from 1 March in other years.
pub fn age_on(born_on: Date, day: Date) -> u8 {
    let years = day.year() - born_on.year();
    let before = (u8::from(day.month()), day.day()) < (u8::from(born_on.month()), born_on.day());
    u8::try_from((years - i32::from(before)).max(0)).unwrap_or(u8::MAX)
}

/// True when a guardian reads and signs; an unknown age counts as grown up here, the findings ask for it.
pub fn needs_guardian(born_on: Option<Date>, day: Date) -> bool {
    born_on.is_some_and(|born| age_on(born, day) < GUARDIAN_BELOW_YEARS)
}

/// What the consult says against a service with these families (empty: against any), heaviest first.
pub fn findings(told: &Told, of: &Circumstance, families: &[Family]) -> Vec<Finding> {
    let mut all = Vec::new();
    age(of, families, &mut all);
    reactions(told, families, &mut all);
    scalp(told, of, &mut all);
    waits(told, of, &mut all);
    advice(told, &mut all);
    own::findings(&told.own, of, families, &mut all);
    all.sort_by_key(|f| std::cmp::Reverse(f.weight));
    all
}

pub(super) fn plain(
    rule: &'static str,
    weight: Weight,
    words: impl Into<String>,
    way_out: &str,
    source: &'static str,
) -> Finding {
    let (words, way_out) = (words.into(), way_out.to_string());
    Finding { rule, weight, family: None, words, way_out, until: None, source }
}

fn asked(families: &[Family], family: Family) -> bool {
    families.is_empty() || families.contains(&family)
}

fn age(of: &Circumstance, families: &[Family], all: &mut Vec<Finding>) {
    let Some(born) = of.born_on else {
        all.push(Finding {
            until: None,
            ..plain(
                "age-not-known",
                Weight::Wait,
                tr!("The date of birth is not on the record, so the age rules cannot speak."),
                tr!("Ask for it and write it into the record."),
                words::of(CP),
            )
        });
        return;
    };
    let years = age_on(born, of.today);
    if years < of.least_age_years {
        all.push(plain(
            "under-least-age",
            Weight::Refuse,
            tr!(
                "The client is {years}; this salon gives chemical services from {}.",
                of.least_age_years,
                years = years
            ),
            tr!("Today we can wash, treat and set."),
            tr!("lowest age set by the manager; common practice, no source"),
        ));
    }
    if years < COLOUR_FROM_YEARS && asked(families, Family::OxidativeColour) {
        all.push(Finding {
            family: Some(Family::OxidativeColour),
            ..plain(
                "under-16-colour",
                Weight::Refuse,
                tr!("Oxidative colour is not for anybody under 16."),
                tr!("Nothing that colours with a developer before then."),
                tr!("the label's own words (EU)"),
            )
        });
    }
    if years < GUARDIAN_BELOW_YEARS {
        all.push(plain(
            "guardian",
            Weight::Advise,
            tr!("Under 18: a guardian reads and signs the consult and the consent, and stays."),
            tr!("The consent asks for the guardian's name."),
            tr!("common practice, local law decides"),
        ));
    }
}

fn reactions(told: &Told, families: &[Family], all: &mut Vec<Finding>) {
    for family in told.reactions.iter().copied().filter(|f| asked(families, *f)) {
        all.push(Finding {
            family: Some(family),
            ..plain(
                "past-reaction",
                Weight::Refuse,
                tr!("A past reaction to {} was told.", family.words()),
                tr!("No product of this family, nobody may override it. A doctor can find out what exactly it was."),
                words::of(PUBLISHED),
            )
        });
    }
    for family in [Family::OxidativeColour, Family::DirectDye] {
        if told.black_henna_reaction && asked(families, family) && !told.reactions.contains(&family) {
            all.push(Finding {
                family: Some(family),
                ..plain(
                    "black-henna-reaction",
                    Weight::Refuse,
                    tr!("A reaction to a temporary black tattoo was told: no {}.", family.words()),
                    tr!("Such tattoos hold the dye that colours hold. A doctor can test for it."),
                    words::of(PUBLISHED),
                )
            });
        }
    }
    if told.black_henna && !told.black_henna_reaction && asked(families, Family::OxidativeColour) {
        all.push(Finding {
            family: Some(Family::OxidativeColour),
            ..plain(
                "black-henna",
                Weight::Advise,
                tr!("A temporary black tattoo was told: it raises the risk of a reaction to colour."),
                tr!("Say so before a patch test; read it with care."),
                words::of(PUBLISHED),
            )
        });
    }
    // A metallic-salt test bears on every family, direct dye on metal included.
    if told.silver_in_history {
        all.push(plain(
            "silver-in-history",
            Weight::Advise,
            tr!(
                "Silver is in the history: a metallic-salt test cannot clear it, silver can look like a pass."
            ),
            tr!("What met it is cut off before any chemical service meets those lengths."),
            words::of(HANDBOOK),
        ));
    }
}

fn scalp(told: &Told, of: &Circumstance, all: &mut Vec<Finding>) {
    match told.scalp {
        Scalp::Intact => {}
        Scalp::Broken => all.push(plain(
            "scalp-broken",
            Weight::Refuse,
            tr!("The skin of the scalp is broken: no chemical service on it."),
            tr!("Look again when it has healed. Today we can treat the lengths and set."),
            words::of(HANDBOOK),
        )),
        Scalp::Red => all.push(Finding {
            until: of.taken_on.next_day(),
            ..plain(
                "scalp-red",
                if of.today > of.taken_on { Weight::Advise } else { Weight::Wait },
                tr!("The scalp was red when it was read: not on that day."),
                tr!("Read the scalp again on another day."),
                words::of(CP),
            )
        }),
        Scalp::ThinningEdges => all.push(plain(
            "thinning-edges",
            Weight::Advise,
            tr!("The scalp is thinning or shiny at the edges: no product there."),
            tr!("Advise to have a doctor look at it."),
            words::of(CP),
        )),
    }
}

fn waits(told: &Told, of: &Circumstance, all: &mut Vec<Finding>) {
    let mut wait = |rule, until: Option<Date>, words: &str, way_out: &str| {
        if until.is_none_or(|day| of.today < day) {
            all.push(Finding { until, ..plain(rule, Weight::Wait, words, way_out, words::of(CP)) });
        }
    };
    if told.scratched_within_3_days {
        wait(
            "scratched",
            of.taken_on.checked_add(AFTER_SCRATCH),
            tr!("The scalp was scratched or brushed hard within three days of the consult."),
            tr!("Three days without; then read the scalp again."),
        );
    }
    if let Some(out_on) = told.braids_out_on {
        wait(
            "braids-out",
            out_on.checked_add(AFTER_BRAIDS),
            tr!("Braids, weave or glue came out within the last 14 days."),
            tr!("Wash and treat meanwhile; fourteen days let scalp and edges rest."),
        );
    }
}

fn advice(told: &Told, all: &mut Vec<Finding>) {
    for (is_told, rule, what) in [
        (told.pregnant, tr!("pregnancy"), tr!("Pregnancy was told.")),
        (told.medication, tr!("medication"), tr!("Medication was told.")),
        (told.scalp_treatment, "scalp-treatment", tr!("A treatment of the scalp was told.")),
    ] {
        if is_told {
            all.push(plain(
                rule,
                Weight::Advise,
                what,
                tr!("Not a refusal: advise asking a physician. A stylist decides and has signed why."),
                words::of(CP),
            ));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::HomeColour;
    use super::*;
    use time::macros::date;

    fn nothing() -> Told {
        Told {
            reactions: vec![],
            black_henna: false,
            black_henna_reaction: false,
            scalp: Scalp::Intact,
            scratched_within_3_days: false,
            braids_out_on: None,
            pregnant: false,
            medication: false,
            scalp_treatment: false,
            home_colour: HomeColour::Never,
            silver_in_history: false,
            own: super::super::Own::default(),
        }
    }

    fn grown_up(today: Date) -> Circumstance {
        Circumstance {
            born_on: Some(date!(1990 - 05 - 14)),
            taken_on: today,
            today,
            least_age_years: 16,
            metal_cleared: false,
        }
    }

    fn rules(told: &Told, of: &Circumstance, families: &[Family]) -> Vec<(&'static str, Weight)> {
        findings(told, of, families).into_iter().map(|f| (f.rule, f.weight)).collect()
    }

    #[test]
    fn nothing_told_by_a_grown_up_brings_nothing() {
        assert_eq!(rules(&nothing(), &grown_up(date!(2026 - 05 - 14)), &[Family::Thio]), []);
    }

    // trade-rules.md, "Hair and scalp": common practice, no source; the label's words for colour.
    #[test]
    fn ages_are_counted_in_whole_years_on_the_day() {
        let day = date!(2026 - 05 - 14);
        let born = |born_on| Circumstance { born_on: Some(born_on), ..grown_up(day) };
        let fifteen = born(date!(2010 - 05 - 15));
        assert_eq!(
            rules(&nothing(), &fifteen, &[Family::OxidativeColour]),
            [
                ("under-least-age", Weight::Refuse),
                ("under-16-colour", Weight::Refuse),
                ("guardian", Weight::Advise)
            ]
        );
        assert_eq!(
            rules(&nothing(), &born(date!(2010 - 05 - 14)), &[Family::Thio]),
            [("guardian", Weight::Advise)]
        );
        assert_eq!(rules(&nothing(), &born(date!(2008 - 05 - 14)), &[Family::Thio]), []);
        let unset = Circumstance { born_on: None, ..grown_up(day) };
        assert_eq!(rules(&nothing(), &unset, &[]), [("age-not-known", Weight::Wait)]);
        assert_eq!(age_on(date!(2008 - 02 - 29), date!(2026 - 02 - 28)), 17);
        assert_eq!(age_on(date!(2008 - 02 - 29), date!(2026 - 03 - 01)), 18);
    }

    #[test]
    fn a_past_reaction_refuses_its_family_alone_and_a_black_tattoo_refuses_colour() {
        let day = date!(2026 - 05 - 14);
        let told = Told {
            reactions: vec![Family::Thio],
            black_henna: true,
            black_henna_reaction: true,
            ..nothing()
        };
        assert_eq!(rules(&told, &grown_up(day), &[Family::Thio]), [("past-reaction", Weight::Refuse)]);
        assert_eq!(rules(&told, &grown_up(day), &[Family::Lightener]), []);
        assert_eq!(
            rules(&told, &grown_up(day), &[Family::DirectDye]),
            [("black-henna-reaction", Weight::Refuse)]
        );
        assert_eq!(rules(&told, &grown_up(day), &[]).len(), 3);
    }

    #[test]
    fn waits_end_on_their_day() {
        let taken = date!(2026 - 03 - 27);
        let told =
            Told { scratched_within_3_days: true, braids_out_on: Some(date!(2026 - 03 - 20)), ..nothing() };
        let on = |today| Circumstance { today, ..grown_up(taken) };
        let first = findings(&told, &on(taken), &[]);
        assert_eq!(
            first.iter().filter_map(|f| f.until).collect::<Vec<_>>(),
            [date!(2026 - 03 - 30), date!(2026 - 04 - 03)]
        );
        assert_eq!(rules(&told, &on(date!(2026 - 03 - 30)), &[]), [("braids-out", Weight::Wait)]);
        assert_eq!(rules(&told, &on(date!(2026 - 04 - 03)), &[]), []);
    }

    #[test]
    fn broken_skin_refuses_and_pregnancy_advises() {
        let day = date!(2026 - 05 - 14);
        let told = Told { scalp: Scalp::Broken, pregnant: true, ..nothing() };
        assert_eq!(
            rules(&told, &grown_up(day), &[Family::Thio]),
            [("scalp-broken", Weight::Refuse), ("pregnancy", Weight::Advise)]
        );
        let red = Told { scalp: Scalp::Red, ..nothing() };
        assert_eq!(rules(&red, &grown_up(day), &[]), [("scalp-red", Weight::Wait)]);
    }
}
