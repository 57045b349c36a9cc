//! The clients of an invented salon: hair, history and habits as thrown, and what the salon comes to know of them.

use std::collections::{BTreeMap, BTreeSet};

use time::{Date, Duration, OffsetDateTime};

use super::dice::Dice;
use crate::demo::told::nothing_amiss;
use crate::domain::chemistry::family::Family;
use crate::domain::consult::{Own, OwnAnswer, OwnQuestion, Sought, Told};
use crate::domain::growth::Rate;
use crate::domain::plan_check::{Felt, Porosity, Texture, WetStretch};
use crate::domain::strand::{Exposure, Known, Strand, Zone};
use crate::reference::Reference;

/// Coined names: nobody is meant by any of them.
const FIRST: [&str; 48] = [
    "Aldea", "Benno", "Brisa", "Calla", "Corin", "Dagny", "Delphi", "Edda", "Elowen", "Esker", "Fenna",
    "Fable", "Gisla", "Greer", "Halle", "Hesper", "Ilka", "Indra", "Isolde", "Jorah", "Juno", "Kaela",
    "Kestrin", "Linnet", "Lorne", "Maris", "Merrin", "Nadira", "Nerys", "Nolwen", "Oda", "Orla", "Pella",
    "Perrin", "Quilla", "Rhosyn", "Runa", "Sabela", "Senna", "Solveig", "Tamsin", "Thessaly", "Ulla",
    "Vesper", "Wren", "Ysolt", "Zelie", "Zora",
];
const LAST_START: [&str; 24] = [
    "Alder", "Amber", "Birch", "Bramble", "Briar", "Cinder", "Copper", "Dapple", "Elder", "Fern", "Flax",
    "Gorse", "Hazel", "Heather", "Juniper", "Larch", "Marl", "Moss", "Nettle", "Quarry", "Rowan", "Sedge",
    "Thistle", "Willow",
];
const LAST_END: [&str; 16] = [
    "bourne", "brook", "combe", "croft", "dale", "den", "fall", "gate", "holm", "hurst", "mere", "row",
    "shaw", "stead", "wick", "worth",
];

/// What a client comes for, again and again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Line {
    /// A re-formed curl.
    Curl,
    /// A relaxer with lye.
    Sodium,
    /// A relaxer without.
    Guanidine,
    /// Colour on new growth.
    Colour,
    /// A gloss over all of it.
    Gloss,
    /// Lightened new growth.
    Lightener,
    /// An alkaline wave.
    Wave,
    /// An acid one.
    AcidWave,
}

/// How often each is thrown (common practice, no source).
const LINES: [(f64, Line); 8] = [
    (7.0, Line::Curl),
    (4.0, Line::Sodium),
    (3.0, Line::Guanidine),
    (36.0, Line::Colour),
    (45.0, Line::Gloss),
    (3.0, Line::Lightener),
    (1.5, Line::Wave),
    (0.5, Line::AcidWave),
];

impl Line {
    /// The key of the service given next.
    pub fn kind(self, first: bool, mild: bool) -> &'static str {
        match (self, first, mild) {
            (Line::Curl, true, true) => "curl-first-mild",
            (Line::Curl, true, false) => "curl-first",
            (Line::Curl, false, true) => "curl-mild",
            (Line::Curl, false, false) => "curl",
            (Line::Sodium, true, true) => "sodium-first-mild",
            (Line::Sodium, true, false) => "sodium-first",
            (Line::Sodium, false, true) => "sodium-mild",
            (Line::Sodium, false, false) => "sodium",
            (Line::Guanidine, true, _) => "guanidine-first",
            (Line::Guanidine, false, _) => "guanidine",
            (Line::Colour, ..) => "colour",
            (Line::Gloss, ..) => "gloss",
            (Line::Lightener, ..) => "lightener",
            (Line::Wave, ..) => "wave",
            (Line::AcidWave, ..) => "wave-acid",
        }
    }

    /// What the consult is read for.
    pub const fn sought(self) -> Sought {
        match self {
            Line::Curl => Sought::Curl,
            Line::Sodium | Line::Guanidine => Sought::Relaxer,
            Line::Colour | Line::Gloss => Sought::Colour,
            Line::Lightener => Sought::Lightener,
            Line::Wave | Line::AcidWave => Sought::Wave,
        }
    }

    /// What such a client had done elsewhere before, where anything was.
    const fn before(self) -> Option<Family> {
        Some(match self {
            Line::Curl => Family::Thio,
            Line::Sodium => Family::SodiumHydroxide,
            Line::Guanidine => Family::GuanidineHydroxide,
            Line::Colour => Family::OxidativeColour,
            Line::Lightener => Family::Lightener,
            Line::Gloss | Line::Wave | Line::AcidWave => return None,
        })
    }

    /// The share of new clients who had it done elsewhere before.
    const fn brings(self) -> f64 {
        match self {
            Line::Colour | Line::Lightener => 1.0,
            Line::Curl => 0.3,
            _ => 0.5,
        }
    }

    /// Days between visits where growth does not decide (common practice, no source).
    pub const fn usual_days(self) -> f64 {
        match self {
            Line::Gloss => 42.0,
            _ => 118.0,
        }
    }

    /// The curl of such a client.
    fn curl(self, dice: &mut Dice) -> &'static str {
        match self {
            Line::Curl | Line::Sodium | Line::Guanidine => "tight",
            Line::Wave | Line::AcidWave => "straight",
            _ => dice.weighed(&[(0.3, "tight"), (0.45, "loose"), (0.25, "straight")]),
        }
    }
}

/// How a client keeps what was agreed.
#[derive(Clone, Copy, Debug)]
pub struct Habits {
    /// Books the next visit in the chair.
    pub books_in_chair: bool,
    /// Later than due by about this factor.
    pub late: f64,
    /// Does not come although booked, so often.
    pub misses: f64,
    /// The hour liked, in slots of the diary.
    pub not_before: u32,
}

/// Whether a home colour with metal was told of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Metal {
    /// No.
    None,
    /// Yes, or nobody knows; not tested.
    Told,
    /// Cut strands showed none.
    Cleared,
}

/// A client.
#[derive(Clone, Debug)]
pub struct Head {
    pub id: i64,
    pub name: String,
    pub born: Date,
    pub phone: String,
    pub curl: &'static str,
    pub curl_index: f64,
    pub line: Line,
    pub usual: usize,
    pub no_contact: bool,
    pub habits: Habits,
    /// The growth nobody knows, mm a day.
    pub rate: f64,
    /// Fine hair takes mild products.
    pub felt: Felt,
    pub density: &'static str,
    /// The strand as the salon tells it.
    pub strand: Strand,
    /// Its beginning: length, day.
    pub began: (f64, Date),
    /// The first consult laid it on record.
    pub laid: bool,
    /// Told at the first consult: what, when, doubt of the date in days.
    pub told: Vec<(Zone, Exposure)>,
    /// The strand's last number.
    pub seq: i32,
    /// The last product that met the root.
    pub root_met: Option<Date>,
    /// Placed and read without reaction, by product.
    pub patch: BTreeMap<i64, OffsetDateTime>,
    /// The last strand test passed, by product.
    pub strand_tests: BTreeMap<i64, OffsetDateTime>,
    /// Products given here before.
    pub met: BTreeSet<i64>,
    pub metal: Metal,
    /// Visits given here.
    pub given: u32,
    /// Booked and missed or given up, in a row.
    pub failed: u32,
    pub dice: Dice,
}

/// Throws a client who comes first about a day.
pub fn throw(reference: &Reference, mut dice: Dice, id: i64, first: Date, stylists: usize) -> Head {
    let line = dice.weighed(&LINES);
    let curl = line.curl(&mut dice);
    let published = reference.growth.find_start(curl).map_or(Rate { mean: 0.35, sd: 0.05 }, |m| m.rate);
    // The distribution between persons as published, cut where nobody grows less than a fifth of the mean.
    let rate = dice.normal(published.mean, published.sd).max(published.mean / 5.0);
    let length = dice.whole(120, 420) as f64;
    let mut told = Vec::new();
    let mut on = first - Duration::days(dice.whole(2, 40));
    if let Some(family) = line.before().filter(|_| dice.chance(line.brings())) {
        let ago = dice.whole(40, 120);
        on = first - Duration::days(ago);
        let on_sd_days = if ago > 80 { 10.0 } else { 0.0 };
        told.push((
            Zone::RootToEnd,
            Exposure { family, on, known: Known::Told, on_sd_days, straightened: None },
        ));
    }
    let mut strand = Strand::new(length, on, published.mean, published.sd);
    for (zone, exposure) in &told {
        strand.apply(*zone, *exposure);
    }
    let fine = matches!(line, Line::Curl | Line::Sodium | Line::Gloss | Line::AcidWave) && dice.chance(0.25);
    let texture =
        if fine { Texture::Fine } else { dice.weighed(&[(0.7, Texture::Medium), (0.3, Texture::Coarse)]) };
    let name = format!("{} {}{}", dice.pick(&FIRST), dice.pick(&LAST_START), dice.pick(&LAST_END));
    Head {
        id,
        name,
        born: first - Duration::days(dice.whole(19 * 366, 74 * 365)),
        // 01 99 00: kept free for invention by the French numbering plan (from memory).
        phone: format!("+33 1 99 00 {:02} {:02}", dice.whole(0, 99), dice.whole(0, 99)),
        curl,
        curl_index: if curl == "tight" { 1.3 + dice.even() * 0.9 } else { 1.05 },
        line,
        usual: usize::try_from(dice.whole(0, stylists as i64 - 1)).unwrap_or(0),
        no_contact: dice.chance(0.02),
        habits: Habits {
            books_in_chair: dice.chance(0.35),
            late: 0.97 + dice.even() * 0.35,
            misses: 0.02 + dice.even() * 0.05,
            not_before: u32::try_from(dice.whole(0, 84)).unwrap_or(0),
        },
        rate,
        felt: Felt {
            place: "whole head".into(),
            texture: Some(texture),
            porosity: Some(Porosity::Normal),
            wet_stretch: Some(WetStretch::Returns),
            breakage: false,
            lightened: line == Line::Lightener,
        },
        density: dice.weighed(&[(0.25, "thin"), (0.5, "medium"), (0.25, "thick")]),
        root_met: told.last().map(|(_, e)| e.on),
        strand,
        began: (length, on),
        laid: false,
        told,
        seq: 0,
        patch: BTreeMap::new(),
        strand_tests: BTreeMap::new(),
        met: BTreeSet::new(),
        metal: if dice.chance(0.02) { Metal::Told } else { Metal::None },
        given: 0,
        failed: 0,
        dice,
    }
}

impl Head {
    /// The key of the service this client comes for next.
    pub fn next_kind(&self) -> &'static str {
        let first = self.given == 0 && self.told.is_empty();
        self.line.kind(first, self.felt.texture == Some(Texture::Fine))
    }

    /// What this client answers in a consult.
    pub fn answers(&self) -> Told {
        let sought = self.line.sought();
        let answer = |q: &OwnQuestion| match (q, self.line) {
            (OwnQuestion::LastRelaxer, Line::Sodium) if self.root_met.is_some() => OwnAnswer::Lye,
            (OwnQuestion::LastRelaxer, Line::Guanidine) if self.root_met.is_some() => OwnAnswer::NoLye,
            (OwnQuestion::MetalAtHome, _) if self.metal != Metal::None => OwnAnswer::Yes,
            _ => OwnAnswer::No,
        };
        let answers = sought.questions().iter().map(|q| (*q, answer(q))).collect();
        nothing_amiss(Own { sought: Some(sought), answers })
    }
}
