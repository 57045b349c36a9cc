//! What a form shows when it comes back: what is wrong, field by field, in the order of the page.

/// One thing wrong with a form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FieldError {
    /// Name of the field as sent, also the id the summary links to.
    pub name: String,
    /// What is wrong and what would be right, as a sentence.
    pub words: String,
}

/// Everything wrong with a form, in the order of the page. Empty on the first showing.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Errors(pub Vec<FieldError>);

impl Errors {
    /// A form nobody has sent yet, or one with nothing wrong.
    #[must_use]
    pub fn none() -> Self {
        Self::default()
    }

    /// Notes `words`, ours, against the field `name`; those of a constant are said in the language spoken here.
    pub fn note(&mut self, name: impl Into<String>, words: impl Into<String>) {
        let words: String = words.into();
        let words = crate::words::of(&words).to_owned();
        self.0.push(FieldError { name: name.into(), words });
    }

    /// True when nothing is wrong.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// What is wrong with the field `name`, or the empty string.
    #[must_use]
    pub fn of(&self, name: &str) -> &str {
        self.0.iter().find(|error| error.name == name).map_or("", |error| &error.words)
    }

    /// True for the first field in error: it takes the focus.
    #[must_use]
    pub fn is_first(&self, name: &str) -> bool {
        self.0.first().is_some_and(|error| error.name == name)
    }
}

/// One choice of a select, a row of value buttons or a group of boxes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// The code sent.
    pub code: String,
    /// The words shown.
    pub words: String,
    /// Chosen already.
    pub chosen: bool,
}

impl Choice {
    /// Choices from (code, words of ours) pairs, said in the language spoken, those in `chosen` marked.
    #[must_use]
    pub fn list<'a>(pairs: impl IntoIterator<Item = (&'a str, &'a str)>, chosen: &[&str]) -> Vec<Self> {
        Self::names(pairs.into_iter().map(|(code, words)| (code, crate::words::of(words))), chosen)
    }

    /// The same of names: of people, products, places, lots. They are shown as people wrote them: somebody called May is
    /// no month.
    #[must_use]
    pub fn names<'a>(pairs: impl IntoIterator<Item = (&'a str, &'a str)>, chosen: &[&str]) -> Vec<Self> {
        pairs
            .into_iter()
            .map(|(code, words)| Self {
                code: code.into(),
                words: words.into(),
                chosen: chosen.contains(&code),
            })
            .collect()
    }
}

/// One reason an act is refused, with its way out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reason {
    /// The reason, as a sentence.
    pub words: String,
    /// Words of the way out, empty when there is none.
    pub way: String,
    /// Where the way out is, empty when it is only words.
    pub href: String,
}

impl Reason {
    /// A reason without a link.
    #[must_use]
    pub fn plain(words: impl Into<String>) -> Self {
        Self { words: words.into(), way: String::new(), href: String::new() }
    }

    /// A reason with its way out.
    #[must_use]
    pub fn with_way(words: impl Into<String>, way: impl Into<String>, href: impl Into<String>) -> Self {
        Self { words: words.into(), way: way.into(), href: href.into() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_field_in_error_takes_the_focus() {
        let mut errors = Errors::none();
        assert!(errors.is_empty() && !errors.is_first("name"));
        errors.note("name", "Write a name.");
        errors.note("mm", "Write millimetres, such as 23.");
        assert!(errors.is_first("name") && !errors.is_first("mm"));
        assert_eq!(errors.of("mm"), "Write millimetres, such as 23.");
        assert_eq!(errors.of("other"), "");
    }

    #[test]
    fn somebody_called_may_is_no_month() {
        use crate::words::{Language, with};
        let words = |list: Vec<Choice>| list.into_iter().map(|c| c.words).collect::<Vec<_>>();
        let spoken = with(Language::Spanish, || {
            [words(Choice::list([("5", "May")], &[])), words(Choice::names([("5", "May")], &[]))].concat()
        });
        assert_eq!(spoken, ["may", "May"]);
        assert_eq!(with(Language::Spanish, || tr!("{name} first", name = "May")), "May primero");
    }

    #[test]
    fn choices_keep_their_order_and_mark_the_chosen() {
        let list = Choice::list([("a", "intact"), ("b", "broken")], &["b"]);
        assert_eq!(list.iter().map(|choice| choice.chosen).collect::<Vec<_>>(), [false, true]);
    }
}
