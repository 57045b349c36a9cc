//! One integration binary; one file a noun.

mod calc;
