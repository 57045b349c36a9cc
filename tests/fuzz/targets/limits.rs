#![no_main]

const AREA: &str = "limits";
include!("area.in.rs");
