//! Hold points: what must have been *seen* before a step, never that somebody looked.
//!
//! Source: trade-rules.md, "Hold points before a chemical step" (handbook teaching and common
//! practice). Every answer is a coded value with words; none is a tick.

/// A check that a step waits for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum HoldPoint {
    /// Every product of the service was tried on this skin; "any itching since?" is asked today.
    PatchTest,
    /// The scalp, looked at.
    Scalp,
    /// A strand was taken through the product and read.
    StrandTest,
    /// The gloves of the person who starts the step.
    Gloves,
    /// Towel and waterproof cape.
    Draping,
    /// Protective base over scalp and hairline.
    Base,
    /// Cream at hairline and ears, cotton for lotion.
    Barrier,
    /// The hair is dry.
    HairDry,
    /// The hair is damp.
    HairDamp,
    /// Cotton, bib and towel before the neutraliser.
    EyeProtection,
    /// The client's signature on the words shown.
    Consent,
    /// The plan check's verdict.
    Plan,
    /// A lot dispensed that is in date, within its opened life and within the law.
    Lot,
    /// The mixture: made for this head, within the life its sheet gives it.
    Mixed,
}

/// How long an answer holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Validity {
    /// The step it was given for.
    Step,
    /// This visit.
    Visit,
    /// This visit and at most so many minutes.
    VisitWithin {
        /// Minutes from the answer; at the last instant it still holds.
        within_min: u16,
    },
    /// As long as the product's sheet gives the mixture; where it gives none, the step it was given for.
    Mixture,
    /// Judged from records kept outside the run, each by its own rule (`run::holds`); what is
    /// signed of them in the run holds for this visit.
    Records,
}

/// What an answer means for the step that waits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Meaning {
    /// The step may go on.
    Holds,
    /// Not yet: put it right and answer again.
    Fails,
    /// Not today, and nobody may override it.
    FailsForGood,
}

/// One coded answer a hold point may get.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Answer {
    /// The code kept in the record.
    pub code: &'static str,
    /// What the screen says.
    pub words: &'static str,
    /// What it means.
    pub meaning: Meaning,
    /// The place on the head must be named with it.
    pub asks_where: bool,
}

const fn holds(code: &'static str, words: &'static str) -> Answer {
    Answer { code, words, meaning: Meaning::Holds, asks_where: false }
}

const fn fails(code: &'static str, words: &'static str) -> Answer {
    Answer { code, words, meaning: Meaning::Fails, asks_where: false }
}

const fn for_good(code: &'static str, words: &'static str, asks_where: bool) -> Answer {
    Answer { code, words, meaning: Meaning::FailsForGood, asks_where }
}

/// Minutes a scalp reading holds (trade-rules.md, hold points: "90 min and this visit", H).
pub const SCALP_HOLDS_MIN: u16 = 90;

impl HoldPoint {
    /// Every hold point, the critical ones first.
    pub const ALL: [HoldPoint; 14] = [
        HoldPoint::PatchTest,
        HoldPoint::Scalp,
        HoldPoint::StrandTest,
        HoldPoint::Plan,
        HoldPoint::Consent,
        HoldPoint::Lot,
        HoldPoint::Mixed,
        HoldPoint::Gloves,
        HoldPoint::Base,
        HoldPoint::Barrier,
        HoldPoint::HairDry,
        HoldPoint::HairDamp,
        HoldPoint::EyeProtection,
        HoldPoint::Draping,
    ];

    /// The code used in files, the database and forms.
    pub const fn code(self) -> &'static str {
        match self {
            HoldPoint::PatchTest => "patch-test",
            HoldPoint::Scalp => "scalp",
            HoldPoint::StrandTest => "strand-test",
            HoldPoint::Gloves => "gloves",
            HoldPoint::Draping => "draping",
            HoldPoint::Base => "base",
            HoldPoint::Barrier => "barrier",
            HoldPoint::HairDry => "hair-dry",
            HoldPoint::HairDamp => "hair-damp",
            HoldPoint::EyeProtection => "eye-protection",
            HoldPoint::Consent => "consent",
            HoldPoint::Plan => "plan",
            HoldPoint::Lot => "lot",
            HoldPoint::Mixed => "mixed",
        }
    }

    /// Reads a code; none when it is not one.
    pub fn from_code(code: &str) -> Option<HoldPoint> {
        HoldPoint::ALL.into_iter().find(|p| p.code() == code)
    }

    /// What the screen calls it.
    pub fn title(self) -> &'static str {
        match self {
            HoldPoint::PatchTest => tr!("Patch test"),
            HoldPoint::Scalp => tr!("Scalp"),
            HoldPoint::StrandTest => tr!("Strand test"),
            HoldPoint::Gloves => tr!("Gloves"),
            HoldPoint::Draping => tr!("Draping"),
            HoldPoint::Base => tr!("Base"),
            HoldPoint::Barrier => tr!("Barrier"),
            HoldPoint::HairDry => tr!("Hair dry"),
            HoldPoint::HairDamp => tr!("Hair damp"),
            HoldPoint::EyeProtection => tr!("Eye protection"),
            HoldPoint::Consent => tr!("Consent"),
            HoldPoint::Plan => tr!("Plan"),
            HoldPoint::Lot => tr!("Lot"),
            HoldPoint::Mixed => tr!("Mixture"),
        }
    }

    /// The question asked beside the answers.
    pub fn question(self) -> &'static str {
        match self {
            HoldPoint::PatchTest => tr!("Any itching, redness or swelling since the patch test?"),
            HoldPoint::Scalp => tr!("What does the scalp look like, parted and in good light?"),
            HoldPoint::StrandTest => tr!("Strand test: read it in the tests of this client."),
            HoldPoint::Gloves => tr!("Which gloves are on?"),
            HoldPoint::Draping => tr!("What lies round the neck and shoulders?"),
            HoldPoint::Base => tr!("Where is the base?"),
            HoldPoint::Barrier => tr!("What protects hairline, ears and eyes?"),
            HoldPoint::HairDry | HoldPoint::HairDamp => tr!("How does the hair feel, at the root too?"),
            HoldPoint::EyeProtection => tr!("What keeps it out of the eyes?"),
            HoldPoint::Consent => tr!("Consent: signed by the client on the words shown."),
            HoldPoint::Plan => tr!("Plan: what the plan check found."),
            HoldPoint::Lot => tr!("Lot: dispense it, with its grams."),
            HoldPoint::Mixed => tr!("When was this bowl mixed, and for whom?"),
        }
    }

    /// How long an answer holds.
    pub const fn validity(self) -> Validity {
        match self {
            HoldPoint::Scalp => Validity::VisitWithin { within_min: SCALP_HOLDS_MIN },
            HoldPoint::Gloves
            | HoldPoint::Barrier
            | HoldPoint::HairDry
            | HoldPoint::HairDamp
            | HoldPoint::EyeProtection => Validity::Step,
            HoldPoint::Draping | HoldPoint::Base => Validity::Visit,
            HoldPoint::Mixed => Validity::Mixture,
            HoldPoint::PatchTest
            | HoldPoint::StrandTest
            | HoldPoint::Consent
            | HoldPoint::Plan
            | HoldPoint::Lot => Validity::Records,
        }
    }

    /// The answers that may be signed in the run. Where records speak (`Validity::Records`) a
    /// signature says what they said then; records and signature must both hold.
    pub const fn answers(self) -> &'static [Answer] {
        match self {
            HoldPoint::PatchTest => &PATCH_TEST,
            HoldPoint::Scalp => &SCALP,
            HoldPoint::Gloves => &GLOVES,
            HoldPoint::Draping => &DRAPING,
            HoldPoint::Base => &BASE,
            HoldPoint::Barrier => &BARRIER,
            HoldPoint::HairDry => &HAIR_DRY,
            HoldPoint::HairDamp => &HAIR_DAMP,
            HoldPoint::EyeProtection => &EYE_PROTECTION,
            HoldPoint::StrandTest => &STRAND_TEST,
            HoldPoint::Consent => &CONSENT,
            HoldPoint::Plan => &PLAN,
            HoldPoint::Lot => &LOT,
            HoldPoint::Mixed => &MIXED,
        }
    }

    /// The answer with that code.
    pub fn answer(self, code: &str) -> Option<&'static Answer> {
        self.answers().iter().find(|a| a.code == code)
    }
}

static PATCH_TEST: [Answer; 2] = [
    holds("no-reaction-since", mark!("no reaction since it was read")),
    for_good("reaction-since", mark!("itching, redness or swelling since"), true),
];

static STRAND_TEST: [Answer; 2] = [
    holds("passed", mark!("strand test read and passed")),
    holds("not-asked", mark!("not asked for by the plan")),
];

static CONSENT: [Answer; 1] =
    [holds("signed-on-words-shown", mark!("signed by the client on the words shown"))];

static PLAN: [Answer; 1] = [holds("clear-or-tests-passed", mark!("clear, or the named tests passed"))];

static LOT: [Answer; 1] = [holds("in-date-within-law", mark!("dispensed, in date, within the law's limit"))];

static MIXED: [Answer; 3] = [
    holds("now-for-this-head", mark!("mixed now, for this head")),
    fails("older-than-sheet", mark!("older than the sheet allows: throw it away")),
    fails("left-over", mark!("left from another head: throw it away")),
];

static SCALP: [Answer; 3] = [
    holds("intact", mark!("intact")),
    for_good("red", mark!("red"), true),
    for_good("broken", mark!("broken: cut, sore, scratched"), true),
];

/// The pair that was answered for before: as long as the same hands wear it and no water has run since.
pub const SAME_PAIR: &str = "same-pair-intact";

static GLOVES: [Answer; 5] = [
    holds("nitrile-new-pair-intact", mark!("nitrile, new pair, intact")),
    holds("vinyl-new-pair-intact", mark!("vinyl, new pair, intact")),
    holds(SAME_PAIR, mark!("the same pair, looked at, intact")),
    fails("worn-before", mark!("worn before")),
    fails("torn", mark!("torn or wet inside")),
];

static DRAPING: [Answer; 3] = [
    holds("towel-and-cape-dry", mark!("towel and waterproof cape, dry")),
    fails("wet", mark!("wet")),
    fails("cape-missing", mark!("towel alone")),
];

static BASE: [Answer; 3] = [
    holds("scalp-and-hairline-covered", mark!("scalp and hairline covered")),
    holds("no-base-product", mark!("product sheet says no base")),
    fails("gaps", mark!("gaps left")),
];

static BARRIER: [Answer; 4] = [
    holds("cream-hairline-ears-eyes-shielded", mark!("cream at hairline and ears, eyes shielded")),
    holds("cream-and-fresh-dry-cotton", mark!("cream, fresh dry cotton round the hairline, eyes shielded")),
    fails("cotton-wet", mark!("cotton wet")),
    fails("cream-missing", mark!("cream missing")),
];

static HAIR_DRY: [Answer; 2] = [holds("dry", mark!("dry to the root")), fails("damp", mark!("still damp"))];

static HAIR_DAMP: [Answer; 3] = [
    holds("damp", mark!("damp, blotted")),
    fails("dripping", mark!("dripping")),
    fails("dry", mark!("dried out")),
];

static EYE_PROTECTION: [Answer; 3] = [
    holds("cotton-bib-towel", mark!("fresh cotton, bib and towel placed")),
    fails("cotton-wet", mark!("cotton wet: change it")),
    fails("not-placed", mark!("not placed yet")),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_read_back_and_differ() {
        for point in HoldPoint::ALL {
            assert_eq!(HoldPoint::from_code(point.code()), Some(point));
            for answer in point.answers() {
                assert_eq!(point.answer(answer.code).map(|a| a.words), Some(answer.words));
                let same = point.answers().iter().filter(|a| a.code == answer.code).count();
                assert_eq!(same, 1, "{} {}", point.code(), answer.code);
            }
        }
        assert_eq!(HoldPoint::from_code("tick"), None);
    }

    #[test]
    fn a_scalp_reading_holds_90_minutes_and_a_red_or_broken_one_is_for_good() {
        // trade-rules.md, hold points: "90 min and this visit"; hair and scalp: red scalp before
        // product, not today (common practice, no source); abrasion, cut, sore: refuse (handbook).
        assert_eq!(HoldPoint::Scalp.validity(), Validity::VisitWithin { within_min: 90 });
        for code in ["red", "broken"] {
            let answer = HoldPoint::Scalp.answer(code).expect("an answer of the scalp");
            assert_eq!(answer.meaning, Meaning::FailsForGood);
            assert!(answer.asks_where);
        }
    }

    #[test]
    fn no_answer_says_safe_or_none() {
        for point in HoldPoint::ALL {
            for answer in point.answers() {
                assert!(!answer.words.contains("safe") && answer.words != "none");
            }
        }
    }
}
