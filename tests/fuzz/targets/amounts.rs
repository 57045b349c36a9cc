#![no_main]

const AREA: &str = "amounts";
include!("area.in.rs");
