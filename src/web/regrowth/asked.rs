//! What is asked of the list: the filters of the address bar, read and written back.

use serde::Deserialize;

use crate::domain::due::View;
use crate::domain::ids::PersonId;
use crate::flow::due_list::{Key, Question};
use crate::reference::Reference;
use crate::web::clients::CURL_GROUPS;
use crate::web::form::Errors;
use crate::web::page::query_value;
use crate::web::typed;

/// The filters as they came; what is empty asks for everybody.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    /// A view's code; empty: call now.
    pub group: String,
    /// The usual stylist's id.
    pub person: String,
    /// Whose the client is: "me", "nobody" or an id.
    pub whose: String,
    /// A protocol's code.
    pub service: String,
    pub curl: String,
    /// Beginning of a name, or part of a phone number.
    pub text: String,
    /// Where the page before ended: class, key and client.
    pub after: String,
    /// A client of whom something was noted just now.
    pub noted: String,
}

/// The same, understood.
#[derive(Clone, Debug)]
pub struct Wanted {
    pub view: View,
    pub usual: Option<i64>,
    pub assigned: Option<i64>,
    pub protocol: Option<String>,
    pub curl: Option<String>,
    pub text: String,
    pub after: Option<Key>,
}

/// Longest text looked for, characters.
const TEXT_MOST: usize = 60;

fn read_key(raw: &str) -> Option<Key> {
    let mut parts = raw.split('_');
    let key = (parts.next()?.parse().ok()?, parts.next()?.parse::<f64>().ok()?, parts.next()?.parse().ok()?);
    (parts.next().is_none() && key.1.is_finite()).then_some(key)
}

impl Asked {
    /// Reads the filters; what cannot be read is noted, and everybody is asked for in its place.
    pub fn read(&self, reference: &Reference, me: PersonId, errors: &mut Errors) -> Wanted {
        let view = match self.group.as_str() {
            "" => Some(View::Now),
            code => View::from_code(code),
        };
        if view.is_none() {
            errors.note("group", tr!("There is no such group: choose one of the line."));
        }
        let mut person = |name: &str, raw: &str| match raw {
            "" => None,
            "me" => Some(me.0),
            "nobody" => Some(0),
            id => {
                let id = id.parse::<i64>().ok();
                if id.is_none() {
                    errors.note(name, tr!("Choose somebody of the team."));
                }
                id
            }
        };
        let usual = person("person", &self.person);
        let assigned = person("whose", &self.whose);
        let mut known = |name: &str, raw: &str, is: bool, words: &str| {
            if !raw.is_empty() && !is {
                errors.note(name, words);
            }
            (!raw.is_empty() && is).then(|| raw.to_string())
        };
        let service = reference.protocol(&self.service).is_some();
        let protocol = known("service", &self.service, service, tr!("Choose a service from the list."));
        let curl = CURL_GROUPS.iter().any(|(code, _)| *code == self.curl);
        let curl = known("curl", &self.curl, curl, tr!("Choose a curl from the list."));
        let after = match self.after.as_str() {
            "" => None,
            raw => {
                let key = read_key(raw);
                if key.is_none() {
                    errors
                        .note("", tr!("This link to the next page is not whole: these are the first again."));
                }
                key
            }
        };
        let text = typed::line(errors, "text", &self.text, TEXT_MOST);
        Wanted { view: view.unwrap_or(View::Now), usual, assigned, protocol, curl, text, after }
    }

    /// The address that asks the same, of another view and from another place on.
    pub fn address(&self, view: View, after: Option<Key>) -> String {
        let group = if view == View::Now { "" } else { view.code() };
        let after = after.map_or_else(String::new, |(rank, key, id)| format!("{rank}_{key}_{id}"));
        let pairs = [
            ("group", group),
            ("person", &self.person),
            ("whose", &self.whose),
            ("service", &self.service),
            ("curl", &self.curl),
            ("text", self.text.trim()),
            ("after", &after),
        ];
        let query: Vec<String> = pairs
            .iter()
            .filter(|(_, value)| !value.is_empty())
            .map(|(name, value)| format!("{name}={}", query_value(value)))
            .collect();
        if query.is_empty() { "/regrowth".into() } else { format!("/regrowth?{}", query.join("&")) }
    }

    /// Anything but the view is asked for.
    pub fn is_narrowed(&self) -> bool {
        [&self.person, &self.whose, &self.service, &self.curl, &self.text]
            .iter()
            .any(|x| !x.trim().is_empty())
    }
}

impl Wanted {
    /// As the flow is asked.
    pub fn question(&self) -> Question<'_> {
        Question {
            view: self.view,
            usual: self.usual,
            assigned: self.assigned,
            protocol: self.protocol.as_deref(),
            curl: self.curl.as_deref(),
            text: &self.text,
            after: self.after,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(asked: &Asked) -> (Wanted, Errors) {
        let mut errors = Errors::none();
        let wanted = asked.read(&Reference::embedded(), PersonId(7), &mut errors);
        (wanted, errors)
    }

    #[test]
    fn an_address_asks_again_for_what_was_asked() {
        let asked = Asked {
            person: "12".into(),
            whose: "me".into(),
            service: "curl-retouch".into(),
            curl: "tight".into(),
            text: " Am & co ".into(),
            ..Asked::default()
        };
        let to = asked.address(View::Overdue, Some((1, -0.125, 40)));
        assert_eq!(
            to,
            "/regrowth?group=overdue&person=12&whose=me&service=curl-retouch&curl=tight&text=Am%20%26%20co&after=1_-0.125_40"
        );
        let again = Asked { after: "1_-0.125_40".into(), group: "overdue".into(), ..asked };
        let (wanted, errors) = read(&again);
        assert!(errors.is_empty(), "{errors:?}");
        assert_eq!((wanted.view, wanted.usual, wanted.assigned), (View::Overdue, Some(12), Some(7)));
        assert_eq!((wanted.text.as_str(), wanted.after), ("Am & co", Some((1, -0.125, 40))));
        assert_eq!(Asked::default().address(View::Now, None), "/regrowth");
    }

    #[test]
    fn what_cannot_be_read_is_said_and_asks_for_everybody() {
        let bad = Asked {
            group: "soonish".into(),
            person: "x".into(),
            whose: "they".into(),
            service: "none".into(),
            curl: "wild".into(),
            after: "1_inf_3".into(),
            ..Asked::default()
        };
        let (wanted, errors) = read(&bad);
        assert_eq!(errors.0.len(), 6, "{errors:?}");
        assert_eq!((wanted.view, wanted.usual, wanted.assigned, wanted.after), (View::Now, None, None, None));
        assert!(wanted.protocol.is_none() && wanted.curl.is_none());
    }
}
