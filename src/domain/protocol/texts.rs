//! Every text of a protocol under a key that stays the same, so that it can be translated.

use super::Protocol;

impl Protocol {
    /// Every text with its key, in the order of the file: "curl-retouch.step.apply-1.words".
    /// Lists count from 1. A key names a place, never the words: changed words keep it.
    pub fn texts(&self) -> Vec<(String, &str)> {
        let code = &self.code;
        let mut all = vec![(format!("{code}.title"), self.title.as_str())];
        for (i, words) in self.stop_words.iter().enumerate() {
            all.push((format!("{code}.stop.{}", i + 1), words));
        }
        for a in &self.applications {
            all.push((format!("{code}.application.{}.title", a.letter.to_ascii_lowercase()), &a.title));
        }
        for step in &self.steps {
            let at = format!("{code}.step.{}", step.code);
            all.push((format!("{at}.title"), &step.title));
            all.push((format!("{at}.words"), &step.words));
            for (i, caution) in step.cautions.iter().enumerate() {
                all.push((format!("{at}.caution.{}", i + 1), &caution.words));
            }
        }
        all
    }
}
