//! The data files of `shared/`, loaded and checked into domain types.
//!
//! The files are embedded in the binary, so every command works from any folder; a folder given by path overrides
//! them. A fingerprint over all files is stamped on every run, so that a visit can say which rules it was given by.

pub mod aftercare;
pub mod consent;
pub mod floor;
pub mod growth;
pub mod limits;
pub mod messages;
pub mod protocol_document;
pub mod protocol_text;
#[cfg(test)]
mod protocol_times_tests;
pub mod protocols;
pub mod rules;
mod spanned;

use crate::domain::chemistry::RuleTable;
use crate::domain::chemistry::family::Family;
use crate::domain::chemistry::limits::LimitTable;
use crate::domain::protocol::{Floor, Head, Protocol};
use aftercare::AftercareTable;
use consent::ConsentTable;
use growth::GrowthTable;
use include_dir::{Dir, include_dir};
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fmt;
use std::path::Path;
use std::sync::LazyLock;

static SHARED: Dir<'static> = include_dir!("$CARGO_MANIFEST_DIR/shared");

static EMBEDDED: LazyLock<Reference> = LazyLock::new(|| {
    let mut files = Files::default();
    files.take_embedded(&SHARED);
    Reference::load(&files).expect("the shipped files load: a test holds it")
});

/// Everything the project knows beforehand, checked.
#[derive(Clone, Debug)]
pub struct Reference {
    /// What may meet what.
    pub rules: RuleTable,
    /// What the law lets into a bottle.
    pub limits: LimitTable,
    /// The words a client takes home.
    pub aftercare: AftercareTable,
    /// The words a client signs.
    pub consent: ConsentTable,
    /// The words clients are written to in.
    pub messages: messages::MessageTable,
    /// Published growth.
    pub growth: GrowthTable,
    /// What no protocol goes without.
    pub floor: Floor,
    /// Services as data, by code.
    pub protocols: Vec<Protocol>,
    /// SHA-256 over every file's path and bytes, in hex.
    pub fingerprint: String,
}

/// What is wrong with a file of reference data.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReferenceFault {
    /// The file, relative to `shared/`.
    pub file: String,
    /// What is wrong, for whoever edits it.
    pub error: String,
}

impl fmt::Display for ReferenceFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "shared/{}: {}", self.file, self.error)
    }
}

impl std::error::Error for ReferenceFault {}

impl Reference {
    /// The data shipped in the binary, loaded once.
    pub fn shipped() -> &'static Reference {
        &EMBEDDED
    }

    /// A copy of the shipped data, for whoever holds its own.
    pub fn embedded() -> Reference {
        Self::shipped().clone()
    }

    /// The text of one shipped file, by its path below `shared/`.
    pub fn text(path: &str) -> Option<&'static str> {
        SHARED.get_file(path)?.contents_utf8()
    }

    /// Name and text of every shipped protocol, by name.
    pub fn protocol_texts() -> impl Iterator<Item = (&'static str, &'static str)> {
        SHARED
            .get_dir("protocols")
            .into_iter()
            .flat_map(Dir::files)
            .filter_map(|file| Some((file.path().to_str()?, file.contents_utf8()?)))
            .filter(|(name, _)| name.ends_with(".toml"))
    }

    /// A protocol by its code.
    pub fn protocol(&self, code: &str) -> Option<&Protocol> {
        self.protocols.iter().find(|p| p.code == code)
    }

    /// The service that keeps up what this chemistry began: the retouch of that very family, else of its group
    /// (a relaxer told of as potassium is kept up as sodium). A wave, a gloss has none.
    pub fn retouch_of(&self, family: Family) -> Option<&Protocol> {
        let all = || self.protocols.iter().rev().filter(|p| p.retouch.is_some() && p.head == Head::Retouch);
        all().find(|p| p.family == family).or_else(|| all().find(|p| p.family.group() == family.group()))
    }

    /// The data of a folder laid out like `shared/`.
    ///
    /// # Errors
    /// The first file that cannot be read or does not hold.
    pub fn from_folder(folder: &Path) -> Result<Reference, ReferenceFault> {
        let mut files = Files::default();
        files.take_folder(folder, folder)?;
        Reference::load(&files)
    }

    /// Loads and checks every file.
    ///
    /// # Errors
    /// The first file that is missing or does not hold.
    pub fn load(files: &Files) -> Result<Reference, ReferenceFault> {
        let rules = rules::load(files)?;
        let floor = floor::load(files)?;
        Ok(Reference {
            rules,
            limits: limits::load(files)?,
            aftercare: aftercare::load(files)?,
            consent: consent::load(files)?,
            messages: messages::load(files)?,
            growth: growth::load(files)?,
            protocols: protocols::load(files, &floor)?,
            floor,
            fingerprint: files.fingerprint(),
        })
    }
}

/// Files by their path relative to `shared/`, with `/` between names.
#[derive(Clone, Debug, Default)]
pub struct Files(BTreeMap<String, Vec<u8>>);

impl Files {
    /// Every file directly in a folder, in the order of names.
    pub fn in_folder<'f>(&'f self, folder: &'f str) -> impl Iterator<Item = (&'f str, &'f [u8])> {
        let inside = move |path: &str| path.strip_prefix(folder).is_some_and(|rest| rest.starts_with('/'));
        self.0
            .iter()
            .filter(move |(path, _)| inside(path))
            .map(|(path, bytes)| (path.as_str(), bytes.as_slice()))
    }

    /// One file as TOML.
    ///
    /// # Errors
    /// Missing, not UTF-8, or not what `T` asks for.
    pub fn toml<T: DeserializeOwned>(&self, file: &str) -> Result<T, ReferenceFault> {
        toml::from_str(self.text(file)?).map_err(|e| fault(file, e))
    }

    /// One file as text.
    ///
    /// # Errors
    /// Missing, or not UTF-8.
    pub fn text(&self, file: &str) -> Result<&str, ReferenceFault> {
        let bytes = self.0.get(file).ok_or_else(|| fault(file, "is missing"))?;
        std::str::from_utf8(bytes).map_err(|e| fault(file, e))
    }

    fn fingerprint(&self) -> String {
        let mut hash = Sha256::new();
        // What documents look like rules nothing, nor does a translation: a new field of `calc` or a better word must not
        // make old visits look differently ruled.
        let rules = |path: &str| !path.starts_with("schemas/") && !path.starts_with("words/");
        for (path, bytes) in self.0.iter().filter(|(path, _)| rules(path)) {
            // Lengths keep one file's end from passing for the next one's start.
            hash.update((path.len() as u64).to_le_bytes());
            hash.update(path);
            hash.update((bytes.len() as u64).to_le_bytes());
            hash.update(bytes);
        }
        hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
    }

    fn take_embedded(&mut self, dir: &Dir<'_>) {
        for file in dir.files() {
            self.0.insert(file.path().to_string_lossy().replace('\\', "/"), file.contents().to_vec());
        }
        dir.dirs().for_each(|inner| self.take_embedded(inner));
    }

    fn take_folder(&mut self, root: &Path, folder: &Path) -> Result<(), ReferenceFault> {
        let named =
            |path: &Path| path.strip_prefix(root).unwrap_or(path).to_string_lossy().replace('\\', "/");
        let unread = |path: &Path, e: std::io::Error| fault(&named(path), e);
        for entry in std::fs::read_dir(folder).map_err(|e| unread(folder, e))? {
            let path = entry.map_err(|e| unread(folder, e))?.path();
            if path.is_dir() {
                self.take_folder(root, &path)?;
            } else {
                self.0.insert(named(&path), std::fs::read(&path).map_err(|e| unread(&path, e))?);
            }
        }
        Ok(())
    }
}

/// A fault of one file.
pub fn fault(file: &str, error: impl fmt::Display) -> ReferenceFault {
    ReferenceFault { file: file.to_owned(), error: error.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_files_load_and_have_a_fingerprint() {
        let reference = Reference::shipped();
        assert_eq!(reference.fingerprint.len(), 64);
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("shared");
        assert_eq!(Reference::from_folder(&folder).unwrap().fingerprint, reference.fingerprint);
    }

    #[test]
    fn one_changed_byte_changes_the_fingerprint() {
        let one = Files([("a".to_owned(), b"bc".to_vec())].into());
        let other = Files([("ab".to_owned(), b"c".to_vec())].into());
        assert_ne!(one.fingerprint(), other.fingerprint());
    }

    #[test]
    fn a_missing_file_is_named() {
        let bad = Reference::load(&Files::default()).unwrap_err();
        assert_eq!(bad.to_string(), "shared/tables/rules.toml: is missing");
    }
}
