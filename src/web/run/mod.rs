//! The Run screen: one service being given.

mod acts;
mod acts_bar;
mod around;
mod bowl;
mod checks;
mod clocks;
mod facts;
mod head;
mod lately;
mod page;
mod panels;
pub mod practice;
mod refused;
pub mod rehearsal;
mod test_visit;
mod view;
mod wrong_taps;

use crate::web::routes::{Line, Open, lines};

/// The routes of the screen. Facts, stings and stops ask for nobody: any station, locked or not.
pub const LINES: &[Line] = lines![
    get "/runs/{id}" Open::Station => page::show,
    get "/runs/{id}/live" Open::Station => page::live,
    get "/runs/{id}/events" Open::Person => page::events,
    get "/runs/{id}/aftercare" Open::To(Act::FollowUp) => page::aftercare,
    post "/runs/{id}/facts" Open::Station => acts::record,
    post "/runs/{id}/sign-offs" Open::Person => acts::sign,
    post "/runs/{id}/takings-back" Open::Person => acts::take_back,
    post "/runs/{id}/lots" Open::Person => acts::dispense,
    post "/runs/{id}/steps" Open::Person => acts::step,
    post "/runs/{id}/stop-readings" Open::Person => acts::read_stop,
    post "/runs/{id}/stop-closings" Open::Person => acts::close_stop,
    post "/runs/{id}/handovers" Open::Person => acts::hand_over,
    post "/runs/{id}/hands" Open::Person => acts::name_hands,
    post "/runs/{id}/armings" Open::Person => acts::arm,
    post "/runs/{id}/names" Open::Person => acts::whose,
    post "/runs/{id}/endings" Open::Person => acts::end,
];
use crate::domain::access::Act;
