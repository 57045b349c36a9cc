//! Every text of a protocol under a key that stays the same, so that it can be translated.

use super::Protocol;
use crate::words;

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

    /// The same protocol with its texts in the language spoken; a salon's own texts stay as they were written.
    #[must_use]
    pub fn spoken(mut self) -> Protocol {
        let say = |text: &mut String| {
            let said = words::of(text);
            if said != text {
                *text = said.to_owned();
            }
        };
        say(&mut self.title);
        self.stop_words.iter_mut().for_each(say);
        self.applications.iter_mut().for_each(|a| say(&mut a.title));
        for step in &mut self.steps {
            say(&mut step.title);
            say(&mut step.words);
            step.cautions.iter_mut().for_each(|c| say(&mut c.words));
        }
        self
    }
}

#[cfg(test)]
mod tests {
    use crate::domain::protocol::Protocol;
    use crate::reference::Reference;
    use std::collections::BTreeSet;

    /// Each text replaced by its own key: nothing a person reads is left without an address, none has two.
    #[test]
    fn every_text_a_person_reads_has_one_address() {
        for shipped in &Reference::shipped().protocols {
            let mut p: Protocol = shipped.clone();
            p.title = "@".into();
            p.stop_words.iter_mut().for_each(|w| *w = "@".into());
            p.applications.iter_mut().for_each(|a| a.title = "@".into());
            for s in &mut p.steps {
                (s.title, s.words) = ("@".into(), "@".into());
                s.cautions.iter_mut().for_each(|c| c.words = "@".into());
            }
            // Whatever still reads as a sentence of the shipped file is a text without an address.
            let left = format!("{p:?}");
            for (key, words) in shipped.texts() {
                assert!(!left.contains(words) || words.len() < 12, "{key}: {words}");
            }
            let texts = p.texts();
            assert!(texts.iter().all(|(_, w)| *w == "@"), "{}", p.code);
            assert_eq!(texts.len(), left.matches("\"@\"").count(), "{}: one address each", p.code);
            let keys: BTreeSet<_> = texts.iter().map(|(k, _)| k).collect();
            assert_eq!(keys.len(), texts.len(), "{}: no address twice", p.code);
        }
    }

    #[test]
    fn changed_words_keep_their_address() {
        let shipped = Reference::shipped().protocol("curl-retouch").expect("shipped");
        let mut p = shipped.clone();
        p.steps[0].words = "Other words.".into();
        let keys = |p: &Protocol| p.texts().into_iter().map(|(k, _)| k).collect::<Vec<_>>();
        assert_eq!(keys(&p), keys(shipped));
        assert!(p.texts().contains(&("curl-retouch.step.receive.words".into(), "Other words.")));
    }
}
