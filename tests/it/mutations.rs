//! One line of a protocol dropped or weakened at a time, and the reasons why some of that harms nobody.

/// A protocol with one thing changed.
pub struct Mutation {
    /// The line, from 1.
    pub line: usize,
    /// "opening.hold_points -gloves", "none.phase.most_min 15 -> 60": kind of table or step, field, change.
    pub what: String,
    pub text: String,
}

/// Words that stand for one another: each is swapped for every other of its list.
const SWAPS: &[&[&str]] = &[
    &["opening", "closing", "none"],
    &[
        "thio",
        "thio-ester",
        "sodium-hydroxide",
        "guanidine-hydroxide",
        "oxidative-colour",
        "lightener",
        "peroxide-neutraliser",
        "unknown",
    ],
    &["new-growth", "root-to-end"],
    &["virgin", "retouch", "coloured", "any"],
    &["stylist", "assistant", "any", "nobody"],
    &["apply", "smooth", "rinse"],
    &["sheet", "CP"],
    &["test-curl", "comb-back", "lift"],
    &["mild", "regular", "strong"],
    &["service", "test-visit"],
    &["hood-by-sheet", "none"],
];

/// Every mutation of a text, line by line.
pub fn mutations(text: &str) -> Vec<Mutation> {
    let lines: Vec<&str> = text.lines().collect();
    let mut all = Vec::new();
    let mut table = "head".to_owned();
    let mut list: Option<String> = None;
    for (i, line) in lines.iter().enumerate() {
        let bare = line.trim();
        if bare.is_empty() || bare.starts_with('#') {
            continue;
        }
        if bare == "]" {
            list = None;
            continue;
        }
        if bare.starts_with('[') {
            table = match bare {
                "[[steps]]" => chemical_of(&lines[i..]),
                other => other.trim_matches(['[', ']']).to_owned(),
            };
        }
        let key = match (&list, bare.split_once(" = ")) {
            (Some(list), _) => list.clone(),
            (None, Some((key, value))) => {
                if value == "[" {
                    list = Some(key.to_owned());
                }
                key.to_owned()
            }
            (None, None) => "header".to_owned(),
        };
        let mut put = |what: String, new: Option<String>| {
            let mut changed: Vec<&str> = lines.clone();
            match &new {
                Some(new) => changed[i] = new,
                None => {
                    changed.remove(i);
                }
            }
            let text = changed.join("\n") + "\n";
            all.push(Mutation { line: i + 1, what: format!("{table}.{key}{what}"), text });
        };
        put(" dropped".into(), None);
        items(line, &mut put);
        numbers(line, &mut put);
        swaps(line, &mut put);
    }
    all
}

/// What a step does: the value of its `chemical`, none where it has none.
fn chemical_of(from: &[&str]) -> String {
    let block = from.iter().skip(1).take_while(|l| !l.starts_with('['));
    let found = block.filter_map(|l| l.strip_prefix("chemical = ")).next();
    found.unwrap_or("none").trim_matches('"').to_owned()
}

/// One item of a list of words on this line left out.
fn items(line: &str, put: &mut impl FnMut(String, Option<String>)) {
    let (Some(open), Some(close)) = (line.find('['), line.rfind(']')) else { return };
    if open >= close || line.starts_with('[') || line.contains("= [{") {
        return;
    }
    let inside = &line[open + 1..close];
    let words: Vec<&str> = inside.split(", ").collect();
    if !words.iter().all(|w| w.starts_with('"') && w.ends_with('"')) {
        return;
    }
    for left_out in 0..words.len() {
        let rest: Vec<&str> =
            words.iter().enumerate().filter(|(i, _)| *i != left_out).map(|(_, w)| *w).collect();
        let new = format!("{}{}{}", &line[..=open], rest.join(", "), &line[close..]);
        put(format!(" -{}", words[left_out].trim_matches('"')), Some(new));
    }
}

/// Every figure raised and lowered, a little and a lot. Figures inside sentences are no figures.
fn numbers(line: &str, put: &mut impl FnMut(String, Option<String>)) {
    let mut quoted = false;
    let bytes = line.as_bytes();
    let mut i = 0;
    while i < bytes.len() {
        quoted ^= bytes[i] == b'"';
        let begins = bytes[i].is_ascii_digit() && i > 0 && bytes[i - 1] == b' ';
        if quoted || !begins {
            i += 1;
            continue;
        }
        let end = i + line[i..].find(|c: char| !c.is_ascii_digit()).unwrap_or(line.len() - i);
        let n: u32 = line[i..end].parse().expect("digits");
        let field = line[..i].trim_end().trim_end_matches('=').trim_end();
        let field = field.rsplit([' ', '{']).next().unwrap_or("").to_owned();
        for m in [n + 1, n.saturating_sub(1), n * 4, 1, 9999] {
            if m != n {
                let way = if m > n { "raised" } else { "lowered" };
                let new = format!("{}{m}{}", &line[..i], &line[end..]);
                put(format!(".{field} {way} {n} -> {m}"), Some(new));
            }
        }
        i = end;
    }
}

fn swaps(line: &str, put: &mut impl FnMut(String, Option<String>)) {
    if line.starts_with("words") || line.starts_with("title") || line.trim_start().starts_with("{ words") {
        return;
    }
    for list in SWAPS {
        for from in *list {
            let quoted = format!("\"{from}\"");
            if !line.contains(&quoted) || line.contains("= [") {
                continue;
            }
            for to in list.iter().filter(|to| *to != from) {
                let new = line.replacen(&quoted, &format!("\"{to}\""), 1);
                put(format!(" {from} => {to}"), Some(new));
            }
        }
    }
}

/// Why a change that is accepted harms nobody, by what was changed.
const HARMLESS: &[(&str, &str)] = &[
    ("head.revision*", "it counts revisions"),
    ("head.family *", "a test visit: nothing is put on, the family only names what is tried"),
    ("head.head *", "the head it is written for: every zone stays, and the plan check judges the very head"),
    ("head.sections -*", "a section that nobody works gets nothing; quadrants go together"),
    ("retouch.*", "when it is due again: an estimate, never a permission"),
    ("applications.straightens dropped", "absent means no"),
    ("applications.zone root-to-end => new-growth", "it goes on less of the hair"),
    ("applications.strength_most*", "beyond the floor: the plan check bounds strength by the hair itself"),
    ("*.cautions dropped", "read beside the step: no protection rests on a caution"),
    ("*.code *", "a name"),
    ("*.minutes.*", "minutes for the book"),
    ("*.hands.count *", "pairs of hands for the book"),
    ("closing.hands *", "closing is open to everybody who treats hair"),
    ("none.hands *", "nothing goes on; who starts a step is asked for the role all the same"),
    ("*.places -*", "where, for the book"),
    ("closing.hold_points -scalp", "asked for before closing, never refusing"),
    ("closing.hold_points -barrier", "beyond the floor"),
    ("none.hold_points *", "nothing goes on in this step: what goes on asks for its own"),
    ("opening.hold_points -hair-damp", "beyond the floor: lotion on dry hair takes longer, the clock runs"),
    ("opening.hold_points -hair-dry", "beyond the floor for this chemistry"),
    ("opening.hold_points -barrier", "beyond the floor for this chemistry or pass"),
    (
        "opening.hold_points -strand-test",
        "beyond the floor for this chemistry or pass: the plan asks by itself",
    ),
    ("opening.hold_points -draping", "beyond the floor: asked at the wash"),
    ("*.look.*", "within the floor: never rarer than its row says"),
    ("*.look dropped", "beyond the floor, or another step of the application is watched as it asks"),
    ("*.look * => *", "beyond the floor, or another step of the application is watched as it asks"),
    ("*.phase.*", "within the floor's ceilings and least times"),
    ("none.phase dropped", "the floor asks for no phase here: nothing works alone"),
    ("none.phase sheet => *", "refused unless figures stand: then within the floor's ceilings"),
    ("opening.exposure.*", "within the floor's ceiling; a sheet may only be stricter"),
    ("opening.window.*lowered*", "stricter"),
    ("none.work dropped", "taps: what ends a product's work is asked by the floor"),
    ("none.work * => *", "taps: what ends a product's work is asked by the floor"),
    ("none.rinses dropped", "it rinsed what needs no rinse by the floor"),
    ("none.optional dropped", "stricter"),
    ("none.heat dropped", "stricter"),
    ("none.heat hood-by-sheet => none", "stricter"),
    ("*.qualification * => *", "the same qualification covers both"),
    ("*.sections *", "within the floor's order"),
    (
        "none.records * => *",
        "another test is put on record: the tests themselves are asked for where something goes on",
    ),
    ("none.records dropped", "another step of the visit puts a test on record"),
];

/// The listed reason, if there is one.
pub fn harmless(what: &str) -> Option<&'static str> {
    HARMLESS.iter().find(|(pattern, _)| matches(pattern, what)).map(|(_, reason)| *reason)
}

/// What only the domain refuses: no danger to anybody, or nothing the document carries.
const DOMAIN_ALONE: &[(&str, &str)] = &[
    ("retouch.*", "due estimates stand in no document"),
    ("head.revision*", "the key of the table is its own check"),
    ("*.places -*", "where, for the book"),
];

/// The listed reason, if there is one.
pub fn only_the_domain_sees(what: &str) -> Option<&'static str> {
    let change = what.split_once(": ").map_or(what, |(_, change)| change);
    DOMAIN_ALONE.iter().find(|(pattern, _)| matches(pattern, change)).map(|(_, reason)| *reason)
}

/// `*` stands for anything.
fn matches(pattern: &str, what: &str) -> bool {
    let mut rest = what;
    for (i, part) in pattern.split('*').enumerate() {
        let Some(at) = rest.find(part).filter(|at| i > 0 || *at == 0) else { return false };
        rest = &rest[at + part.len()..];
    }
    pattern.ends_with('*') || rest.is_empty()
}
