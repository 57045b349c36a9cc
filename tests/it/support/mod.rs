//! A salon to test in: one throw-away cluster a binary, one database a test, the real router.

mod browser;
pub mod program;
mod salon;

pub use browser::{Answer, Browser};
pub use salon::{Salon, Staff};
