//! A salon to test in: one throw-away cluster a binary, one database a test, the real router.

pub mod bare;
mod browser;
mod desk;
mod hands;
pub mod plain_http;
pub mod program;
mod salon;
mod stage;
mod walk;

pub use browser::{Answer, Browser};
pub use salon::{PASSPHRASE, PIN, Salon};
pub use stage::Stage;
pub use walk::{Walked, start, steps_until, walked_until};
