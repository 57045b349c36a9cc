//! One finding of a planned service, and its ways out.

use super::PlannedProduct;
use crate::domain::chemistry::Verdict;
use crate::domain::consult::Sought;
use crate::domain::length;
use crate::domain::protocol::TestKind;
use time::Date;

/// What would change a finding, and where that is done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Way {
    /// Words alone.
    Words(String),
    /// On the client's tests: what was placed is read there.
    Tests(String),
    /// In a visit that places or does this test.
    Visit(TestKind, String),
    /// On the client's readings.
    Readings(String),
    /// In the consult.
    Consult(String),
    /// In the consult, with the questions of this kind of service.
    Questions(Sought, String),
    /// In the client's record.
    Record(String),
    /// On the Shelf.
    Shelf(String),
}

impl Way {
    /// The words.
    pub fn words(&self) -> &str {
        match self {
            Way::Words(w)
            | Way::Tests(w)
            | Way::Visit(_, w)
            | Way::Readings(w)
            | Way::Consult(w)
            | Way::Questions(_, w)
            | Way::Record(w)
            | Way::Shelf(w) => w,
        }
    }

    /// The code kept with a plan.
    pub const fn code(&self) -> &'static str {
        match self {
            Way::Words(_) => "words",
            Way::Tests(_) => "tests",
            Way::Visit(kind, _) => kind.code(),
            Way::Readings(_) => "readings",
            Way::Consult(_) => "consult",
            Way::Questions(kind, _) => match kind {
                Sought::Curl => "ask-curl",
                Sought::Wave => "ask-wave",
                Sought::Relaxer => "ask-relaxer",
                Sought::Colour => "ask-colour",
                Sought::Lightener => "ask-lightener",
            },
            Way::Record(_) => "record",
            Way::Shelf(_) => "shelf",
        }
    }
}

/// One thing found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Letters of the applications it is about; empty: the whole service.
    pub letters: String,
    /// What it means.
    pub verdict: Verdict,
    /// Where on the strand, mm.
    pub span_mm: Option<(f64, f64)>,
    /// Code of the rule.
    pub rule: String,
    /// What was found, in a line.
    pub title: String,
    /// Why, in a sentence or two.
    pub why: String,
    /// Where the rule comes from.
    pub source: String,
    /// A wait ends this day.
    pub until: Option<Date>,
    /// Possible with a trim of at least the first, 19 times in 20 with the second, mm.
    pub trim_mm: Option<(f64, f64)>,
    /// A strand test decides.
    pub strand_test: bool,
    /// It is about a closing product.
    pub closing: bool,
    /// Ways out, in the order to try.
    pub ways: Vec<Way>,
}

impl Found {
    /// A finding about the whole service.
    pub(super) fn new(verdict: Verdict, rule: &str, title: impl Into<String>) -> Found {
        Found {
            letters: String::new(),
            verdict,
            span_mm: None,
            rule: rule.into(),
            title: title.into(),
            why: String::new(),
            source: String::new(),
            until: None,
            trim_mm: None,
            strand_test: false,
            closing: false,
            ways: Vec::new(),
        }
    }

    pub(super) fn of(mut self, product: &PlannedProduct) -> Found {
        self.letters = product.letter.to_string();
        self.closing = !product.opening;
        self
    }

    pub(super) fn why(mut self, why: impl Into<String>) -> Found {
        self.why = why.into();
        self
    }

    pub(super) fn source(mut self, source: impl Into<String>) -> Found {
        self.source = source.into();
        self
    }

    pub(super) fn way(mut self, way: Way) -> Found {
        self.ways.push(way);
        self
    }

    pub(super) fn tested(mut self) -> Found {
        self.strand_test = true;
        self
    }
}

/// The client said yes to a trim: nothing goes on before it is cut and looked at.
pub fn cut_first(mm: f64) -> Found {
    Found::new(Verdict::Wait, "cut-first", tr!("Cut {mm} first, then look", mm = length::as_written(mm)))
        .why(tr!(
            "Wet hair that hangs straight is still relaxed; what the record says may lie a little elsewhere."
        ))
        .source(tr!("common practice, no source"))
        .way(Way::Words(
            tr!("Once it is cut, note it here: the service is checked again on what is left.").into(),
        ))
}
