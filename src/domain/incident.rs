//! Something went wrong: what is written down of it, so that the client is helped and whoever must know can be told.
//!
//! Fields follow what authorities ask for (EU Regulation 1223/2009 Art 2(1)(p) and Art 23; the UK authority's form; US
//! Federal Food, Drug, and Cosmetic Act §605): product and batch, use, onset, signs, site, outcome.

/// A sign seen or told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sign {
    Redness,
    Swelling,
    Blisters,
    Burn,
    Itching,
    Pain,
    Weeping,
    Breathing,
    Eye,
    Infection,
    HairBroke,
    HairLost,
}

impl Sign {
    /// All, in the order of the form.
    pub const ALL: [Sign; 12] = [
        Sign::Redness,
        Sign::Swelling,
        Sign::Blisters,
        Sign::Burn,
        Sign::Itching,
        Sign::Pain,
        Sign::Weeping,
        Sign::Breathing,
        Sign::Eye,
        Sign::Infection,
        Sign::HairBroke,
        Sign::HairLost,
    ];

    /// The code stored in the database.
    pub const fn code(self) -> &'static str {
        match self {
            Sign::Redness => "redness",
            Sign::Swelling => "swelling",
            Sign::Blisters => "blisters",
            Sign::Burn => "burn",
            Sign::Itching => "itching",
            Sign::Pain => "pain",
            Sign::Weeping => "weeping",
            Sign::Breathing => "breathing",
            Sign::Eye => "eye",
            Sign::Infection => "infection",
            Sign::HairBroke => "hair-broke",
            Sign::HairLost => "hair-lost",
        }
    }

    /// As said on the screens.
    pub fn words(self) -> &'static str {
        match self {
            Sign::Redness => tr!("redness"),
            Sign::Swelling => tr!("swelling"),
            Sign::Blisters => tr!("blisters"),
            Sign::Burn => tr!("burn"),
            Sign::Itching => tr!("itching"),
            Sign::Pain => tr!("pain or burning"),
            Sign::Weeping => tr!("weeping skin"),
            Sign::Breathing => tr!("trouble breathing"),
            Sign::Eye => tr!("something in the eye"),
            Sign::Infection => tr!("infection"),
            Sign::HairBroke => tr!("hair broke"),
            Sign::HairLost => tr!("hair lost"),
        }
    }

    /// The sign of a stored code.
    pub fn from_code(code: &str) -> Option<Sign> {
        Sign::ALL.into_iter().find(|s| s.code() == code)
    }
}

/// What makes an effect serious.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Serious {
    Incapacity,
    Disability,
    Hospital,
    VitalRisk,
    Death,
    Anomaly,
    DeepBurn,
    MuchHairLost,
    LastingRash,
    Infection,
}

impl Serious {
    /// All, in the order of the form: EU Art 2(1)(p) first, then what US §605 adds.
    pub const ALL: [Serious; 10] = [
        Serious::Incapacity,
        Serious::Disability,
        Serious::Hospital,
        Serious::VitalRisk,
        Serious::Death,
        Serious::Anomaly,
        Serious::DeepBurn,
        Serious::MuchHairLost,
        Serious::LastingRash,
        Serious::Infection,
    ];

    /// The code stored in the database.
    pub const fn code(self) -> &'static str {
        match self {
            Serious::Incapacity => "incapacity",
            Serious::Disability => "disability",
            Serious::Hospital => "hospital",
            Serious::VitalRisk => "vital-risk",
            Serious::Death => "death",
            Serious::Anomaly => "congenital",
            Serious::DeepBurn => "deep-burn",
            Serious::MuchHairLost => "much-hair-lost",
            Serious::LastingRash => "lasting-rash",
            Serious::Infection => "infection",
        }
    }

    /// As said on the screens.
    pub fn words(self) -> &'static str {
        match self {
            Serious::Incapacity => tr!("could not do everyday things, for a time or for good"),
            Serious::Disability => tr!("disability"),
            Serious::Hospital => tr!("hospital"),
            Serious::VitalRisk => tr!("immediate risk to life"),
            Serious::Death => tr!("death"),
            Serious::Anomaly => tr!("congenital anomaly"),
            Serious::DeepBurn => tr!("second- or third-degree burn"),
            Serious::MuchHairLost => tr!("significant hair loss"),
            Serious::LastingRash => tr!("persistent rash"),
            Serious::Infection => tr!("infection"),
        }
    }

    /// The ground of a stored code.
    pub fn from_code(code: &str) -> Option<Serious> {
        Serious::ALL.into_iter().find(|s| s.code() == code)
    }
}

/// What was done at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Aid {
    Rinsed,
    Closed,
    EyeWashed,
    ClothesOff,
    EmergencyCalled,
    SentToDoctor,
    Cooled,
    Nothing,
}

impl Aid {
    /// All, in the order of the form.
    pub const ALL: [Aid; 8] = [
        Aid::Rinsed,
        Aid::Closed,
        Aid::EyeWashed,
        Aid::ClothesOff,
        Aid::Cooled,
        Aid::EmergencyCalled,
        Aid::SentToDoctor,
        Aid::Nothing,
    ];

    /// The code stored in the database.
    pub const fn code(self) -> &'static str {
        match self {
            Aid::Rinsed => "rinsed",
            Aid::Closed => "closed",
            Aid::EyeWashed => "eye-washed",
            Aid::ClothesOff => "clothes-off",
            Aid::EmergencyCalled => "emergency-called",
            Aid::SentToDoctor => "sent-to-doctor",
            Aid::Cooled => "cooled",
            Aid::Nothing => "nothing",
        }
    }

    /// As said on the screens.
    pub fn words(self) -> &'static str {
        match self {
            Aid::Rinsed => tr!("rinsed with cool running water"),
            Aid::Closed => tr!("neutralised or normalised the hair"),
            Aid::EyeWashed => tr!("washed the eye"),
            Aid::ClothesOff => tr!("took wet clothes off"),
            Aid::EmergencyCalled => tr!("called the emergency number"),
            Aid::SentToDoctor => tr!("sent to a doctor"),
            Aid::Cooled => tr!("went on cooling with water"),
            Aid::Nothing => tr!("nothing was needed"),
        }
    }

    /// The aid of a stored code.
    pub fn from_code(code: &str) -> Option<Aid> {
        Aid::ALL.into_iter().find(|a| a.code() == code)
    }
}

/// How it stands with a doctor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doctor {
    NotAsked,
    Advised,
    Seen,
}

impl Doctor {
    /// All, in the order of the form.
    pub const ALL: [Doctor; 3] = [Doctor::NotAsked, Doctor::Advised, Doctor::Seen];

    /// The code stored in the database.
    pub const fn code(self) -> &'static str {
        match self {
            Doctor::NotAsked => "no",
            Doctor::Advised => "advised",
            Doctor::Seen => "seen",
        }
    }

    /// As said on the screens.
    pub fn words(self) -> &'static str {
        match self {
            Doctor::NotAsked => tr!("no doctor"),
            Doctor::Advised => tr!("a doctor was advised"),
            Doctor::Seen => tr!("a doctor has seen it"),
        }
    }

    /// The state of a stored code.
    pub fn from_code(code: &str) -> Option<Doctor> {
        Doctor::ALL.into_iter().find(|d| d.code() == code)
    }
}

/// What is missing or contradicts itself in an account.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Amiss {
    /// No sign, and not "nothing was needed".
    NoSign,
    /// "Nothing was needed" beside something done.
    NothingAndSomething,
    /// Closed while a sign stands that a doctor has not been advised for.
    ClosedWithoutDoctor,
    /// Closed while it is serious and nobody was told.
    ClosedUntold,
    /// The person was erased.
    Erased,
}

impl Amiss {
    /// As a sentence for the form.
    pub fn words(self) -> &'static str {
        match self {
            Amiss::NoSign => tr!("Mark at least one sign: what was seen or told."),
            Amiss::NothingAndSomething => tr!("Either nothing was needed, or something was done."),
            Amiss::ClosedWithoutDoctor => {
                tr!(
                    "With a burn, blisters, swelling, an eye or trouble breathing a doctor is advised before this is closed."
                )
            }
            Amiss::ClosedUntold => tr!("A serious effect is told to the maker before this is closed."),
            Amiss::Erased => tr!("This person was erased: nothing more is written about them."),
        }
    }
}

/// An account as far as its rules read it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account<'a> {
    pub signs: &'a [Sign],
    pub aid: &'a [Aid],
    pub serious: &'a [Serious],
    pub doctor: Doctor,
    pub maker_told: bool,
    pub closed: bool,
    /// Of whom it is was erased.
    pub erased: bool,
}

/// Signs that a doctor is advised for (first-aid teaching; common practice, no source).
pub const FOR_A_DOCTOR: [Sign; 6] =
    [Sign::Burn, Sign::Blisters, Sign::Swelling, Sign::Breathing, Sign::Eye, Sign::Infection];

/// Everything amiss with an account, in order.
#[must_use]
pub fn amiss(a: &Account<'_>) -> Vec<Amiss> {
    let mut found = Vec::new();
    if a.erased {
        found.push(Amiss::Erased);
    }
    if a.signs.is_empty() {
        found.push(Amiss::NoSign);
    }
    if a.aid.contains(&Aid::Nothing) && a.aid.len() > 1 {
        found.push(Amiss::NothingAndSomething);
    }
    if a.closed && a.doctor == Doctor::NotAsked && a.signs.iter().any(|s| FOR_A_DOCTOR.contains(s)) {
        found.push(Amiss::ClosedWithoutDoctor);
    }
    if a.closed && !a.serious.is_empty() && !a.maker_told {
        found.push(Amiss::ClosedUntold);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    const FINE: Account<'static> = Account {
        signs: &[Sign::Redness],
        aid: &[Aid::Rinsed],
        serious: &[],
        doctor: Doctor::NotAsked,
        maker_told: false,
        closed: true,
        erased: false,
    };

    #[test]
    fn an_account_is_not_closed_over_a_burn_nobody_looked_at() {
        assert!(amiss(&FINE).is_empty());
        for sign in FOR_A_DOCTOR {
            let signs = [sign];
            let bad = Account { signs: &signs, ..FINE };
            assert_eq!(amiss(&bad), [Amiss::ClosedWithoutDoctor]);
            assert!(amiss(&Account { closed: false, ..bad.clone() }).is_empty(), "written down all the same");
            assert!(amiss(&Account { doctor: Doctor::Advised, ..bad }).is_empty());
        }
        let serious = Account { serious: &[Serious::DeepBurn], ..FINE };
        assert_eq!(amiss(&serious), [Amiss::ClosedUntold]);
        assert!(amiss(&Account { maker_told: true, ..serious }).is_empty());
    }

    #[test]
    fn nothing_is_not_beside_something() {
        let both = [Aid::Nothing, Aid::Rinsed];
        assert_eq!(amiss(&Account { aid: &both, ..FINE }), [Amiss::NothingAndSomething]);
        assert_eq!(amiss(&Account { signs: &[], ..FINE }), [Amiss::NoSign]);
        assert_eq!(amiss(&Account { erased: true, ..FINE }), [Amiss::Erased]);
    }

    #[test]
    fn codes_are_read_back() {
        assert!(Sign::ALL.iter().all(|s| Sign::from_code(s.code()) == Some(*s)));
        assert!(Serious::ALL.iter().all(|s| Serious::from_code(s.code()) == Some(*s)));
        assert!(Aid::ALL.iter().all(|s| Aid::from_code(s.code()) == Some(*s)));
        assert!(Doctor::ALL.iter().all(|s| Doctor::from_code(s.code()) == Some(*s)));
    }
}
