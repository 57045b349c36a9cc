//! Strand: what is in a client's hair, how it grows, what was felt and tested.

use crate::web::routes::Line;

/// The routes of this screen.
pub const LINES: &[Line] = &[];
