#![no_main]

const AREA: &str = "rods";
include!("area.in.rs");
