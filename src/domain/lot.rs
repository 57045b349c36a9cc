//! A lot coming in: what the law says of it, what its label must say, whether it may be used at all.
//!
//! The check is the one of `rinsebell calc limits` ([`LimitTable::check`]); here it becomes one verdict for the lot and
//! one decision: for use, or standing in quarantine, never dispensed. The database holds the same line (migration "shelf
//! in full").

use super::access::{Act, Role, may};
use super::chemistry::family::{Family, coded};
use super::chemistry::limits::{Check, Hands, LimitTable, Place};
use super::stock::{UseAs, purpose};

coded! {
    /// What the law says of a lot.
    Verdict {
        /// Within every limit that speaks.
        Within = "within", "within the law's limits";
        /// Above a limit, or outside its pH window.
        Outside = "outside", "outside the law's limits";
        /// No limit on file speaks, or contents were not entered.
        NotJudged = "not-judged", "no limit on file for this use";
    }
}

coded! {
    /// Why grams leave or enter the book without a head.
    NoteKind {
        /// Mixture left over, or spoiled.
        ThrownAway = "thrown-away", "thrown away";
        /// Spilled.
        Spilled = "spilled", "spilled";
        /// Weighed: what is there now.
        Counted = "counted", "counted";
        /// A bowl took more than the book had; written by the record itself.
        MoreThanTheBook = "more-than-the-book", "more than the book had";
    }
}

/// One ingredient as entered: code and percent by weight, ready for use.
pub type Content = (String, f64);

/// Every limit that speaks of these contents in this use, professionally. Ingredients unknown to the table are passed
/// over; pH as measured, read to two decimals (a stored single-precision 9.2 is 9.2).
pub fn check<'t>(
    table: &'t LimitTable,
    place: Place,
    (family, use_as): (Family, UseAs),
    contents: &[Content],
    ph: Option<f32>,
) -> Vec<Check<'t>> {
    let Some(purpose) = purpose(family, use_as) else { return Vec::new() };
    let known: Vec<_> =
        contents.iter().filter_map(|(code, x)| Some((table.find_ingredient(code)?, *x))).collect();
    let ph = ph.map(|x| (f64::from(x) * 100.0).round() / 100.0);
    table.check((place, Hands::Professional, purpose), &known, ph)
}

/// The worst of the checks decides.
pub fn verdict(checks: &[Check<'_>]) -> Verdict {
    if checks.iter().any(|c| c.within == Some(false)) {
        Verdict::Outside
    } else if checks.iter().any(|c| c.within == Some(true)) {
        Verdict::Within
    } else {
        Verdict::NotJudged
    }
}

/// The words the label must carry, each once, in the order of the checks.
pub fn must_say<'t>(checks: &[Check<'t>]) -> Vec<&'t str> {
    let mut words: Vec<&'t str> = Vec::new();
    for check in checks {
        let limit = check.limit;
        for (from, said) in &limit.must_say {
            if (check.percent > *from || *from == 0.0) && !words.contains(&said.as_str()) {
                words.push(said);
            }
        }
    }
    words
}

/// How a lot stands once it is in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Standing {
    /// It may be dispensed.
    ForUse,
    /// It stands apart and is never dispensed; why.
    Quarantined(String),
}

/// Why a lot is not taken in as asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ReceptionRefusal {
    /// Outside the law: quarantine is the only way in.
    OutsideLaw,
    /// Words the label must carry that nobody has seen on it.
    WordsNotSeen(Vec<String>),
    /// Quarantine without a reason, or one too long.
    ReasonMissing,
    /// Judged anew without saying why, or in too many words.
    WhyMissing,
    /// Only a manager lets a lot out of quarantine.
    ManagerLetsOut,
    /// The law has limits for this use and could not be asked: no contents are entered.
    LawNotAsked,
}

/// Longest reason, in characters.
pub const REASON_MOST_CHARS: usize = 300;

/// Takes a lot in. `seen` are the words ticked as read on this lot's label; `apart` is the reason where quarantine was
/// asked for.
///
/// # Errors
/// Every reason against taking it in as asked.
pub fn receive(
    verdict: Verdict,
    must_say: &[&str],
    seen: &[String],
    apart: Option<&str>,
) -> Result<Standing, Vec<ReceptionRefusal>> {
    if let Some(reason) = apart {
        let reason = reason.trim();
        if reason.is_empty() || reason.chars().count() > REASON_MOST_CHARS {
            return Err(vec![ReceptionRefusal::ReasonMissing]);
        }
        return Ok(Standing::Quarantined(reason.to_string()));
    }
    let mut refusals = Vec::new();
    if verdict == Verdict::Outside {
        refusals.push(ReceptionRefusal::OutsideLaw);
    }
    let unseen: Vec<String> =
        must_say.iter().filter(|w| !seen.iter().any(|s| s == *w)).map(|w| (*w).to_string()).collect();
    if !unseen.is_empty() {
        refusals.push(ReceptionRefusal::WordsNotSeen(unseen));
    }
    if refusals.is_empty() { Ok(Standing::ForUse) } else { Err(refusals) }
}

/// A lot that stands on the shelf, about to be judged anew.
#[derive(Clone, Copy, Debug)]
pub struct Anew<'a> {
    /// It stands in quarantine until now.
    pub apart: bool,
    /// Who judges.
    pub role: Role,
    /// Some limit could have spoken: contents are entered, or none is filed for such a use.
    pub law_asked: bool,
    /// What was wrong and is mended, or found.
    pub why: &'a str,
}

/// Judges a lot anew: as at the door, with a reason; out of quarantine only by a manager, and only when the law was
/// asked and has nothing against it.
///
/// # Errors
/// Every reason against judging it so.
pub fn judge_anew(
    anew: Anew<'_>,
    verdict: Verdict,
    must_say: &[&str],
    seen: &[String],
    apart: Option<&str>,
) -> Result<Standing, Vec<ReceptionRefusal>> {
    let found = receive(verdict, must_say, seen, apart);
    let mut refusals = found.as_ref().err().cloned().unwrap_or_default();
    let why = anew.why.trim();
    if why.is_empty() || why.chars().count() > REASON_MOST_CHARS {
        refusals.push(ReceptionRefusal::WhyMissing);
    }
    if anew.apart && apart.is_none() {
        if !may(anew.role, Act::ReleaseLot) {
            refusals.push(ReceptionRefusal::ManagerLetsOut);
        }
        if verdict == Verdict::NotJudged && !anew.law_asked {
            refusals.push(ReceptionRefusal::LawNotAsked);
        }
    }
    if refusals.is_empty() { found } else { Err(refusals) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outside_the_law_there_is_one_way_in_and_it_is_not_for_use() {
        for verdict in Verdict::ALL {
            for seen in [vec![], vec!["Wear suitable gloves".to_string()]] {
                let asked = receive(verdict, &["Wear suitable gloves"], &seen, None);
                assert_eq!(asked == Ok(Standing::ForUse), verdict != Verdict::Outside && !seen.is_empty());
                let apart = receive(verdict, &["Wear suitable gloves"], &seen, Some("goes back"));
                assert_eq!(apart, Ok(Standing::Quarantined("goes back".into())));
            }
        }
        assert_eq!(
            receive(Verdict::Outside, &["a", "b"], &["b".into()], None),
            Err(vec![ReceptionRefusal::OutsideLaw, ReceptionRefusal::WordsNotSeen(vec!["a".into()])])
        );
        assert_eq!(receive(Verdict::Within, &[], &[], Some(" ")), Err(vec![ReceptionRefusal::ReasonMissing]));
        let long = "x".repeat(REASON_MOST_CHARS + 1);
        assert_eq!(
            receive(Verdict::Within, &[], &[], Some(&long)),
            Err(vec![ReceptionRefusal::ReasonMissing])
        );
    }

    #[test]
    fn quarantine_is_left_by_a_managers_judgement_the_law_has_nothing_against() {
        let told = "the percent was misread";
        for role in Role::ALL {
            for verdict in Verdict::ALL {
                for law_asked in [true, false] {
                    for why in [told, " "] {
                        let anew = Anew { apart: true, role, law_asked, why };
                        let out = judge_anew(anew, verdict, &[], &[], None);
                        let lets = role == Role::Manager
                            && why == told
                            && (verdict == Verdict::Within || (verdict == Verdict::NotJudged && law_asked));
                        assert_eq!(out.is_ok(), lets, "{role:?} {verdict:?} {law_asked} {why:?}: {out:?}");
                        let kept = judge_anew(anew, verdict, &[], &[], Some("asked about"));
                        assert_eq!(kept.is_ok(), why == told, "apart again, by anybody, with a reason");
                    }
                }
            }
        }
        let here = Anew { apart: false, role: Role::Stylist, law_asked: false, why: told };
        assert_eq!(judge_anew(here, Verdict::NotJudged, &[], &[], None), Ok(Standing::ForUse));
        assert_eq!(
            judge_anew(Anew { why: "", ..here }, Verdict::Outside, &["a"], &[], None).map_err(|e| e.len()),
            Err(3),
            "every reason at once"
        );
    }
}
