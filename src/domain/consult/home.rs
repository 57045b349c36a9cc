//! What a client is asked at home before the consult. It settles nothing: every question of the consult is asked again in
//! the chair (common practice, no source). It gives the client time to look at boxes and dates.

use crate::domain::chemistry::family::coded;

coded! {
    /// A question answered at home; the words are the stylist's.
    HomeQuestion {
        Reaction = "reaction", "Ever itching, swelling, blisters or burning from a product for hair or skin";
        BlackTattoo = "black-tattoo", "Ever a temporary black tattoo (“black henna”)";
        ScalpNow = "scalp-now", "Scalp sore, scratched or treated now";
        Pregnant = "pregnant", "Pregnant";
        Medication = "medication", "Medication";
        HomeColour = "home-colour", "Colour put on at home in the last two years";
        Restructured = "restructured", "Hair relaxed, straightened or curled with a product";
        Lightened = "lightened", "Hair lightened";
    }
}

coded! {
    /// How it was answered.
    HomeAnswer {
        Yes = "yes", "yes";
        No = "no", "no";
        NotSure = "not-sure", "not sure";
    }
}

/// Longest text of either kind, characters.
pub const HOME_TEXT_MOST: usize = 1000;

/// What was answered at home; a question left out has no answer.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct HomeTold {
    answers: Vec<(HomeQuestion, HomeAnswer)>,
    /// What was done to the hair, and when, in the client's own words.
    pub history: String,
    /// Anything else.
    pub more: String,
}

impl HomeTold {
    /// Answers in the order of the questions, each at most once; none when nothing at all is said.
    #[must_use]
    pub fn of(
        answer: impl Fn(HomeQuestion) -> Option<HomeAnswer>,
        history: String,
        more: String,
    ) -> Option<HomeTold> {
        let answers: Vec<_> = HomeQuestion::ALL.into_iter().filter_map(|q| Some((q, answer(q)?))).collect();
        let said = !answers.is_empty() || !history.is_empty() || !more.is_empty();
        said.then_some(HomeTold { answers, history, more })
    }

    /// The answers, in the order of the questions.
    #[must_use]
    pub fn answers(&self) -> &[(HomeQuestion, HomeAnswer)] {
        &self.answers
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_said_is_no_answer_and_the_order_is_that_of_the_questions() {
        assert_eq!(HomeTold::of(|_| None, String::new(), String::new()), None);
        let told = HomeTold::of(
            |q| matches!(q, HomeQuestion::Lightened | HomeQuestion::Reaction).then_some(HomeAnswer::NotSure),
            String::new(),
            String::new(),
        )
        .expect("two answers");
        let order: Vec<_> = told.answers().iter().map(|(q, _)| *q).collect();
        assert_eq!(order, [HomeQuestion::Reaction, HomeQuestion::Lightened]);
        assert!(HomeTold::of(|_| None, "box dye in May".into(), String::new()).is_some());
    }
}
