//! Screens. Reads through `store`, writes only through `flow`; templates get finished words and numbers.

pub mod assets;
pub mod form;
pub mod picture;
pub mod shell;

#[cfg(test)]
mod gallery;
