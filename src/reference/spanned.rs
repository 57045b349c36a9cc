//! TOML read by hand, so that every fault of a file is told at once and each with its line.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A fault with its line, from 1.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct LineFault {
    /// The line.
    pub line: u32,
    /// What it stands in: "step apply-1".
    pub at: String,
    /// Why, in a sentence.
    pub reason: String,
}

/// The file being read: its lines, and what was found wrong so far.
pub struct Page {
    starts: Vec<usize>,
    faults: RefCell<Vec<LineFault>>,
}

impl Page {
    /// A page of this text.
    pub fn new(text: &str) -> Page {
        let breaks = text.bytes().enumerate().filter(|(_, b)| *b == b'\n').map(|(i, _)| i + 1);
        Page { starts: std::iter::once(0).chain(breaks).collect(), faults: RefCell::default() }
    }

    /// The line of a byte, from 1.
    pub fn line(&self, byte: usize) -> u32 {
        u32::try_from(self.starts.partition_point(|s| *s <= byte)).unwrap_or(u32::MAX)
    }

    /// Notes a fault.
    pub fn fault(&self, line: u32, at: &str, reason: impl Into<String>) {
        self.faults.borrow_mut().push(LineFault { line, at: at.to_owned(), reason: reason.into() });
    }

    /// Every fault, in the order of the lines.
    pub fn into_faults(self) -> Vec<LineFault> {
        let mut faults = self.faults.into_inner();
        faults.sort();
        faults
    }
}

/// A table of the file. Reading a field that is missing or of another kind notes a fault and gives a stand-in,
/// which is never seen: any fault refuses the file. Dropping it notes every field nobody asked for.
pub struct Node<'a> {
    page: &'a Page,
    table: &'a DeTable<'a>,
    /// What it is called in a fault.
    pub at: String,
    /// Where it begins.
    pub line: u32,
    seen: RefCell<BTreeSet<&'static str>>,
}

impl<'a> Node<'a> {
    /// The whole file.
    pub fn root(page: &'a Page, table: &'a DeTable<'a>, at: &str) -> Node<'a> {
        Node { page, table, at: at.to_owned(), line: 1, seen: RefCell::default() }
    }

    fn inner(&self, table: &'a DeTable<'a>, span: Range<usize>, at: String) -> Node<'a> {
        Node { page: self.page, table, at, line: self.page.line(span.start), seen: RefCell::default() }
    }

    /// Notes a fault of a field; of the table where the field is absent.
    pub fn fault(&self, key: &str, reason: impl Into<String>) {
        self.page.fault(self.line_of(key), &self.at, reason);
    }

    /// The line of a field; of the table where the field is absent.
    pub fn line_of(&self, key: &str) -> u32 {
        let found = self.table.iter().find(|(k, _)| k.get_ref().as_ref() == key);
        found.map_or(self.line, |(k, _)| self.page.line(k.span().start))
    }

    /// Every field with its line.
    pub fn lines(&self) -> impl Iterator<Item = (&str, u32)> {
        self.table.iter().map(|(k, _)| (k.get_ref().as_ref(), self.page.line(k.span().start)))
    }

    fn get(&self, key: &'static str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.seen.borrow_mut().insert(key);
        self.table.get(key)
    }

    /// The field is there.
    pub fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    fn need(&self, key: &'static str) -> Option<&'a Spanned<DeValue<'a>>> {
        let found = self.get(key);
        if found.is_none() {
            self.page.fault(self.line, &self.at, format!("{key} is missing"));
        }
        found
    }

    fn wrong<T>(&self, key: &str, kind: &str) -> Option<T> {
        self.fault(key, format!("{key} is not {kind}"));
        None
    }

    /// A text, when it is there.
    pub fn text_if(&self, key: &'static str) -> Option<String> {
        match self.get(key)?.get_ref() {
            DeValue::String(text) => Some(text.to_string()),
            _ => self.wrong(key, "a text"),
        }
    }

    /// A text.
    pub fn text(&self, key: &'static str) -> String {
        self.need(key).and_then(|_| self.text_if(key)).unwrap_or_default()
    }

    /// One letter, when it is there.
    pub fn letter_if(&self, key: &'static str) -> Option<char> {
        let text = self.text_if(key)?;
        let mut letters = text.chars();
        match (letters.next(), letters.next()) {
            (Some(letter), None) => Some(letter),
            _ => self.wrong(key, "one letter"),
        }
    }

    /// A whole number from 0 that fits, when it is there.
    pub fn count_if<T: TryFrom<u64>>(&self, key: &'static str) -> Option<T> {
        let DeValue::Integer(number) = self.get(key)?.get_ref() else {
            return self.wrong(key, "a whole number");
        };
        let read = u64::from_str_radix(number.as_str(), number.radix()).ok();
        match read.and_then(|n| T::try_from(n).ok()) {
            Some(n) => Some(n),
            None => self.wrong(key, "a whole number that fits here"),
        }
    }

    /// A whole number from 0.
    pub fn count<T: TryFrom<u64> + Default>(&self, key: &'static str) -> T {
        self.need(key).and_then(|_| self.count_if(key)).unwrap_or_default()
    }

    /// A number.
    pub fn number(&self, key: &'static str) -> f64 {
        let read = |value: &Spanned<DeValue<'_>>| match value.get_ref() {
            DeValue::Float(n) => n.as_str().parse().ok().filter(|n: &f64| n.is_finite()),
            DeValue::Integer(n) => n.as_str().parse().ok(),
            _ => None,
        };
        let Some(value) = self.need(key) else { return 0.0 };
        read(value).or_else(|| self.wrong(key, "a number")).unwrap_or_default()
    }

    /// Yes or no; no when absent.
    pub fn flag(&self, key: &'static str) -> bool {
        match self.get(key).map(Spanned::get_ref) {
            None => false,
            Some(DeValue::Boolean(yes)) => *yes,
            Some(_) => self.wrong(key, "true or false").unwrap_or_default(),
        }
    }

    /// A word of a list, when it is there.
    pub fn word_if<T>(&self, key: &'static str, read: impl Fn(&str) -> Option<T>) -> Option<T> {
        let word = self.text_if(key)?;
        let found = read(&word);
        if found.is_none() {
            self.fault(key, format!("{key} is not known: {word:?}"));
        }
        found
    }

    /// A word of a list, or the stand-in.
    pub fn word<T>(&self, key: &'static str, read: impl Fn(&str) -> Option<T>, stand_in: T) -> T {
        self.need(key).and_then(|_| self.word_if(key, read)).unwrap_or(stand_in)
    }

    fn list_if(&self, key: &'static str) -> Option<impl Iterator<Item = &'a Spanned<DeValue<'a>>>> {
        match self.get(key)?.get_ref() {
            DeValue::Array(list) => Some(list.iter()),
            _ => self.wrong(key, "a list"),
        }
    }

    /// A list of words, when it is there; a word nobody knows is noted and left out.
    pub fn words_if<T>(&self, key: &'static str, read: impl Fn(&str) -> Option<T>) -> Option<Vec<T>> {
        let mut words = Vec::new();
        for item in self.list_if(key)? {
            let line = self.page.line(item.span().start);
            match item.get_ref() {
                DeValue::String(word) => match read(word) {
                    Some(found) => words.push(found),
                    None => self.page.fault(line, &self.at, format!("{key} is not known: {word:?}")),
                },
                _ => self.page.fault(line, &self.at, format!("{key} holds texts")),
            }
        }
        Some(words)
    }

    /// A list of words.
    pub fn words<T>(&self, key: &'static str, read: impl Fn(&str) -> Option<T>) -> Vec<T> {
        self.need(key).and_then(|_| self.words_if(key, read)).unwrap_or_default()
    }

    /// A table inside, when it is there.
    pub fn node_if(&self, key: &'static str, at: &str) -> Option<Node<'a>> {
        let found = self.get(key)?;
        match found.get_ref() {
            DeValue::Table(table) => {
                let span = found.span().start.max(self.key_start(key));
                Some(self.inner(table, span..span, at.to_owned()))
            }
            _ => self.wrong(key, "a table"),
        }
    }

    fn key_start(&self, key: &str) -> usize {
        self.table.iter().find(|(k, _)| k.get_ref().as_ref() == key).map_or(0, |(k, _)| k.span().start)
    }

    /// Tables in a list, in order; none when absent. `name` names each by its table.
    pub fn nodes(&self, key: &'static str, name: impl Fn(&DeTable<'a>) -> String) -> Vec<Node<'a>> {
        let mut nodes = Vec::new();
        for item in self.list_if(key).into_iter().flatten() {
            match item.get_ref() {
                DeValue::Table(table) => nodes.push(self.inner(table, item.span(), name(table))),
                _ => self.page.fault(
                    self.page.line(item.span().start),
                    &self.at,
                    format!("{key} holds tables"),
                ),
            }
        }
        nodes
    }
}

impl Drop for Node<'_> {
    fn drop(&mut self) {
        let seen = self.seen.borrow();
        for (key, _) in self.table.iter().filter(|(k, _)| !seen.contains(k.get_ref().as_ref())) {
            let reason = format!("there is no field {:?}", key.get_ref());
            self.page.fault(self.page.line(key.span().start), &self.at, reason);
        }
    }
}

/// The text of a field, for naming a table before it is read.
pub fn peek(table: &DeTable<'_>, key: &str) -> String {
    match table.get(key).map(Spanned::get_ref) {
        Some(DeValue::String(text)) => text.to_string(),
        _ => "?".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn faults(text: &str, read: impl Fn(&Node<'_>)) -> Vec<(u32, String)> {
        let page = Page::new(text);
        {
            let table = DeTable::parse(text).expect("well formed");
            let node = Node::root(&page, table.get_ref(), "file");
            read(&node);
        }
        page.into_faults().into_iter().map(|f| (f.line, f.reason)).collect()
    }

    #[test]
    fn each_fault_has_its_line_and_none_hides_another() {
        let text = "a = 1\n\nb = \"x\"\nc = [\"p\",\n  \"q\"]\nd = true\n";
        let found = faults(text, |n| {
            let _ = n.text("a");
            let _: u16 = n.count("b");
            let _ = n.words("c", |w| (w == "p").then_some(()));
            let _ = n.text("e");
        });
        let want = [
            (1, "a is not a text"),
            (1, "e is missing"),
            (3, "b is not a whole number"),
            (5, "c is not known: \"q\""),
            (6, "there is no field \"d\""),
        ];
        assert_eq!(found, want.map(|(line, reason)| (line, reason.to_owned())));
    }

    #[test]
    fn a_number_out_of_its_kind_is_said() {
        let found = faults("a = -3\nb = 70000\n", |n| {
            let _: u16 = n.count("a");
            let _: u16 = n.count("b");
        });
        assert_eq!(found.len(), 2);
    }
}
