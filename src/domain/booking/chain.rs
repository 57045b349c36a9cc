//! From the steps of a protocol to the segments a calendar needs.

use super::segment::{Hands, PlaceKind, Qualification, Segment};

/// Whose hands a step needs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StepHands {
    /// The product works alone: nobody is taken.
    Nobody,
    /// Somebody stays with the client.
    Somebody {
        /// The qualification asked for; `None` means anybody of the team.
        may: Option<Qualification>,
        /// Steps with the same mark are done by one and the same person, wherever they stand;
        /// `None` leaves it open (a handover by accept is possible).
        one_person: Option<u8>,
    },
}

/// What a step asks of the calendar.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StepNeed {
    /// How long it is planned to take, minutes. A step of 0 minutes takes no place in the calendar.
    pub minutes: u32,
    /// Who is needed.
    pub hands: StepHands,
    /// The kinds of place it occupies, in any order; twice is two of them.
    pub places: Vec<PlaceKind>,
}

/// The segments of a service: neighbouring steps with equal hands and equal places become one.
///
/// Merging is what lets one person be named for a whole stretch and keeps the search small. Two
/// neighbouring steps that anybody of the same qualification may do become one person's segment: a
/// change of hands between them would help nobody. The list is empty when no step takes time; else
/// it always makes a valid [`Chain`](super::Chain) as long as it stays under a year.
#[must_use]
pub fn segments_for(steps: &[StepNeed]) -> Vec<Segment> {
    let mut segments: Vec<Segment> = Vec::new();
    let mut needs: Vec<(StepHands, Vec<PlaceKind>)> = Vec::new();
    for step in steps.iter().filter(|step| step.minutes > 0) {
        let length_ms = i64::from(step.minutes) * 60_000;
        let mut places = step.places.clone();
        places.sort();
        let need = (step.hands.clone(), places);
        match (segments.last_mut(), needs.last()) {
            (Some(last), Some(before)) if *before == need => last.length_ms += length_ms,
            _ => {
                let hands = hands_of(&need.0, &needs);
                segments.push(Segment { length_ms, hands, places: need.1.clone() });
                needs.push(need);
            }
        }
    }
    segments
}

/// The hands of the next segment; the mark becomes the index of the first segment that bears it.
fn hands_of(hands: &StepHands, earlier: &[(StepHands, Vec<PlaceKind>)]) -> Option<Hands> {
    let StepHands::Somebody { may, one_person } = hands else { return None };
    let same_as = one_person.and_then(|mark| {
        earlier.iter().position(
            |(hands, _)| matches!(hands, StepHands::Somebody { one_person: Some(m), .. } if *m == mark),
        )
    });
    Some(Hands { may: may.clone(), same_as })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::Chain;
    use super::*;

    fn step(minutes: u32, hands: StepHands, places: &[&str]) -> StepNeed {
        StepNeed { minutes, hands, places: places.iter().map(|p| PlaceKind((*p).to_owned())).collect() }
    }

    fn some(may: Option<&str>, one_person: Option<u8>) -> StepHands {
        StepHands::Somebody { may: may.map(|m| Qualification(m.to_owned())), one_person }
    }

    fn minutes(segments: &[Segment]) -> Vec<i64> {
        segments.iter().map(|segment| segment.length_ms / 60_000).collect()
    }

    #[test]
    fn a_retouch_becomes_a_few_segments() {
        let stylist = || some(Some("thio"), Some(1));
        let segments = segments_for(&[
            step(10, stylist(), &["chair"]),
            step(15, stylist(), &["chair"]),
            step(10, StepHands::Nobody, &["chair"]),
            step(5, some(None, None), &["basin"]),
            step(0, StepHands::Nobody, &["hood"]),
            step(5, some(None, None), &["basin"]),
            step(60, stylist(), &["chair"]),
        ]);
        assert_eq!(minutes(&segments), [25, 10, 10, 60]);
        assert_eq!(segments[3].hands.as_ref().unwrap().same_as, Some(0));
        assert_eq!(segments[2].hands, Some(Hands { may: None, same_as: None }));
        assert_eq!(segments[1].hands, None);
    }

    #[test]
    fn order_of_places_does_not_matter_but_their_number_does() {
        let off = StepHands::Nobody;
        let segments = segments_for(&[
            step(5, off.clone(), &["chair", "hood"]),
            step(5, off.clone(), &["hood", "chair"]),
            step(5, off, &["chair", "chair", "hood"]),
        ]);
        assert_eq!(minutes(&segments), [10, 5]);
    }

    proptest! {
        #[test]
        fn every_list_of_steps_makes_a_valid_chain_of_the_same_length(
            steps in prop::collection::vec((0_u32..90, 0_u8..6, 0_usize..3), 0..12)
        ) {
            let kinds = [&["chair"][..], &["basin"], &["chair", "hood"]];
            let steps: Vec<StepNeed> = steps
                .into_iter()
                .map(|(minutes, hands, places)| {
                    let hands = match hands {
                        0 => StepHands::Nobody,
                        1 => some(None, None),
                        n => some(Some("thio").filter(|_| n % 2 == 0), Some(n / 4)),
                    };
                    step(minutes, hands, kinds[places])
                })
                .collect();
            let total: u32 = steps.iter().map(|step| step.minutes).sum();
            let segments = segments_for(&steps);
            prop_assert!(segments.windows(2).all(|pair| pair[0].hands != pair[1].hands
                || pair[0].places != pair[1].places
                || pair[0].hands.is_some()));
            prop_assert_eq!(segments.is_empty(), total == 0);
            if total > 0 {
                let chain = Chain::new(segments).unwrap();
                prop_assert_eq!(chain.length_ms(), i64::from(total) * 60_000);
            }
        }
    }
}
