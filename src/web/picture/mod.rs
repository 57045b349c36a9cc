//! Pictures drawn on the server as SVG, from plain numbers and words.
//!
//! Places along an axis are percentages in attributes and heights are pixels, without a viewBox:
//! text keeps its size on every screen, and no inline style is needed. A label is dropped, not
//! shortened, where it does not fit: [`mark::fit`] names the narrowest picture it fits in.
//! Every picture is `role="img"` with a sentence; the table beside it is the screen's own.

pub mod axis;
pub mod clock;
pub mod fan;
pub mod head_arrow;
pub mod head_map;
pub mod hours;
pub mod lane;
pub mod lying;
pub mod mark;
pub mod regrowth;
pub mod strand_ruler;
mod strand_sheet;
pub mod track;
pub mod weeks;
pub mod window;

pub use clock::{Clock, Sense};
pub use mark::{Pattern, Verdict};
