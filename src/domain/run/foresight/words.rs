//! What is foreseen, as somebody on the Floor would say it.

use super::{Clash, Foresight, Line, Serve};
use crate::domain::protocol::Clock;
use crate::domain::run::track::{Wanted, count_words};
use crate::domain::run::value::Instant;
use crate::domain::words::capital;
use crate::words;
use time::Duration;

/// How names and instants are written: "Ilka D.", "14:20".
pub struct Say<'a> {
    /// The name of a line's client.
    pub name: &'a dyn Fn(usize) -> String,
    /// An instant in the salon's own time.
    pub at: &'a dyn Fn(Instant) -> String,
}

/// Turns of one clash that are told one by one.
const TOLD_MOST: usize = 4;

fn thing(wanted: Wanted) -> &'static str {
    match wanted {
        Wanted::Place(place) => words::of(place.code()),
        Wanted::Hands => tr!("hands"),
    }
}

fn times(claims: usize) -> String {
    match claims {
        2 => tr!("twice").into(),
        n => tr!("{} times", count_words(u32::try_from(n).unwrap_or(u32::MAX))),
    }
}

/// Whole minutes, rounded up.
fn minutes(over: Duration) -> String {
    tr!("{} min", (over.whole_seconds() + 59) / 60)
}

impl Clash {
    /// "Basin wanted twice at 14:20".
    pub fn title(&self, say: &Say<'_>) -> String {
        let things: Vec<&str> = self.wanted.iter().map(|w| thing(*w)).collect();
        tr!("{} wanted {} at {}", capital(&things.join(" and ")), times(self.claims), (say.at)(self.at))
    }
}

impl Foresight {
    /// "Ilka first by 14:22, then Bette at 14:28, by 14:31; both keep to their longest allowed".
    pub fn order_words(&self, clash: &Clash, lines: &[Line], say: &Say<'_>) -> String {
        let serves: Vec<&Serve> = clash.order.iter().filter_map(|i| self.serves.get(*i)).collect();
        let mut said: Vec<String> =
            clash.in_hand.iter().map(|(l, end)| tr!("{} until {}", (say.name)(*l), (say.at)(*end))).collect();
        for (nth, serve) in serves.iter().take(TOLD_MOST).enumerate() {
            said.push(self.serve_words(serve, nth == 0 && clash.in_hand.is_empty(), lines, say));
        }
        format!("{}; {}", said.join(", "), keeps(&serves, lines, say))
    }

    fn serve_words(&self, serve: &Serve, first: bool, lines: &[Line], say: &Say<'_>) -> String {
        let turn = &lines[serve.line].turns[serve.turn];
        let name = (say.name)(serve.line);
        let mut words =
            if first { tr!("{name} first", name = name) } else { tr!("then {name}", name = name) };
        let starts = !first || serve.start > turn.ready;
        if starts {
            words += &tr!(" at {}", (say.at)(serve.start));
        }
        if let Some(limit) = turn.limit {
            let comma = if starts { "," } else { "" };
            words += &tr!("{comma} by {}", (say.at)(limit.latest_start), comma = comma);
        }
        words
    }

    /// What no order keeps: whose longest allowed is broken first, by how much, and what would help.
    pub fn broken_words(&self, lines: &[Line], say: &Say<'_>) -> Option<String> {
        let serve = self.serves.get(self.first_broken?).filter(|_| !self.clashes.is_empty())?;
        let turn = &lines[serve.line].turns[serve.turn];
        let clock = match turn.limit?.clock {
            Clock::Exposure => tr!("from first touch to rinse"),
            Clock::Phase => tr!("of the step before"),
        };
        let any = if self.exact { tr!("In every order") } else { tr!("In the orders tried") };
        let mut words = tr!(
            "{any} a longest allowed is broken, by {} at the least: first {}’s, {clock}, by {}.",
            minutes(self.harm.worst),
            (say.name)(serve.line),
            minutes(serve.over),
            any = any,
            clock = clock
        );
        let helps: Vec<String> = self.helps.iter().map(help).collect();
        if !helps.is_empty() {
            words += &format!(" {}.", capital(&helps.join("; ")));
        }
        Some(words)
    }
}

fn help(help: &super::Help) -> String {
    let more = match help.more {
        Wanted::Hands => tr!("one more pair of hands").to_owned(),
        Wanted::Place(place) => tr!("one more {}", words::of(place.code())),
    };
    if help.worst > Duration::ZERO {
        tr!("{more} would leave {}", minutes(help.worst), more = more)
    } else {
        tr!("{more} would keep them all", more = more)
    }
}

fn keeps(serves: &[&Serve], lines: &[Line], say: &Say<'_>) -> String {
    let limited: Vec<&&Serve> =
        serves.iter().filter(|s| lines[s.line].turns[s.turn].limit.is_some()).collect();
    let over: Vec<String> = limited
        .iter()
        .filter(|s| s.over > Duration::ZERO)
        .map(|s| tr!("{} {} over the longest allowed", (say.name)(s.line), minutes(s.over)))
        .collect();
    if !over.is_empty() {
        return over.join(", ");
    }
    match (limited.as_slice(), serves.len()) {
        ([], _) => tr!("no longest allowed ends meanwhile").into(),
        ([one], _) => tr!("{} keeps to the longest allowed", (say.name)(one.line)),
        ([_, _], 2) => tr!("both keep to their longest allowed").into(),
        _ => tr!("all keep to their longest allowed").into(),
    }
}
