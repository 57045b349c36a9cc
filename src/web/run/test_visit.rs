//! What a test visit is to write down, on the Run screen: the way to the form, and what stands there by now.

use super::view::{Maker, link};
use crate::domain::access::Act;
use crate::domain::protocol::{Kind, TestKind};
use crate::domain::run::headline::NextAct;
use crate::web::bar::MainAct;

/// The panel of a test visit.
pub(super) struct TestPanel {
    pub(super) client: i64,
    /// A service that reads the tests, no visit of its own.
    pub(super) service: bool,
    pub(super) title: &'static str,
    /// The form it is written into.
    pub(super) href: String,
    /// What was written down since the visit began, one line a test.
    pub(super) written: Vec<String>,
}

/// Words of the act that leads to the form.
fn act_words(test: TestKind) -> &'static str {
    match test {
        TestKind::PatchTest => tr!("Write down what was placed"),
        TestKind::StrandTest => tr!("Write down the strand test"),
        TestKind::MetallicSaltTest => tr!("Write down the metallic-salt test"),
    }
}

const fn place_on_page(test: TestKind) -> &'static str {
    match test {
        TestKind::PatchTest => "place-skin",
        TestKind::StrandTest => "note-strand",
        TestKind::MetallicSaltTest => "note-salt",
    }
}

impl Maker<'_> {
    fn test(&self) -> Option<TestKind> {
        crate::flow::test_visits::test_of(&self.loaded.frame.protocol)
    }

    fn test_href(&self, test: TestKind) -> String {
        format!("/clients/{}/tests#{}", self.loaded.run.client_id, place_on_page(test))
    }

    /// The panel; none while the station is locked and for who sees no health answers.
    pub(super) fn test_panel(&self) -> Option<TestPanel> {
        let test = self.test().filter(|_| self.seat.may(Act::SeeHealth))?;
        let service = self.loaded.frame.protocol.kind == Kind::Service;
        // A service looks at them in one step; a visit is about nothing else.
        if service && self.state.step_in_hand().is_none_or(|s| s.records.is_none()) {
            return None;
        }
        Some(TestPanel {
            client: self.loaded.run.client_id,
            service,
            title: act_words(test),
            href: self.test_href(test),
            written: self.around.written.clone(),
        })
    }

    /// In the step that records a test the first act is to write it down; once it stands, going on is.
    pub(super) fn write_down(&self, act: &NextAct) -> Option<MainAct> {
        let goes_on = matches!(act, NextAct::FinishStep(_) | NextAct::StartStep(_));
        if !goes_on || !self.seat.may(Act::SeeHealth) || self.around.stands {
            return None;
        }
        let test = self.state.step_in_hand()?.records?;
        link(act_words(test), &self.test_href(test))
    }
}
