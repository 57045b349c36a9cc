#![no_main]

const AREA: &str = "regrowth";
include!("area.in.rs");
