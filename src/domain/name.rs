//! Names as people write them: one field, words in any order. Which word is the family's nobody here knows, but for
//! "Vane, Ferris": a comma says that what stands before it is said last.

/// What is said first and what is said last of a name: the second is what stands before a comma.
fn parts(name: &str) -> (&str, &str) {
    match name.split_once(',') {
        Some((before, after)) if !after.trim().is_empty() && !after.contains(',') => (after, before),
        _ => (name, ""),
    }
}

/// The name as it is spoken: blanks single, what stands before a comma said last.
#[must_use]
pub fn spoken(name: &str) -> String {
    let (first, last) = parts(name);
    let words: Vec<&str> = first.split_whitespace().chain(last.split_whitespace()).collect();
    words.join(" ")
}

/// The word that is spoken first: what is shown of somebody where few words fit.
#[must_use]
pub fn first_word(name: &str) -> &str {
    parts(name).0.split_whitespace().next().unwrap_or_default()
}

/// A name as everybody near a screen may see it: the word spoken first, and the letter of the one spoken last.
#[must_use]
pub fn short(name: &str) -> String {
    let spoken = spoken(name);
    let mut words = spoken.split(' ');
    let first = words.next().unwrap_or_default();
    match words.next_back().and_then(|w| w.chars().find(|c| c.is_alphanumeric())) {
        Some(letter) => format!("{first} {letter}."),
        None => first.to_string(),
    }
}

/// The letters of the words spoken first and last: "N. A.".
#[must_use]
pub fn initials(name: &str) -> String {
    let letter = |word: &str| word.chars().find(|c| c.is_alphanumeric());
    let spoken = spoken(name);
    let mut words = spoken.split(' ');
    let first = words.next().and_then(letter);
    let last = words.next_back().and_then(letter);
    first.into_iter().chain(last).map(|c| format!("{}.", c.to_uppercase())).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_short_in_the_order_it_is_spoken() {
        for (name, said, cut, letters) in [
            ("Nerys Amblin", "Nerys Amblin", "Nerys A.", "N. A."),
            ("Amblin, Nerys", "Nerys Amblin", "Nerys A.", "N. A."),
            ("Nguyễn  Thị Hoa", "Nguyễn Thị Hoa", "Nguyễn H.", "N. H."),
            ("ana maría del río", "ana maría del río", "ana r.", "A. R."),
            ("Ilka", "Ilka", "Ilka", "I."),
            ("Ilka,", "Ilka,", "Ilka,", "I."),
            ("(Bo) O'Hara", "(Bo) O'Hara", "(Bo) O.", "B. O."),
            ("山田太郎", "山田太郎", "山田太郎", "山."),
            ("  ", "", "", ""),
        ] {
            assert_eq!(
                (spoken(name).as_str(), short(name).as_str(), initials(name).as_str()),
                (said, cut, letters)
            );
        }
    }
}
