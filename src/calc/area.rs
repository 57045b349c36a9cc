//! What an area is, and how many documents of it are answered at once.

use super::documents::Document;
use super::tree::{self, MOST_VALUES};
use super::{BadInput, typed};
use rayon::iter::{IntoParallelIterator, ParallelIterator};
use schemars::JsonSchema;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::io::{self, Write};
use std::sync::atomic::{AtomicUsize, Ordering};

/// One computation: a typed question, a typed answer. The documentation of both types is their schema and their help.
pub(super) trait Area: 'static {
    /// What `rinsebell calc` calls it.
    const NAME: &'static str;
    /// A document that is answered.
    const EXAMPLE: &'static str;
    /// What is asked.
    type Question: DeserializeOwned + JsonSchema + Send;
    /// What is answered.
    type Answer: Serialize + JsonSchema;

    /// How long an answer will take at most, in steps of a few nanoseconds; 0 where reading takes longest.
    ///
    /// # Errors
    /// [`BadInput`] for a question that is too dear by itself.
    fn work(_: &Self::Question) -> Result<u64, BadInput> {
        Ok(0)
    }

    /// What [`Area::work`] counts and what else makes a question too dear, in sentences, for help and schema.
    fn dear() -> String {
        "No step is counted: reading takes longest.".to_owned()
    }

    /// Computes; `at` of a refusal is a pointer into the question.
    fn answer(question: Self::Question) -> Result<Self::Answer, BadInput>;
}

/// What one call may cost; grows with what was honestly sent.
#[derive(Clone, Copy, Debug)]
struct Bounds {
    work: u64,
    bytes: usize,
}

/// Work of any call, however small (about half a second), and work for each byte of a large one.
const LEAST_WORK: u64 = 300_000_000;
const WORK_A_BYTE: u64 = 30;
/// Answers of any call, and for each byte of a large one.
const LEAST_BYTES: usize = 32 << 20;
const BYTES_A_BYTE: usize = 3;

/// What any call may cost, in sentences, for help and schema.
pub(super) fn dear() -> String {
    format!(
        "Too dear is a call that takes more than {LEAST_WORK} steps (of a few nanoseconds) and more than {WORK_A_BYTE} \
         for each byte sent, or whose answer is longer than {LEAST_BYTES} bytes and than {BYTES_A_BYTE} for each byte \
         sent; an array adds up its documents."
    )
}

/// From so many bytes to read, or so much work, a second core gains more than waking it costs (some 50 µs).
const LEAST_BYTES_SHARED: usize = 16 << 10;
const LEAST_WORK_SHARED: u64 = 100_000;

/// The answers of one call so far, in order.
pub(super) struct Answers {
    out: String,
    many: bool,
    next: usize,
    spent: u64,
    bounds: Bounds,
}

impl Answers {
    /// None yet, for an input of so many bytes: one document or an array of them.
    pub(super) fn new(input_bytes: usize, many: bool) -> Self {
        let bounds = Bounds {
            work: LEAST_WORK.max(WORK_A_BYTE.saturating_mul(input_bytes as u64)),
            bytes: LEAST_BYTES.max(BYTES_A_BYTE.saturating_mul(input_bytes)),
        };
        let out = if many { "[".to_owned() } else { String::new() };
        Answers { out, many, next: 0, spent: 0, bounds }
    }

    /// Their text: an array when an array was asked.
    pub(super) fn into_text(mut self) -> String {
        if self.many {
            self.out.push(']');
        }
        self.out
    }

    fn left(&self) -> usize {
        self.bounds.bytes.saturating_sub(self.out.len())
    }

    fn push(&mut self, text: &str) {
        if self.next > 0 {
            self.out.push(',');
        }
        self.out.push_str(text);
        self.next += 1;
    }
}

/// Why a call ends without an answer.
pub(super) enum Stop {
    /// A document is not JSON within the bounds; the place is within that document.
    Unread(BadInput),
    /// A document is refused; the place is within the whole input.
    Refused(BadInput),
}

/// Answers the next documents of a call; of several bad ones the first is named.
pub(super) fn answer_next<A: Area>(answers: &mut Answers, documents: &[Document<'_>]) -> Result<(), Stop> {
    let place = |document: &Document| document.index.map(|i| format!("/{i}")).unwrap_or_default();
    let refused =
        |document: &Document, bad: BadInput| Stop::Refused(BadInput { at: place(document) + &bad.at, ..bad });

    let bytes: usize = documents.iter().map(|document| document.text.len()).sum();
    let read = |document: &Document| {
        let tree = tree::parse(document.text, MOST_VALUES).map_err(Stop::Unread)?;
        let question = typed::read::<A::Question>(tree).map_err(|bad| refused(document, bad))?;
        let work = A::work(&question).map_err(|bad| refused(document, bad))?;
        Ok((work, question))
    };
    let mut questions = Vec::with_capacity(documents.len());
    let mut stop = None;
    let spent_before = answers.spent;
    for (document, read) in documents.iter().zip(each(documents.iter(), bytes >= LEAST_BYTES_SHARED, read)) {
        let checked = read.and_then(|(work, question)| {
            answers.spent = answers.spent.saturating_add(work);
            let much = answers.spent > answers.bounds.work;
            if much { Err(refused(document, too_much_work(document.index))) } else { Ok(question) }
        });
        match checked {
            Ok(question) => questions.push(question),
            Err(bad) => {
                stop = Some(bad);
                break;
            }
        }
    }

    // What does not fit any more is not kept, so that two hands at work hold no more than one would.
    let (left, made) = (answers.left(), AtomicUsize::new(0));
    let shared = bytes >= LEAST_BYTES_SHARED || answers.spent - spent_before >= LEAST_WORK_SHARED;
    let texts = each(questions.into_iter(), shared, |question| {
        let text = write(&A::answer(question)?, left)?;
        let before = made.fetch_add(text.len(), Ordering::Relaxed);
        Ok(if before + text.len() > left { Written::Dropped(text.len()) } else { Written::Kept(text) })
    });
    let mut bytes = 0;
    for (document, text) in documents.iter().zip(texts) {
        let text = text.map_err(|bad| refused(document, bad))?;
        bytes += text.len();
        match text {
            _ if bytes > left => return Err(refused(document, too_large())),
            Written::Kept(text) => answers.push(&text),
            // Those before it may fit all the same: the one that does not is still to come.
            Written::Dropped(_) => {}
        }
    }
    stop.map_or(Ok(()), Err)
}

/// An answer's text, or how long it was.
enum Written {
    Kept(String),
    Dropped(usize),
}

impl Written {
    fn len(&self) -> usize {
        match self {
            Written::Kept(text) => text.len(),
            Written::Dropped(len) => *len,
        }
    }
}

/// All of them in order, with both cores where they are worth waking a second for.
fn each<T: Send, R: Send>(
    items: impl ExactSizeIterator<Item = T>,
    shared: bool,
    f: impl Fn(T) -> R + Sync + Send,
) -> Vec<R> {
    if shared && items.len() > 1 {
        items.collect::<Vec<_>>().into_par_iter().map(f).collect()
    } else {
        items.map(f).collect()
    }
}

fn too_large() -> BadInput {
    BadInput { error: "the answer would be too large".into(), at: String::new() }
}

fn too_much_work(at: Option<usize>) -> BadInput {
    let error = match at {
        None => "too large to compute in one call",
        Some(_) => "too much to compute in one call, together with the documents before it",
    };
    BadInput { error: error.into(), at: String::new() }
}

/// The JSON text of an answer of at most `most` bytes.
fn write<T: Serialize>(answer: &T, most: usize) -> Result<String, BadInput> {
    let mut text = Bounded { text: Vec::new(), most };
    match serde_json::to_writer(&mut text, answer) {
        Ok(()) => {}
        Err(e) if e.is_io() => return Err(too_large()),
        Err(e) => return Err(BadInput { error: e.to_string(), at: String::new() }),
    }
    String::from_utf8(text.text).map_err(|e| BadInput { error: e.to_string(), at: String::new() })
}

/// Takes no more than it may.
struct Bounded {
    text: Vec<u8>,
    most: usize,
}

impl Write for Bounded {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.text.len() + bytes.len() > self.most {
            return Err(io::ErrorKind::StorageFull.into());
        }
        self.text.extend_from_slice(bytes);
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
