//! Pure rules of the trade: no clock, no database, no I/O, nothing random, nothing unordered.
//! Later modules may use earlier ones in this order.

pub mod access;
// What every other module may say.
pub mod amounts;
pub mod booking;
pub mod calendar_feed;
pub mod call;
pub mod chemistry;
pub mod length;
pub mod name;
pub mod table_file;
// After table_file: rows of a file as clients.
pub mod client_import;
pub mod consult;
pub mod exposure;
pub mod followup;
pub mod growth;
// After growth and followup: who is due, and who is called first.
pub mod due;
pub mod gs1;
pub mod hair_test;
pub mod ids;
pub mod incident;
pub mod message;
pub mod overview;
pub mod plan_check;
// After plan_check: what was felt names the hair.
pub mod protocol;
pub mod qualification;
pub mod rods;
pub mod run;
pub mod sheet;
pub mod skin_test;
pub mod stock;
// After stock: a lot is judged for what its product is used as.
pub mod lot;
pub mod strand;
pub mod units;
pub mod waiting;
pub mod words;

#[cfg(test)]
mod properties;
