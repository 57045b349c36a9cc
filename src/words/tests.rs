//! The catalogue is read, values fall where they belong, a language ends with what was said in it.

use super::spoken::{Language, in_language, plainly, speak, speaking, with};
use super::{catalogue, fill, for_script, lit, of};

#[test]
fn the_spanish_catalogue_is_read_whole() {
    let read = catalogue::spanish().expect("every file is a PO with words for every message");
    assert!(read.words().contains_key("Lock"));
}

#[test]
fn a_language_lasts_as_long_as_the_work() {
    assert_eq!(lit("Lock"), "Lock");
    assert_eq!(with(Language::Spanish, || lit("Lock")), "Bloquear");
    assert_eq!(with(Language::Spanish, || plainly(|| lit("Lock"))), "Lock");
    assert_eq!(with(Language::Pseudo, || of("Lock")), "[Löçk~]");
    assert_eq!(with(Language::Spanish, || of("a salon's own words")), "a salon's own words");
    let unwound = std::panic::catch_unwind(|| with(Language::Spanish, || panic!("as it may")));
    assert!(unwound.is_err());
    assert_eq!(speaking(), Language::English);
}

#[tokio::test]
async fn a_future_speaks_its_language_after_every_wait() {
    let said = in_language(Language::Spanish, async {
        tokio::task::yield_now().await;
        lit("Lock")
    });
    let (said, plain) = tokio::join!(said, async { lit("Lock") });
    assert_eq!((said, plain), ("Bloquear", "Lock"));
}

#[tokio::test]
async fn a_request_changes_its_language_once_it_is_known_who_asks() {
    let said = in_language(Language::English, async {
        speak(Language::Spanish);
        tokio::task::yield_now().await;
        lit("Lock")
    });
    assert_eq!(said.await, "Bloquear");
    speak(Language::Spanish);
    assert_eq!(speaking(), Language::English, "outside of a request nothing changes");
}

#[test]
fn values_fall_where_they_belong() {
    assert_eq!(tr!("{} of {}", 2, 3), "2 of 3");
    assert_eq!(tr!("{1} before {0}", 2, "x"), "x before 2");
    let who = "Mara";
    assert_eq!(tr!("{who}, {} mm {{as it lies}}", 12, who = who), "Mara, 12 mm {as it lies}");
    assert_eq!(fill("{nobody} {} }", &[]), "{nobody} {} }");
    assert_eq!(trn!(1_u8, "{n} visit", "{n} visits"), "1 visit");
    assert_eq!(trn!(0_i64, "{n} visit", "{n} visits"), "0 visits");
    assert_eq!(trn!(4_usize, "{who}: {n} visit", "{who}: {n} visits", who = who), "Mara: 4 visits");
}

#[test]
fn english_has_no_words_for_scripts() {
    assert_eq!(for_script(), "");
}

#[test]
fn the_first_wish_that_is_ours_is_taken() {
    assert_eq!(Language::of_wishes("de-AT, es-MX;q=0.8, en;q=0.5"), Some(Language::Spanish));
    assert_eq!(Language::of_wishes("fr"), None);
    assert_eq!(Language::of_tag("en-x-pseudo"), Some(Language::Pseudo));
}
