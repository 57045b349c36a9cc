//! How a sentence is put together.

/// The words with a capital in front, as they begin a sentence.
#[must_use]
pub fn capital(words: &str) -> String {
    let mut chars = words.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

#[cfg(test)]
mod tests {
    use super::capital;

    #[test]
    fn a_sentence_begins_with_a_capital() {
        assert_eq!(
            [capital("back left"), capital("é"), capital("")],
            ["Back left".to_owned(), "É".to_owned(), String::new()]
        );
    }
}
