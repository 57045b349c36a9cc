//! Every screen's routes, one line a screen. The access matrix test reads this table:
//! a route that is not in it does not exist.

use crate::web::routes::Line;

/// All lines of all screens.
pub const TABLE: &[&[Line]] = &[
    crate::web::bookings::LINES,
    crate::web::clients::LINES,
    crate::web::consents::LINES,
    crate::web::consults::LINES,
    crate::web::day::LINES,
    crate::web::floor::LINES,
    crate::web::followups::LINES,
    crate::web::hair_photos::LINES,
    crate::web::hair_tests::LINES,
    crate::web::health::LINES,
    crate::web::live::LINES,
    crate::web::lot_entry::LINES,
    crate::web::lots::LINES,
    crate::web::openings::LINES,
    crate::web::product_page::LINES,
    crate::web::products::LINES,
    crate::web::proof::LINES,
    crate::web::plan_start::LINES,
    crate::web::protocols::LINES,
    crate::web::plans::LINES,
    crate::web::readings::LINES,
    crate::web::recall::LINES,
    crate::web::regrowth::LINES,
    crate::web::run::LINES,
    crate::web::scan::LINES,
    crate::web::sheet_times::LINES,
    crate::web::shelf::LINES,
    crate::web::sign_in::LINES,
    crate::web::skin_tests::LINES,
    crate::web::team::LINES,
    crate::web::test_visits::LINES,
    crate::web::tests::LINES,
    crate::web::strands::LINES,
];
