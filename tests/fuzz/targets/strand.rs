#![no_main]

const AREA: &str = "strand";
include!("area.in.rs");
