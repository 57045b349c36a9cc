//! The small values events are made of.

use crate::domain::protocol::Section;

/// An instant, UTC.
pub type Instant = time::OffsetDateTime;

/// The name a station gives a fact before it is sent (a UUID), so that sending it twice records it once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FactId(pub u128);

/// Set apart from every station's own names by these bits.
const FOLLOWING: u128 = 0x7269_6e73_6562_656c_6c00_0000_0000_0000;
/// The same for a stop that follows, far from the other.
const FOLLOWING_STOP: u128 = 0x7374_6f70_2061_6e64_2072_696e_7365_0000;

impl FactId {
    /// Reads a UUID, hyphens or not; none when it is not one.
    pub fn new(text: &str) -> Option<FactId> {
        let digits: String = text.chars().filter(|c| *c != '-').collect();
        let plain = digits.len() == 32 && digits.bytes().all(|b| b.is_ascii_hexdigit());
        if !plain {
            return None;
        }
        u128::from_str_radix(&digits, 16).ok().map(FactId)
    }

    /// The name of the fact that follows from this one (a second sting: the stop). The same each
    /// time, so that a resent fact does not double it.
    pub const fn following(self) -> FactId {
        FactId(self.0 ^ FOLLOWING)
    }

    /// The name of the stop that follows from this one.
    pub const fn following_stop(self) -> FactId {
        FactId(self.0 ^ FOLLOWING_STOP)
    }
}

impl std::fmt::Display for FactId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let h = format!("{:032x}", self.0);
        write!(f, "{}-{}-{}-{}-{}", &h[..8], &h[8..12], &h[12..16], &h[16..20], &h[20..])
    }
}

/// A place on the head, the client's sides.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum HeadPlace {
    /// A quadrant.
    Quadrant(Section),
    /// The hairline in front.
    Hairline,
    /// The crown.
    Crown,
    /// The nape.
    Nape,
    /// An ear, or behind it.
    Ear,
    /// A temple.
    Temple,
    /// An eye.
    Eye,
    /// The face or neck.
    FaceOrNeck,
}

impl HeadPlace {
    /// Every place, quadrants first.
    pub const ALL: [HeadPlace; 11] = [
        HeadPlace::Quadrant(Section::BackRight),
        HeadPlace::Quadrant(Section::BackLeft),
        HeadPlace::Quadrant(Section::FrontLeft),
        HeadPlace::Quadrant(Section::FrontRight),
        HeadPlace::Hairline,
        HeadPlace::Crown,
        HeadPlace::Nape,
        HeadPlace::Ear,
        HeadPlace::Temple,
        HeadPlace::Eye,
        HeadPlace::FaceOrNeck,
    ];

    /// The code used in the database and forms.
    pub const fn code(self) -> &'static str {
        match self {
            HeadPlace::Quadrant(s) => s.code(),
            HeadPlace::Hairline => "hairline",
            HeadPlace::Crown => "crown",
            HeadPlace::Nape => "nape",
            HeadPlace::Ear => "ear",
            HeadPlace::Temple => "temple",
            HeadPlace::Eye => "eye",
            HeadPlace::FaceOrNeck => "face-or-neck",
        }
    }

    /// Reads a code: a place, or a section of any parting.
    pub fn from_code(code: &str) -> Option<HeadPlace> {
        let place = HeadPlace::ALL.into_iter().find(|p| p.code() == code);
        place.or_else(|| Section::from_code(code).map(HeadPlace::Quadrant))
    }

    /// The places offered on a head parted so: its sections, then what lies outside them.
    pub fn offered(sections: &[Section]) -> Vec<HeadPlace> {
        let own = sections.iter().filter(|s| **s != Section::Hairline).map(|s| HeadPlace::Quadrant(*s));
        let mut places: Vec<HeadPlace> = own.collect();
        let quadrant = |p: &HeadPlace| matches!(p, HeadPlace::Quadrant(_));
        let rest = HeadPlace::ALL.into_iter().filter(|p| places.is_empty() || !quadrant(p));
        let rest: Vec<HeadPlace> = rest.filter(|p| !places.iter().any(|o| o.words() == p.words())).collect();
        places.extend(rest);
        places
    }

    /// What the screen says.
    pub fn words(self) -> &'static str {
        match self {
            HeadPlace::Quadrant(s) => s.words(),
            HeadPlace::Hairline => tr!("hairline"),
            HeadPlace::Crown => tr!("crown"),
            HeadPlace::Nape => tr!("nape"),
            HeadPlace::Ear => tr!("ear"),
            HeadPlace::Temple => tr!("temple"),
            HeadPlace::Eye => tr!("eye"),
            HeadPlace::FaceOrNeck => tr!("face or neck"),
        }
    }
}

/// What the client says when asked "Any heat, any sting?".
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Comfort {
    /// No.
    No,
    /// Warm.
    Warm,
    /// It stings: counts as a complaint.
    Stings,
}

impl Comfort {
    /// The code used in the database and forms.
    pub const fn code(self) -> &'static str {
        match self {
            Comfort::No => "no",
            Comfort::Warm => "warm",
            Comfort::Stings => "stings",
        }
    }

    /// Reads a code.
    pub fn from_code(code: &str) -> Option<Comfort> {
        [Comfort::No, Comfort::Warm, Comfort::Stings].into_iter().find(|c| c.code() == code)
    }
}

/// What a look at a section shows: the comb-back press, the lift, the colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Progress {
    /// Not yet.
    NotYet,
    /// As wanted: rinse.
    Reached,
    /// Gone past: rinse now.
    Over,
}

impl Progress {
    /// Every reading.
    pub const ALL: [Progress; 3] = [Progress::NotYet, Progress::Reached, Progress::Over];

    /// The code used in the database and forms.
    pub const fn code(self) -> &'static str {
        match self {
            Progress::NotYet => "not-yet",
            Progress::Reached => "reached",
            Progress::Over => "over",
        }
    }

    /// What the screen says.
    pub fn words(self) -> &'static str {
        match self {
            Progress::NotYet => tr!("not yet"),
            Progress::Reached => tr!("reached"),
            Progress::Over => tr!("over"),
        }
    }

    /// Reads a code.
    pub fn from_code(code: &str) -> Option<Progress> {
        Progress::ALL.into_iter().find(|r| r.code() == code)
    }
}

/// Which rod is unwound for a test curl.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rod {
    /// The rod wound first.
    First,
    /// The rod wound last.
    Last,
    /// The weakest place: porous, fine, hairline.
    Weakest,
}

impl Rod {
    /// The three that are read.
    pub const ALL: [Rod; 3] = [Rod::First, Rod::Last, Rod::Weakest];

    /// The code used in the database and forms.
    pub const fn code(self) -> &'static str {
        match self {
            Rod::First => "first",
            Rod::Last => "last",
            Rod::Weakest => "weakest",
        }
    }

    /// Reads a code.
    pub fn from_code(code: &str) -> Option<Rod> {
        Rod::ALL.into_iter().find(|r| r.code() == code)
    }
}

/// What a test curl shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum CurlReading {
    /// It hangs straight.
    None,
    /// A C.
    C,
    /// A firm S: rinse the whole head.
    S,
    /// Gone past: rinse now.
    Over,
}

impl CurlReading {
    /// Every reading.
    pub const ALL: [CurlReading; 4] = [CurlReading::None, CurlReading::C, CurlReading::S, CurlReading::Over];

    /// The code used in the database and forms.
    pub const fn code(self) -> &'static str {
        match self {
            CurlReading::None => "none",
            CurlReading::C => "c",
            CurlReading::S => "s",
            CurlReading::Over => "over",
        }
    }

    /// Reads a code.
    pub fn from_code(code: &str) -> Option<CurlReading> {
        CurlReading::ALL.into_iter().find(|r| r.code() == code)
    }
}
