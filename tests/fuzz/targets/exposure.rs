#![no_main]

const AREA: &str = "exposure";
include!("area.in.rs");
