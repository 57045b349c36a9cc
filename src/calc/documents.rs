//! An input cut into its documents, unread, so that both cores read them.

use super::tree::MOST_ITEMS;

/// Documents answered together: so many at most, or so many bytes of them.
const MOST_TOGETHER: usize = 512;
const MOST_BYTES_TOGETHER: usize = 1 << 20;

/// One document, as it was sent.
#[derive(Clone, Copy)]
pub(super) struct Document<'i> {
    /// Its JSON text.
    pub text: &'i [u8],
    /// Its place in the outer array, if there is one.
    pub index: Option<usize>,
}

/// The documents of an input.
pub(super) struct Cut<'i> {
    documents: Vec<Document<'i>>,
    /// Whether the input is an array.
    pub many: bool,
    /// Whether the array cannot be read beyond its last document here.
    pub broken: bool,
}

impl<'i> Cut<'i> {
    /// Cuts an array at its commas; anything else is one document. Only strings and brackets are looked at: what
    /// stands between two commas is JSON or refused when it is read.
    pub(super) fn new(input: &'i [u8]) -> Self {
        let begin = input.iter().position(|byte| !is_blank(byte)).unwrap_or(0);
        if input.get(begin) != Some(&b'[') {
            let documents = vec![Document { text: input, index: None }];
            return Cut { documents, many: false, broken: false };
        }
        let mut cut = Cut { documents: Vec::new(), many: true, broken: true };
        let (mut depth, mut in_text, mut from, mut at) = (0_usize, false, begin + 1, begin);
        while let Some(byte) = input.get(at) {
            match byte {
                b'\\' if in_text => at += 1,
                b'"' => in_text = !in_text,
                _ if in_text => {}
                b'[' | b'{' => depth += 1,
                b']' | b'}' => depth -= 1,
                b',' if depth == 1 => {
                    if !cut.push(&input[from..at]) {
                        return cut;
                    }
                    from = at + 1;
                }
                _ => {}
            }
            if depth == 0 {
                break;
            }
            at += 1;
        }
        let Some(last) = input.get(from..at) else { return cut };
        let empty = cut.documents.is_empty() && last.iter().all(is_blank);
        let taken = empty || cut.push(last);
        // Unclosed, or something after the end.
        cut.broken = !taken || input.get(at) != Some(&b']') || !input[at + 1..].iter().all(is_blank);
        cut
    }

    fn push(&mut self, text: &'i [u8]) -> bool {
        let room = self.documents.len() < MOST_ITEMS;
        if room {
            self.documents.push(Document { text, index: Some(self.documents.len()) });
        }
        room
    }

    /// Its documents in rows that are answered together.
    pub(super) fn rows(&self) -> impl Iterator<Item = &[Document<'i>]> {
        let mut left = self.documents.as_slice();
        std::iter::from_fn(move || {
            let mut bytes = 0;
            let fits = |document: &&Document| {
                bytes += document.text.len();
                bytes <= MOST_BYTES_TOGETHER
            };
            let together = left.iter().take(MOST_TOGETHER).take_while(fits).count().max(1);
            let (row, rest) = left.split_at_checked(together)?;
            left = rest;
            Some(row)
        })
    }
}

/// White space of RFC 8259 §2.
fn is_blank(byte: &u8) -> bool {
    b" \t\r\n".contains(byte)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(text: &str) -> (Vec<String>, bool) {
        let cut = Cut::new(text.as_bytes());
        let texts = cut.rows().flatten().map(|one| String::from_utf8_lossy(one.text).into_owned());
        (texts.collect(), cut.broken)
    }

    #[test]
    fn an_array_is_cut_at_its_own_commas_only() {
        let whole = |items: &[&str]| (items.iter().map(|item| (*item).to_owned()).collect::<Vec<_>>(), false);
        assert_eq!(
            cut(r#" [{"a":[1,2]},{"b":"],\"},{"}] "#),
            whole(&[r#"{"a":[1,2]}"#, r#"{"b":"],\"},{"}"#])
        );
        assert_eq!(cut("[ ]"), whole(&[]));
        assert_eq!(cut("[1,]"), whole(&["1", ""]));
        assert_eq!(cut(r#"{"a":[1,2]}"#), whole(&[r#"{"a":[1,2]}"#]));
        for broken in ["[", "[1", "[1,", "[1]]", "[1] 2", r#"["a]"#, r#"["a\"#, "[1}"] {
            assert!(cut(broken).1, "{broken}");
        }
    }

    #[test]
    fn more_documents_than_may_be_are_broken_and_none_is_lost_before() {
        let many = |n: usize| format!("[{}]", vec!["{}"; n].join(","));
        assert_eq!((cut(&many(MOST_ITEMS)).0.len(), cut(&many(MOST_ITEMS)).1), (MOST_ITEMS, false));
        assert_eq!((cut(&many(MOST_ITEMS + 1)).0.len(), cut(&many(MOST_ITEMS + 1)).1), (MOST_ITEMS, true));
    }
}
