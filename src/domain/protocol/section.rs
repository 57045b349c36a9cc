//! Sections of the head: what is tapped, worked in order, and timed one by one.

use crate::domain::chemistry::family::coded;

coded! {
    /// A section of the head; sides are the client's. A protocol works one set: quadrants or blocks, the
    /// hairline as a section of its own beside either.
    Section {
        /// Back, the client's right.
        BackRight = "back-right", "back right";
        /// Back, the client's left.
        BackLeft = "back-left", "back left";
        /// Front, the client's left.
        FrontLeft = "front-left", "front left";
        /// Front, the client's right.
        FrontRight = "front-right", "front right";
        /// Middle column of the nine blocks, forehead to crown.
        CentreTop = "centre-top", "top";
        /// Middle column, over the crown.
        CentreCrown = "centre-crown", "crown";
        /// Middle column, down to the nape.
        CentreNape = "centre-nape", "nape";
        /// The client's left column, in front.
        LeftTop = "left-top", "left top";
        /// The client's left column, beside the crown.
        LeftCrown = "left-crown", "left crown";
        /// The client's left column, down to the nape.
        LeftNape = "left-nape", "left nape";
        /// The client's right column, in front.
        RightTop = "right-top", "right top";
        /// The client's right column, beside the crown.
        RightCrown = "right-crown", "right crown";
        /// The client's right column, down to the nape.
        RightNape = "right-nape", "right nape";
        /// The hair that edges the face and the nape: finest hair, thinnest skin.
        Hairline = "hairline", "hairline";
    }
}

/// How a head is parted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SectionSet {
    /// Four quadrants.
    Quadrants,
    /// Nine blocks in three columns, or some of them.
    Blocks,
    /// The hairline: beside either.
    Edge,
}

impl Section {
    /// The four quadrants in the curl services' order: clockwise from above, from the back right.
    pub const QUADRANTS: [Section; 4] =
        [Section::BackRight, Section::BackLeft, Section::FrontLeft, Section::FrontRight];

    /// Which parting it belongs to.
    pub const fn set(self) -> SectionSet {
        match self {
            Section::BackRight | Section::BackLeft | Section::FrontLeft | Section::FrontRight => {
                SectionSet::Quadrants
            }
            Section::Hairline => SectionSet::Edge,
            _ => SectionSet::Blocks,
        }
    }

    /// It lies behind the crown's parting: where a lightener begins.
    pub const fn is_back(self) -> bool {
        matches!(
            self,
            Section::BackRight
                | Section::BackLeft
                | Section::CentreCrown
                | Section::CentreNape
                | Section::LeftCrown
                | Section::LeftNape
                | Section::RightCrown
                | Section::RightNape
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nine_blocks_in_three_columns_four_quadrants_and_an_edge() {
        // trade's nine-block parting: top, crown and nape in each of three columns (common practice, no source).
        let of = |set| Section::ALL.into_iter().filter(|s| s.set() == set).count();
        assert_eq!((of(SectionSet::Quadrants), of(SectionSet::Blocks), of(SectionSet::Edge)), (4, 9, 1));
        for section in Section::ALL {
            assert_eq!(Section::from_code(section.code()), Some(section));
        }
    }
}
