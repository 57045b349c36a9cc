//! What somebody invented tells at a consult. Invented people alone: a form that says nothing is never read as all clear.

use crate::domain::consult::{HomeColour, Own, Scalp, Told};

/// Nothing amiss with anything everybody is asked; `own` are the answers to the service's own questions.
pub(super) fn nothing_amiss(own: Own) -> Told {
    Told {
        reactions: Vec::new(),
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
        own,
    }
}
