//! The data files of `shared/`, loaded and checked into domain types.
//!
//! Embedded in the binary, so that `rinsebell calc` and `rinsebell check` work from any folder.

use std::fmt::Write as _;

use include_dir::{Dir, include_dir};
use sha2::{Digest, Sha256};

static SHARED: Dir<'static> = include_dir!("$CARGO_MANIFEST_DIR/shared");

/// All reference data, checked.
#[derive(Clone, Debug)]
pub struct Reference {
    /// SHA-256 over every file of `shared/`, in hex: stamped on every run.
    pub fingerprint: String,
}

impl Reference {
    /// The data embedded at build time.
    pub fn embedded() -> Reference {
        let mut files = Vec::new();
        gather(&SHARED, &mut files);
        files.sort();
        let mut sum = Sha256::new();
        for (path, contents) in files {
            sum.update((path.len() as u64).to_le_bytes());
            sum.update(path.as_bytes());
            sum.update((contents.len() as u64).to_le_bytes());
            sum.update(contents);
        }
        let fingerprint = sum.finalize().iter().fold(String::new(), |mut hex, byte| {
            // Writing to a String cannot fail.
            let _ = write!(hex, "{byte:02x}");
            hex
        });
        Reference { fingerprint }
    }

    /// The text of one file below `shared/`.
    pub fn text(path: &str) -> Option<&'static str> {
        SHARED.get_file(path)?.contents_utf8()
    }
}

fn gather(dir: &'static Dir<'static>, files: &mut Vec<(&'static str, &'static [u8])>) {
    files.extend(dir.files().filter_map(|file| Some((file.path().to_str()?, file.contents()))));
    dir.dirs().for_each(|inner| gather(inner, files));
}
