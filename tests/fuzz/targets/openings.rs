#![no_main]

const AREA: &str = "openings";
include!("area.in.rs");
