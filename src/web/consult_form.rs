//! The consult form as typed, and how it is read.

use serde::Deserialize;
use time::Date;

use crate::domain::chemistry::family::{Family, Group};
use crate::domain::consult::{
    Account, HomeColour, Own, OwnAnswer, OwnQuestion, Scalp, Sought, TOLD_ROWS, Told, ToldExposure,
    needs_guardian,
};
use crate::flow::consults::Taken;
use crate::web::form::Errors;
use crate::web::typed;

/// As typed; kept whole when something is wrong.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    pub once: String,
    /// The unit the form was shown in.
    pub unit: String,
    pub born_on: String,
    pub cannot_consent: String,
    pub guardian: String,
    pub reactions: Vec<String>,
    pub black_henna: String,
    pub black_henna_reaction: String,
    pub scalp: String,
    pub scratched: String,
    pub braids_out_on: String,
    pub pregnant: String,
    pub medication: String,
    pub scalp_treatment: String,
    pub reason: String,
    pub home_colour: String,
    pub home_colour_left: String,
    pub silver: String,
    pub words: String,
    pub length_mm: String,
    pub account: String,
    pub account_mm: String,
    /// The kind of service it is read for; empty for none.
    pub sought: String,
    pub own_last_relaxer: String,
    pub own_washed: String,
    pub own_tingles: String,
    pub own_breaks: String,
    pub own_metal_at_home: String,
    pub own_wave_failed: String,
    pub own_colour_itched: String,
    pub own_lightened_twice: String,
    pub own_pool: String,
    pub row_family: Vec<String>,
    pub row_from: Vec<String>,
    pub row_to: Vec<String>,
    pub row_on: Vec<String>,
    pub row_sd: Vec<String>,
}

/// One row of what is already in the hair, as typed.
#[derive(Clone, Debug, Default)]
pub struct RowTyped {
    pub family: String,
    pub from: String,
    pub to: String,
    pub on: String,
    pub sd: String,
}

impl RowTyped {
    fn is_empty(&self) -> bool {
        [&self.family, &self.from, &self.to, &self.on, &self.sd].iter().all(|x| x.trim().is_empty())
    }
}

/// What the reading depends on besides what was typed.
#[derive(Clone, Copy, Debug)]
pub struct Chair {
    pub today: Date,
    /// As the record has it.
    pub born_on: Option<Date>,
    /// No strand yet.
    pub first: bool,
    /// The person signed in may decide where a physician is to be asked.
    pub decides: bool,
}

impl Typed {
    /// Row `n`, empty where none was sent.
    pub fn row(&self, n: usize) -> RowTyped {
        let at = |list: &[String]| list.get(n).cloned().unwrap_or_default();
        RowTyped {
            family: at(&self.row_family),
            from: at(&self.row_from),
            to: at(&self.row_to),
            on: at(&self.row_on),
            sd: at(&self.row_sd),
        }
    }

    /// The kind of service it is read for.
    pub fn sought(&self) -> Option<Sought> {
        Sought::from_code(&self.sought)
    }

    /// What was answered to a question of its own, as typed.
    pub fn own(&self, question: OwnQuestion) -> &str {
        match question {
            OwnQuestion::LastRelaxer => &self.own_last_relaxer,
            OwnQuestion::Washed => &self.own_washed,
            OwnQuestion::Tingles => &self.own_tingles,
            OwnQuestion::Breaks => &self.own_breaks,
            OwnQuestion::MetalAtHome => &self.own_metal_at_home,
            OwnQuestion::WaveFailed => &self.own_wave_failed,
            OwnQuestion::ColourItched => &self.own_colour_itched,
            OwnQuestion::LightenedTwice => &self.own_lightened_twice,
            OwnQuestion::Pool => &self.own_pool,
        }
    }

    /// How many rows to show so that none with something in it hides.
    pub fn rows_filled(&self) -> usize {
        (0..TOLD_ROWS).rev().find(|n| !self.row(*n).is_empty()).map_or(0, |n| n + 1)
    }

    /// Reads the form; errors in the order of the page.
    pub fn read(&self, chair: &Chair) -> (Taken, Errors) {
        let mut e = Errors::none();
        let told_born = if chair.born_on.is_none() { self.read_born(&mut e, chair.today) } else { None };
        let guardian = self.read_guardian(&mut e, chair, chair.born_on.or(told_born));
        let told = self.read_told(&mut e, chair.today);
        self.check_itch(&mut e, &told);
        let reason = self.read_reason(&mut e, &told, chair.decides);
        let words = typed::lines(&mut e, "words", &self.words, 4000);
        let hair = if chair.first { self.read_hair(&mut e) } else { None };
        let exposures = self.read_rows(&mut e, chair.today, hair.map(|(mm, _)| mm));
        let home = told.home_colour.family();
        let left = self.home_colour_left == "yes";
        if let Some(family) = home.filter(|f| left && !exposures.iter().any(|x| x.family == *f))
            && chair.first
        {
            e.note(
                "home_colour_left",
                tr!("Write it into the rows: {}, from where and when.", family.words()),
            );
        }
        let relaxed = matches!(
            told.own.answer(OwnQuestion::LastRelaxer),
            Some(OwnAnswer::Lye | OwnAnswer::NoLye | OwnAnswer::NotKnown)
        );
        // A first consult lays the strand: what was relaxed and is not in it would be taken for bare hair.
        let in_rows = exposures.iter().any(|x| matches!(x.family.group(), Group::Hydroxide | Group::Unknown));
        let unaccounted = matches!(hair, Some((_, Account::UpTo(_))));
        if chair.first && relaxed && !in_rows && !unaccounted {
            e.note(
                own_field(OwnQuestion::LastRelaxer),
                tr!("Write it into the rows: the relaxer, from where and when. Grown out and cut off: answer “no”."),
            );
        }
        (Taken { told, born_on: told_born, words, reason, guardian, hair, exposures }, e)
    }

    fn read_born(&self, e: &mut Errors, today: Date) -> Option<Date> {
        if self.born_on.trim().is_empty() {
            e.note("born_on", tr!("Ask for the date of birth: the age rules need it."));
        }
        typed::past_day(e, "born_on", &self.born_on, today)
    }

    fn read_guardian(&self, e: &mut Errors, chair: &Chair, born_on: Option<Date>) -> Option<String> {
        let minor = needs_guardian(born_on, chair.today);
        let name = typed::line(e, "guardian", &self.guardian, 200);
        if name.is_empty() && (minor || self.cannot_consent == "yes") {
            e.note(
                "guardian",
                if minor {
                    tr!("Under 18 a guardian reads this and stays: write the guardian's name.")
                } else {
                    tr!("Write the name of whoever reads and consents for the client.")
                },
            );
        }
        Some(name).filter(|n| !n.is_empty() && (minor || self.cannot_consent == "yes"))
    }

    fn read_told(&self, e: &mut Errors, today: Date) -> Told {
        const ANSWER: &str = mark!("Ask this and choose yes or no.");
        let known = |code: &String| Family::from_code(code);
        let reactions: Vec<Family> = self.reactions.iter().filter_map(known).collect();
        if reactions.len() != self.reactions.len() || reactions.len() > 20 {
            e.note("reactions", tr!("Choose from the families listed."));
        }
        let black_henna = typed::yes_no(e, "black_henna", &self.black_henna, ANSWER);
        // Asked only of somebody who had one.
        let black_henna_reaction = if black_henna {
            typed::yes_no(
                e,
                "black_henna_reaction",
                &self.black_henna_reaction,
                tr!("Was there a reaction to the tattoo?"),
            )
        } else {
            self.black_henna_reaction == "yes"
        };
        let scalp = typed::code(
            e,
            "scalp",
            &self.scalp,
            Scalp::from_code,
            tr!("Look at the scalp and choose what you see."),
        );
        let scratched_within_3_days = typed::yes_no(e, "scratched", &self.scratched, ANSWER);
        let braids_out_on = typed::past_day(e, "braids_out_on", &self.braids_out_on, today);
        let pregnant = typed::yes_no(e, "pregnant", &self.pregnant, ANSWER);
        let medication = typed::yes_no(e, "medication", &self.medication, ANSWER);
        let scalp_treatment = typed::yes_no(e, "scalp_treatment", &self.scalp_treatment, ANSWER);
        let home_colour = typed::code(
            e,
            "home_colour",
            &self.home_colour,
            HomeColour::from_code,
            tr!("Ask what was put on at home."),
        );
        if home_colour.is_some_and(|h| h != HomeColour::Never) {
            typed::yes_no(
                e,
                "home_colour_left",
                &self.home_colour_left,
                tr!("Is any of it still in the hair?"),
            );
        }
        let silver_in_history = typed::yes_no(e, "silver", &self.silver, ANSWER);
        Told {
            reactions,
            black_henna,
            black_henna_reaction,
            // An error is noted where one is missing; then nothing is kept.
            scalp: scalp.unwrap_or(Scalp::Broken),
            scratched_within_3_days,
            braids_out_on,
            pregnant,
            medication,
            scalp_treatment,
            home_colour: home_colour.unwrap_or(HomeColour::NotKnown),
            silver_in_history,
            own: self.read_own(e),
        }
    }

    fn read_own(&self, e: &mut Errors) -> Own {
        let Some(sought) = self.sought() else {
            if !self.sought.is_empty() {
                e.note("sought", tr!("Choose one of the services listed."));
            }
            return Own::default();
        };
        let mut answers = Vec::new();
        for question in sought.questions() {
            let known = |code: &str| OwnAnswer::from_code(code).filter(|a| question.answers().contains(a));
            let said = self.own(*question);
            if let Some(answer) =
                typed::code(e, &own_field(*question), said, known, tr!("Ask this and choose."))
            {
                answers.push((*question, answer));
            }
        }
        Own { sought: Some(sought), answers }
    }

    /// An itch at a colour is a past reaction, and those are kept for good where they are ticked.
    fn check_itch(&self, e: &mut Errors, told: &Told) {
        let itched = told.own.answer(OwnQuestion::ColourItched) == Some(OwnAnswer::Yes);
        let ticked =
            told.reactions.iter().any(|f| matches!(f.group(), Group::OxidativeColour | Group::DirectDye));
        if itched && !ticked {
            let words = tr!("An itch at a colour is a reaction: tick which colour it was under Reactions.");
            e.note(own_field(OwnQuestion::ColourItched), words);
        }
    }

    fn read_reason(&self, e: &mut Errors, told: &Told, decides: bool) -> String {
        let reason = typed::lines(e, "reason", &self.reason, 2000);
        if !told.needs_reason() {
            return String::new();
        }
        if !decides {
            e.note("reason", tr!("A stylist decides this: one signs in here and writes why."));
        } else if reason.is_empty() {
            e.note("reason", tr!("Advise asking a physician; then write why you go on, or stop here."));
        }
        reason
    }

    fn read_hair(&self, e: &mut Errors) -> Option<(f64, Account)> {
        let length =
            typed::needed_length(e, "length_mm", &self.length_mm, (1.0, 2500.0), tr!("the stretched length"));
        let account = match self.account.as_str() {
            "whole" => Account::Whole,
            "up-to" => Account::UpTo(typed::needed_length(
                e,
                "account_mm",
                &self.account_mm,
                (0.0, length.max(1.0)),
                tr!("how far the client can account for it"),
            )),
            _ => {
                e.note("account", tr!("Ask whether the client can say what the whole length has met."));
                Account::UpTo(0.0)
            }
        };
        Some((length, account))
    }

    fn read_rows(&self, e: &mut Errors, today: Date, length: Option<f64>) -> Vec<ToldExposure> {
        let most = length.unwrap_or(2500.0);
        let mut rows = Vec::new();
        for n in 0..TOLD_ROWS {
            let row = self.row(n);
            if row.is_empty() {
                continue;
            }
            let name = |field: &str| format!("row_{field}_{n}");
            let words = tr!("Choose what it was, or empty the row.");
            let family = typed::code(e, &name("family"), &row.family, Family::from_code, words);
            let from_mm =
                typed::length(e, &name("from"), &row.from, (0.0, most), tr!("how far from the scalp"));
            let to_mm = typed::length(e, &name("to"), &row.to, (1.0, most), tr!("how far from the scalp"));
            let on = typed::past_day(e, &name("on"), &row.on, today);
            if row.on.trim().is_empty() {
                e.note(name("on"), tr!("Write the day, as near as the client can say."));
            }
            let sd = typed::number(e, &name("sd"), &row.sd, (0.0, 2000.0), tr!("days it may be off"));
            if let (Some(family), Some(on)) = (family, on) {
                let on_sd_days = sd.unwrap_or(0.0) / GIVE_OR_TAKE;
                rows.push(ToldExposure {
                    family,
                    on,
                    on_sd_days,
                    from_mm: from_mm.filter(|mm| *mm > 0.0),
                    to_mm,
                });
            }
        }
        rows
    }
}

/// The name of a question's field.
pub fn own_field(question: OwnQuestion) -> String {
    format!("own_{}", question.code().replace('-', "_"))
}

/// "Give or take" on the screens is 19 times in 20: 1.96 standard deviations.
const GIVE_OR_TAKE: f64 = 1.96;
