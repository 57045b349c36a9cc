//! Pictures drawn on the server as SVG, from plain numbers and words.
