//! A booking as one track: minutes to the right, whose hands above, the place below.

use super::mark::{Drawing, Mark, fit, words_px};

/// Somebody's hands for a stretch, minutes from the start of the service.
#[derive(Debug, Clone, PartialEq)]
pub struct HandsBlock {
    pub from_min: f64,
    pub to_min: f64,
    /// "Tobias".
    pub words: String,
    /// The second pair beside the first.
    pub second: bool,
}

/// A stay at a place.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaceBlock {
    pub from_min: f64,
    pub to_min: f64,
    /// "chair", "basin", "hood".
    pub words: String,
}

/// The whole service.
#[derive(Debug, Clone, PartialEq)]
pub struct Track {
    pub length_min: f64,
    pub hands: Vec<HandsBlock>,
    pub places: Vec<PlaceBlock>,
    /// Full hours within it: minutes from the start and the clock's words.
    pub hours: Vec<(f64, String)>,
    /// The picture in a sentence.
    pub label: String,
}

impl Track {
    /// Draws it: toned where hands are needed, blank where nobody's are; dark at the basin.
    #[must_use]
    pub fn draw(&self) -> Drawing {
        let pc = |min: f64| (min / self.length_min.max(1.0) * 100.0).clamp(0.0, 100.0);
        let mut marks = vec![Mark::block("fill-bg edge", 0.0, 100.0, 4.0, 26.0)];
        for block in &self.hands {
            let (from, to) = (pc(block.from_min), pc(block.to_min));
            let (y, height) = if block.second { (4.0, 8.0) } else { (4.0, 26.0) };
            marks.push(Mark::block("fill-tone edge", from, to, y, height));
            if !block.second
                && let Some(class) = fit(words_px(&block.words, false) + 10.0, to - from)
            {
                marks.push(Mark::text(class.trim(), from, 5.0, 25.0, block.words.clone()));
            }
        }
        for stay in &self.places {
            let (from, to) = (pc(stay.from_min), pc(stay.to_min));
            let class = if stay.words == "basin" { "fill gap" } else { "fill-bg edge" };
            marks.push(Mark::block(class, from, to, 34.0, 10.0));
        }
        marks.push(Mark::level("ln thick", 0.0, 100.0, 50.0));
        for (at, words) in &self.hours {
            marks.push(Mark::stem("ln", pc(*at), 46.0, 54.0));
            if let Some(class) = fit(words_px(words, false) + 12.0, 100.0 - pc(*at)) {
                marks.push(Mark::text(&format!("soft{class}"), pc(*at), 3.0, 66.0, words.clone()));
            }
        }
        Drawing {
            class: "service-track".into(),
            data: Vec::new(),
            height_px: 70.0,
            label: self.label.clone(),
            shapes: None,
            marks,
        }
    }
}

#[cfg(test)]
mod tests {
    use askama::Template as _;

    use super::*;

    #[test]
    fn hands_are_toned_and_the_basin_is_dark() {
        let page = Track {
            length_min: 100.0,
            hands: vec![HandsBlock { from_min: 0.0, to_min: 40.0, words: "Tobias".into(), second: false }],
            places: vec![PlaceBlock { from_min: 60.0, to_min: 100.0, words: "basin".into() }],
            hours: vec![(30.0, "10:00".into())],
            label: "Tobias for 40 minutes".into(),
        }
        .draw()
        .render()
        .unwrap();
        assert!(page.contains("class=\"fill-tone edge\" x=\"0%\" width=\"40%\""));
        assert!(page.contains("class=\"fill gap\" x=\"60%\" width=\"40%\""));
        assert!(page.contains("aria-label=\"Tobias for 40 minutes\""));
    }
}
