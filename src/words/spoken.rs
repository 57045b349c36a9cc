//! Which language is spoken, for as long as something is being said.

use std::cell::Cell;
use std::future::Future;
use std::pin::Pin;
use std::task::{Context, Poll};

/// A language of the screens.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Language {
    /// As written in the source.
    #[default]
    English,
    /// `shared/words/es/`.
    Spanish,
    /// English with accents, longer, in brackets: what stands on a screen without them was forgotten.
    Pseudo,
}

impl Language {
    /// All a person may choose.
    pub const CHOICES: [Language; 2] = [Language::English, Language::Spanish];

    /// The tag of BCP 47; the pseudo-language has one for private use.
    #[must_use]
    pub const fn tag(self) -> &'static str {
        match self {
            Language::English => "en",
            Language::Spanish => "es",
            Language::Pseudo => "en-x-pseudo",
        }
    }

    /// The language's own name for itself.
    #[must_use]
    pub const fn own_name(self) -> &'static str {
        match self {
            Language::English => "English",
            Language::Spanish => "Español",
            Language::Pseudo => "[Þšéûdö]",
        }
    }

    /// The language of a tag that is one of ours.
    #[must_use]
    pub fn of_tag(tag: &str) -> Option<Language> {
        [Language::English, Language::Spanish, Language::Pseudo].into_iter().find(|l| l.tag() == tag)
    }

    /// The first wish of an Accept-Language header (RFC 9110, 12.5.4) that is one of ours, by its primary subtag.
    /// Weights are not sorted: browsers write the best first.
    #[must_use]
    pub fn of_wishes(header: &str) -> Option<Language> {
        header.split(',').take(20).find_map(|wish| {
            let tag = wish.split(';').next().unwrap_or("").trim();
            let primary = tag.split('-').next().unwrap_or("").to_ascii_lowercase();
            Language::CHOICES.into_iter().find(|l| l.tag() == primary)
        })
    }
}

/// What a length is said in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Unit {
    /// As kept and calculated.
    #[default]
    Mm,
    /// The international inch.
    Inch,
}

impl Unit {
    /// All a person may choose.
    pub const CHOICES: [Unit; 2] = [Unit::Mm, Unit::Inch];

    /// Its symbol: the code it is kept as, and what stands after a number, in every language.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Unit::Mm => "mm",
            Unit::Inch => "in",
        }
    }

    /// The unit of a symbol that is one of ours.
    #[must_use]
    pub fn of_symbol(symbol: &str) -> Option<Unit> {
        Unit::CHOICES.into_iter().find(|u| u.symbol() == symbol)
    }
}

thread_local! {
    static MEASURED: Cell<Unit> = const { Cell::new(Unit::Mm) };
    static SPOKEN: Cell<Language> = const { Cell::new(Language::English) };
    /// True while a future of [`in_language`] is polled on this thread.
    static SERVED: Cell<bool> = const { Cell::new(false) };
}

/// The language spoken just now on this thread.
#[must_use]
pub fn speaking() -> Language {
    SPOKEN.get()
}

/// What lengths are said in just now on this thread.
#[must_use]
pub fn measuring() -> Unit {
    MEASURED.get()
}

/// Puts the language and the unit before back, also when the work panics.
struct Back(Language, Unit);

impl Drop for Back {
    fn drop(&mut self) {
        SPOKEN.set(self.0);
        MEASURED.set(self.1);
    }
}

/// From here on this request is answered in this language: said once it is known who asks. Outside of
/// [`in_language`] it says nothing to anybody.
pub fn speak(language: Language) {
    if SERVED.get() {
        SPOKEN.set(language);
    }
}

/// From here on this request is answered in this unit of length, as [`speak`] does for its language.
pub fn measure_in(unit: Unit) {
    if SERVED.get() {
        MEASURED.set(unit);
    }
}

/// What `work` says, it says in this language.
pub fn with<T>(language: Language, work: impl FnOnce() -> T) -> T {
    let _back = Back(SPOKEN.replace(language), measuring());
    work()
}

/// Lengths in what `work` says are said in this unit.
pub fn with_unit<T>(unit: Unit, work: impl FnOnce() -> T) -> T {
    let _back = Back(speaking(), MEASURED.replace(unit));
    work()
}

/// What `work` says goes on record: in English and in millimetres, whoever speaks.
pub fn plainly<T>(work: impl FnOnce() -> T) -> T {
    with_unit(Unit::Mm, || with(Language::English, work))
}

/// What this future says, it says in this language until it [`speak`]s another, on whichever thread it goes on;
/// lengths in millimetres until it is told to [`measure_in`] another unit.
pub fn in_language<F: Future>(language: Language, future: F) -> InLanguage<F> {
    InLanguage { language, unit: Unit::Mm, stays: false, future: Box::pin(future) }
}

/// The same, with lengths in this unit from the beginning.
pub fn in_language_and_unit<F: Future>(language: Language, unit: Unit, future: F) -> InLanguage<F> {
    InLanguage { language, unit, stays: false, future: Box::pin(future) }
}

/// The same, and [`speak`] changes nothing.
pub fn only_in_language<F: Future>(language: Language, future: F) -> InLanguage<F> {
    InLanguage { language, unit: Unit::Mm, stays: true, future: Box::pin(future) }
}

/// A future of [`in_language`].
pub struct InLanguage<F> {
    language: Language,
    unit: Unit,
    stays: bool,
    future: Pin<Box<F>>,
}

impl<F: Future> Future for InLanguage<F> {
    type Output = F::Output;

    fn poll(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<F::Output> {
        let before = SERVED.replace(!self.stays);
        let (polled, language, unit) = with_unit(self.unit, || {
            with(self.language, || (self.future.as_mut().poll(cx), speaking(), measuring()))
        });
        SERVED.set(before);
        (self.language, self.unit) = (language, unit);
        polled
    }
}
