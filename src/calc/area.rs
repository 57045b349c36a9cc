//! What an area is, and how many documents of it are answered at once.

use super::tree::{Document, Tree};
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
    fn work(_: &Self::Question) -> u64 {
        0
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

/// The answers of one call so far, in order.
pub(super) struct Answers {
    out: String,
    next: usize,
    spent: u64,
    bounds: Bounds,
}

impl Answers {
    /// None yet, for an input of so many bytes.
    pub(super) fn new(input_bytes: usize) -> Self {
        let bounds = Bounds {
            work: LEAST_WORK.max(WORK_A_BYTE.saturating_mul(input_bytes as u64)),
            bytes: LEAST_BYTES.max(BYTES_A_BYTE.saturating_mul(input_bytes)),
        };
        Answers { out: String::new(), next: 0, spent: 0, bounds }
    }

    /// Their text, without the brackets of an array.
    pub(super) fn into_text(self) -> String {
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

/// Answers the next documents of a call; of several bad ones the first is named.
pub(super) fn answer_next<A: Area>(answers: &mut Answers, documents: Vec<Document>) -> Result<(), BadInput> {
    let place = |at: Option<usize>| at.map(|i| format!("/{i}")).unwrap_or_default();
    let prefixed = |at: Option<usize>| move |bad: BadInput| BadInput { at: place(at) + &bad.at, ..bad };
    let places: Vec<Option<usize>> = documents.iter().map(|document| document.index).collect();
    let trees: Vec<Tree> = documents.into_iter().map(|document| document.tree).collect();

    let read = |tree| typed::read::<A::Question>(tree).map(|question| (A::work(&question), question));
    let mut questions = Vec::with_capacity(trees.len());
    let mut stop = None;
    for (at, read) in places.iter().zip(each(trees, read)) {
        let checked = read.and_then(|(work, question)| {
            answers.spent = answers.spent.saturating_add(work);
            if answers.spent > answers.bounds.work { Err(too_much_work(*at)) } else { Ok(question) }
        });
        match checked {
            Ok(question) => questions.push(question),
            Err(bad) => {
                stop = Some(prefixed(*at)(bad));
                break;
            }
        }
    }

    // What does not fit any more is not kept, so that two hands at work hold no more than one would.
    let (left, made) = (answers.left(), AtomicUsize::new(0));
    let texts = each(questions, |question| {
        let text = write(&A::answer(question)?, left)?;
        let before = made.fetch_add(text.len(), Ordering::Relaxed);
        Ok(if before + text.len() > left { Written::Dropped(text.len()) } else { Written::Kept(text) })
    });
    let mut bytes = 0;
    for (at, text) in places.iter().zip(texts) {
        let text = text.map_err(prefixed(*at))?;
        bytes += text.len();
        match text {
            _ if bytes > left => return Err(prefixed(*at)(too_large())),
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

/// All of them with both cores, in order; one alone without waking a second.
fn each<T: Send, R: Send>(items: Vec<T>, f: impl Fn(T) -> R + Sync + Send) -> Vec<R> {
    if items.len() > 1 { items.into_par_iter().map(f).collect() } else { items.into_iter().map(f).collect() }
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
