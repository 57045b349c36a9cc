//! A complaint, from "it stings" to that place rinsed and the scalp there looked at after.
//!
//! Both are asked before anything more goes on (2-domain.md, "It stings"); the database asks the same
//! (`rinsebell_sting_refused`).

use super::facts::section_of;
use super::state::{Rinsed, Signature, State, Sting, Water};
use super::value::{HeadPlace, Instant};
use crate::domain::protocol::HoldPoint;

/// What a complaint still asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Owed {
    /// Its place is to be rinsed.
    Water,
    /// It is rinsed; the scalp is to be read.
    Look {
        /// Since when it is rinsed.
        rinsed_at: Instant,
    },
}

impl Rinsed {
    /// This water reached a place.
    fn reaches(self, place: HeadPlace) -> bool {
        match self {
            Rinsed::Place(p) => p.code() == place.code(),
            Rinsed::Section(s) => s.code() == place.code(),
            Rinsed::Head { clear } => clear,
        }
    }
}

impl State<'_> {
    /// When the place of a complaint was first rinsed after it.
    pub fn sting_rinsed_at(&self, sting: &Sting) -> Option<Instant> {
        let after = |w: &&Water| w.at >= sting.at && w.what.reaches(sting.place);
        self.waters.iter().filter(after).map(|w| w.at).min()
    }

    /// The scalp as it was first read after that place was rinsed.
    pub fn sting_read(&self, sting: &Sting) -> Option<&Signature> {
        let rinsed = self.sting_rinsed_at(sting)?;
        self.signatures
            .iter()
            .find(|s| s.signed.hold_point == HoldPoint::Scalp && s.seq > sting.seq && s.recorded_at >= rinsed)
    }

    /// What a complaint still asks for; nothing once it is answered for.
    pub fn owed(&self, sting: &Sting) -> Option<Owed> {
        match (self.sting_rinsed_at(sting), self.sting_read(sting)) {
            (None, _) => Some(Owed::Water),
            (Some(rinsed_at), None) => Some(Owed::Look { rinsed_at }),
            (Some(_), Some(_)) => None,
        }
    }

    /// The complaint that is not answered for: water before a look, the last before others. What was ended with a stop
    /// is answered for by it.
    pub fn open_sting(&self) -> Option<(&Sting, Owed)> {
        let open = self.stings.iter().filter(|s| s.seq > self.closed_seq);
        let owing = open.filter_map(|s| Some((s, self.owed(s)?)));
        owing.max_by_key(|(s, owed)| (matches!(owed, Owed::Water), s.seq))
    }

    /// The place is no section of this head: it is rinsed by itself, and no clock ends with it.
    pub fn rinsed_apart(&self, place: HeadPlace) -> bool {
        section_of(place, self.frame.sections()).is_none()
    }
}
