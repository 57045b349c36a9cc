//! What a consult asks for one kind of service beside the questions everybody is asked: the relaxer's, the wave's,
//! the colour's, the lightener's own.

use super::findings::{CP, Circumstance, Finding, Weight, plain};
use crate::domain::chemistry::family::{Family, Group, NewUse, coded};
use crate::words;

coded! {
    /// The kind of service a consult is read for.
    Sought {
        /// A thio product that straightens, then a curl.
        Curl = "curl", "curl or straightening with thio";
        /// Rods and a waving lotion.
        Wave = "wave", "wave on rods";
        /// Any hydroxide.
        Relaxer = "relaxer", "relaxer";
        /// Colour with a developer or without.
        Colour = "colour", "colour";
        /// Bleach.
        Lightener = "lightener", "lightener";
    }
}

coded! {
    /// A question of its own; the words are said aloud.
    OwnQuestion {
        /// Lye, no lye, none.
        LastRelaxer = "last-relaxer", "Which relaxer was the last one?";
        /// Shampooed shortly before.
        Washed = "washed", "Was the hair washed today or yesterday?";
        /// A sensitive scalp.
        Tingles = "tingles", "Did a product ever burn or tingle on the scalp?";
        /// Hair that comes out.
        Breaks = "breaks", "Does hair break or come out when combed, more than it used to?";
        /// Colour with metal.
        MetalAtHome = "metal-at-home", "Was there ever a home colour that darkened over days, or a pack that names a metal?";
        /// A wave that failed.
        WaveFailed = "wave-failed", "Did a wave or straightening ever break the hair, or not take?";
        /// The last colour.
        ColourItched = "colour-itched", "Did a colour ever itch, sting or burn, even a little?";
        /// More than once over the same lengths.
        LightenedTwice = "lightened-twice", "Were the same lengths lightened more than once?";
        /// Chlorine, copper, lime.
        Pool = "pool", "In the pool every week, or hair that turned greenish?";
    }
}

coded! {
    /// An answer to a question of its own.
    OwnAnswer {
        /// No, or none.
        No = "no", "no";
        /// Yes.
        Yes = "yes", "yes";
        /// Sodium, potassium, lithium.
        Lye = "lye", "with lye (sodium, potassium, lithium)";
        /// Guanidine.
        NoLye = "no-lye", "without lye (guanidine, mixed from two parts)";
        /// Nobody can say.
        NotKnown = "not-known", "nobody knows";
    }
}

impl Sought {
    /// The kind a planned product belongs to; none for what closes.
    pub fn of(family: Family, straightens: bool) -> Option<Sought> {
        Some(match family.planned_as(straightens)? {
            NewUse::ThioStraightening => Sought::Curl,
            NewUse::ThioWaving | NewUse::ThioEster => Sought::Wave,
            NewUse::Hydroxide => Sought::Relaxer,
            NewUse::OxidativeColour | NewUse::DirectDye => Sought::Colour,
            NewUse::Lightener => Sought::Lightener,
            NewUse::Neutraliser => return None,
        })
    }

    /// What it asks, in the order of the page (trade-rules.md, what may meet what; common practice, no source).
    pub const fn questions(self) -> &'static [OwnQuestion] {
        use OwnQuestion::{
            Breaks, ColourItched, LastRelaxer, LightenedTwice, MetalAtHome, Pool, Tingles, Washed, WaveFailed,
        };
        match self {
            Sought::Curl => &[LastRelaxer, MetalAtHome, WaveFailed, Breaks],
            Sought::Wave => &[LastRelaxer, MetalAtHome, WaveFailed, Breaks, Pool],
            Sought::Relaxer => &[LastRelaxer, Washed, Tingles, MetalAtHome, Breaks],
            Sought::Colour => &[ColourItched, MetalAtHome],
            Sought::Lightener => &[LightenedTwice, MetalAtHome, Breaks, Tingles, Pool],
        }
    }

    /// A consult read for the one asked all that the other asks.
    pub fn covers(self, other: Sought) -> bool {
        other.questions().iter().all(|q| self.questions().contains(q))
            || (self, other) == (Sought::Curl, Sought::Wave)
    }
}

impl OwnQuestion {
    /// What may be answered.
    pub const fn answers(self) -> &'static [OwnAnswer] {
        use OwnAnswer::{Lye, No, NoLye, NotKnown, Yes};
        match self {
            OwnQuestion::LastRelaxer => &[No, Lye, NoLye, NotKnown],
            OwnQuestion::MetalAtHome => &[No, Yes, NotKnown],
            _ => &[No, Yes],
        }
    }

    /// What the person who asks may need to know.
    pub fn hint(self) -> &'static str {
        match self {
            OwnQuestion::LastRelaxer => {
                tr!("However long ago it is: what was relaxed is still on the head until it is cut")
            }
            OwnQuestion::Washed => tr!("A relaxer goes on dry, unwashed hair"),
            OwnQuestion::MetalAtHome => {
                tr!("Lead, silver, copper, bismuth; “progressive”, “restores your own colour”")
            }
            OwnQuestion::ColourItched => tr!("That is a reaction: it is ticked above as well"),
            _ => "",
        }
    }
}

/// What one kind of service was asked, and what was answered; empty where none was chosen.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Own {
    /// The kind it was read for.
    pub sought: Option<Sought>,
    /// Question and answer, in the order of the page.
    pub answers: Vec<(OwnQuestion, OwnAnswer)>,
}

impl Own {
    /// What was answered to a question; none where it was not asked.
    pub fn answer(&self, question: OwnQuestion) -> Option<OwnAnswer> {
        self.answers.iter().find(|(q, _)| *q == question).map(|(_, a)| *a)
    }

    /// True when a service of this kind has had its own questions asked.
    pub fn asked_for(&self, sought: Sought) -> bool {
        self.sought.is_some_and(|own| own.covers(sought))
    }

    /// Metal told once stands until a test clears it: later silence, or another answer, takes nothing back.
    pub fn keep_metal<'o>(&mut self, ever: impl IntoIterator<Item = &'o Own>) {
        let question = OwnQuestion::MetalAtHome;
        if self.yes(question) || !ever.into_iter().any(|own| own.yes(question)) {
            return;
        }
        self.answers.retain(|(q, _)| *q != question);
        self.answers.push((question, OwnAnswer::Yes));
    }

    fn yes(&self, question: OwnQuestion) -> bool {
        self.answer(question) == Some(OwnAnswer::Yes)
    }
}

/// What the own answers say against a service with these families (empty: against any).
pub(super) fn findings(own: &Own, of: &Circumstance, families: &[Family], all: &mut Vec<Finding>) {
    let meets = |group: Group| families.is_empty() || families.iter().any(|f| f.group() == group);
    let mut found =
        |rule, weight, words: &str, way: &str, source| all.push(plain(rule, weight, words, way, source));
    if own.yes(OwnQuestion::Breaks) {
        found(
            "hair-breaks",
            Weight::Test,
            tr!("Hair breaks or comes out when combed, more than it used to."),
            tr!("A strand test at the worst place, passed, before anything goes on."),
            words::of(CP),
        );
    }
    let metal = matches!(own.answer(OwnQuestion::MetalAtHome), Some(OwnAnswer::Yes | OwnAnswer::NotKnown));
    if metal && !of.metal_cleared {
        found(
            "metal-told",
            Weight::Wait,
            tr!("There may be metal in the hair from a home colour."),
            tr!("A metallic-salt test on cut strands first, read negative, with no silver in the history."),
            tr!("handbook teaching"),
        );
    }
    if own.yes(OwnQuestion::WaveFailed) && meets(Group::Thio) {
        found(
            "wave-failed",
            Weight::Test,
            tr!("A wave or straightening broke this hair once, or did not take."),
            tr!("A strand test through the neutraliser, passed, before it is done again."),
            words::of(CP),
        );
    }
    if own.yes(OwnQuestion::LightenedTwice) && meets(Group::Lightener) {
        found(
            "lightened-twice",
            Weight::Test,
            tr!("The same lengths were lightened more than once."),
            tr!("A strand test of those lengths, passed; new growth only, never over the line."),
            words::of(CP),
        );
    }
    if own.yes(OwnQuestion::Pool) && (meets(Group::Lightener) || meets(Group::Thio)) {
        found(
            "pool",
            Weight::Test,
            tr!("Pool water leaves copper and chlorine in the hair."),
            tr!("Wash it out on an earlier day; a strand test, passed."),
            words::of(CP),
        );
    }
    relaxers(own, families, &mut found);
}

fn relaxers(
    own: &Own,
    families: &[Family],
    found: &mut impl FnMut(&'static str, Weight, &str, &str, &'static str),
) {
    let relaxer = |f: &&Family| f.group() == Group::Hydroxide;
    let last = own.answer(OwnQuestion::LastRelaxer);
    if last == Some(OwnAnswer::NotKnown) {
        found(
            "relaxer-not-known",
            Weight::Test,
            tr!("Nobody knows what the hair was relaxed with, or whether it was."),
            tr!("Look at it wet: hair that hangs straight is still relaxed. A strand test, passed."),
            words::of(CP),
        );
    }
    for family in families.iter().filter(relaxer) {
        let other = match (last, family) {
            (Some(OwnAnswer::Lye), Family::GuanidineHydroxide) => "with lye",
            (Some(OwnAnswer::NoLye), f) if *f != Family::GuanidineHydroxide => tr!("without lye"),
            _ => continue,
        };
        found(
            "other-relaxer",
            Weight::Test,
            &tr!("The last relaxer was one {other}; today’s is a {}.", family.words(), other = other),
            tr!("A strand test of today’s product at the line, passed; new growth only."),
            words::of(CP),
        );
    }
    if !families.is_empty() && !families.iter().any(|f| relaxer(&f)) {
        return;
    }
    if own.yes(OwnQuestion::Washed) {
        found(
            "washed",
            Weight::Advise,
            tr!("The hair was washed today or yesterday: a relaxer burns sooner on a washed scalp."),
            tr!("Another day is better; else base over the whole scalp, and watch."),
            words::of(CP),
        );
    }
    if own.yes(OwnQuestion::Tingles) {
        found(
            "scalp-tingles",
            Weight::Advise,
            tr!("Products have burned or tingled on this scalp."),
            tr!("Base over the whole scalp and hairline, the mildest that will do; ask at every bell."),
            words::of(CP),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    fn told(sought: Sought, answers: &[(OwnQuestion, OwnAnswer)]) -> Own {
        Own { sought: Some(sought), answers: answers.to_vec() }
    }

    fn rules(own: &Own, metal_cleared: bool, families: &[Family]) -> Vec<(&'static str, Weight)> {
        let day = date!(2026 - 05 - 14);
        let of = Circumstance {
            born_on: Some(date!(1990 - 05 - 14)),
            taken_on: day,
            today: day,
            least_age_years: 16,
            metal_cleared,
        };
        let mut all = Vec::new();
        findings(own, &of, families, &mut all);
        all.into_iter().map(|f| (f.rule, f.weight)).collect()
    }

    #[test]
    fn every_kind_of_service_asks_something_of_its_own_and_each_question_is_asked_somewhere() {
        for sought in Sought::ALL {
            assert!(!sought.questions().is_empty(), "{sought:?}");
            assert!(sought.covers(sought));
        }
        for question in OwnQuestion::ALL {
            assert!(Sought::ALL.iter().any(|s| s.questions().contains(&question)), "{question:?}");
            assert!(question.answers().contains(&OwnAnswer::No));
        }
        assert!(!Sought::Colour.covers(Sought::Relaxer) && !Sought::Relaxer.covers(Sought::Colour));
        assert_eq!(Sought::of(Family::Thio, true), Some(Sought::Curl));
        assert_eq!(Sought::of(Family::PeroxideNeutraliser, false), None);
    }

    // trade-rules.md, What may meet what: metal is refused until a metallic-salt test is negative (handbook teaching).
    #[test]
    fn metal_told_or_not_known_waits_for_its_test_and_for_nothing_else() {
        for answer in [OwnAnswer::Yes, OwnAnswer::NotKnown] {
            for sought in Sought::ALL {
                let own = told(sought, &[(OwnQuestion::MetalAtHome, answer)]);
                assert_eq!(rules(&own, false, &[Family::Lightener]), [("metal-told", Weight::Wait)]);
                assert_eq!(rules(&own, true, &[Family::Lightener]), []);
            }
        }
        let no = told(Sought::Wave, &[(OwnQuestion::MetalAtHome, OwnAnswer::No)]);
        assert_eq!(rules(&no, false, &[Family::Thio]), []);
    }

    #[test]
    fn metal_told_once_is_not_taken_back_by_silence() {
        let before = told(Sought::Colour, &[(OwnQuestion::MetalAtHome, OwnAnswer::Yes)]);
        let no = told(Sought::Wave, &[(OwnQuestion::MetalAtHome, OwnAnswer::No)]);
        for mut later in [Own::default(), no] {
            later.keep_metal([&before]);
            assert_eq!(rules(&later, false, &[Family::Thio]), [("metal-told", Weight::Wait)]);
            assert_eq!(rules(&later, true, &[Family::Thio]), [], "its test clears it");
        }
        let mut clean = Own::default();
        clean.keep_metal([&Own::default()]);
        assert_eq!(clean, Own::default());
    }

    #[test]
    fn a_relaxer_of_another_kind_is_tested_first() {
        let lye = told(Sought::Relaxer, &[(OwnQuestion::LastRelaxer, OwnAnswer::Lye)]);
        assert_eq!(rules(&lye, false, &[Family::GuanidineHydroxide]), [("other-relaxer", Weight::Test)]);
        assert_eq!(rules(&lye, false, &[Family::SodiumHydroxide]), []);
        let no_lye = told(Sought::Relaxer, &[(OwnQuestion::LastRelaxer, OwnAnswer::NoLye)]);
        assert_eq!(rules(&no_lye, false, &[Family::LithiumHydroxide]), [("other-relaxer", Weight::Test)]);
        let unknown = told(Sought::Curl, &[(OwnQuestion::LastRelaxer, OwnAnswer::NotKnown)]);
        assert_eq!(rules(&unknown, false, &[Family::Thio]), [("relaxer-not-known", Weight::Test)]);
    }

    #[test]
    fn more_yes_is_never_milder() {
        for sought in Sought::ALL {
            let none: Vec<_> = sought.questions().iter().map(|q| (*q, OwnAnswer::No)).collect();
            let families = Family::ALL;
            assert_eq!(rules(&told(sought, &none), false, &families), [], "{sought:?}");
            for at in 0..none.len() {
                let mut one = none.clone();
                if one[at].0.answers().contains(&OwnAnswer::Yes) {
                    one[at].1 = OwnAnswer::Yes;
                    // An itch is kept as a past reaction, which is judged there.
                    let itch = one[at].0 == OwnQuestion::ColourItched;
                    assert_eq!(
                        rules(&told(sought, &one), false, &families).len(),
                        usize::from(!itch),
                        "{one:?}"
                    );
                }
            }
        }
    }
}
