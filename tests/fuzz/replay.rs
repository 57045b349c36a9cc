//! Replays the fuzzers' corpus, then a bounded run of changed inputs: the same ones every time.
//!
//! The corpus was made by coverage-guided fuzzing (`Cargo.toml` beside this file says how) and minimised. A failing
//! input is printed as one line that can be put into a file below `corpus/`.

mod check;
mod mutate;

use mutate::Dice;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::time::{Duration, Instant};

/// Changed inputs tried of one target, at most.
const MOST_TRIES: u64 = 3_000;
/// A slow machine stops a target earlier; what it did try is the same sequence.
const LONGEST: Duration = Duration::from_secs(4);
/// Every target makes at least so many, however slow the machine.
const LEAST_TRIES: u64 = 100;
/// Longest input made, bytes.
const MOST_BYTES: usize = 64 << 10;

/// The corpus of one target, by name.
fn corpus(target: &str) -> Vec<(String, Vec<u8>)> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus").join(target);
    let entries = std::fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    let mut found: Vec<_> = entries
        .map(|entry| {
            let path = entry.expect("an entry").path();
            (path.display().to_string(), std::fs::read(&path).expect("a corpus file"))
        })
        .collect();
    found.sort();
    assert!(found.len() >= 2, "no corpus for {target}");
    found
}

fn tried(target: &str, from: &str, input: &[u8], check: &dyn Fn(&[u8])) {
    if catch_unwind(AssertUnwindSafe(|| check(input))).is_err() {
        panic!(
            "{target}, from {from}; put this into tests/fuzz/corpus/{target}/:\n{}",
            String::from_utf8_lossy(input)
        );
    }
}

/// Replays, then mutates: mostly one or two changes to a corpus file, now and then a longer walk.
fn target(target: &str, check: &dyn Fn(&[u8]), change: fn(&[u8], u64) -> Vec<u8>) {
    let corpus = corpus(target);
    for (name, input) in &corpus {
        tried(target, name, input, check);
    }
    let began = Instant::now();
    let seed = target.bytes().fold(0x5eed, |seed, byte| seed * 31 + u64::from(byte));
    let mut dice = Dice(seed);
    for tries in 0..MOST_TRIES {
        if tries >= LEAST_TRIES && began.elapsed() > LONGEST {
            break;
        }
        let (name, input) = &corpus[dice.below(corpus.len())];
        let mut input = input.clone();
        for _ in 0..=dice.below(3) {
            let changed = change(&input, dice.roll());
            if changed.len() <= MOST_BYTES {
                input = changed;
            }
        }
        tried(target, name, &input, check);
    }
}

macro_rules! areas {
    ($($name:ident),*) => {
        $(#[test]
        fn $name() {
            target(stringify!($name), &|input| check::area(stringify!($name), input), mutate::document);
        })*

        #[test]
        fn every_area_has_a_target() {
            let targets = [$(stringify!($name)),*];
            assert!(rinsebell::calc::areas().all(|area| targets.contains(&area)), "an area without a target");
        }
    };
}

areas!(regrowth, strand, limits, rods, exposure, openings, amounts);

#[test]
fn protocol() {
    target("protocol", &check::protocol, mutate::protocol);
}
