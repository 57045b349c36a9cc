//! Chemistry of what is put on hair.

pub mod family;
