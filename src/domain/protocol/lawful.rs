//! What a salon's own revision keeps of the shipped one word by word: the cautions that law asks for.
//!
//! Anything else a salon may say in its own words. The database holds the same (`migrations/0042_cautions_of_law.sql`).

use super::check::{Fault, Spot};
use super::{Caution, Mark, Protocol, Step};

/// The cautions of a step that law asks for.
pub fn of_step(step: &Step) -> impl Iterator<Item = &Caution> {
    step.cautions.iter().filter(|c| c.mark == Mark::Law)
}

/// Every caution of law that the shipped protocol has and this one lost: at the step of that code; where a salon took the
/// step out, anywhere.
pub fn missing(shipped: &Protocol, own: &Protocol) -> Vec<Fault> {
    let has = |step: &Step, words: &str| of_step(step).any(|c| c.words == words);
    let mut faults = Vec::new();
    for (step, caution) in shipped.steps.iter().flat_map(|s| of_step(s).map(move |c| (s, c))) {
        let at = own.index_of(&step.code);
        let kept = match at {
            Some(i) => has(&own.steps[i], &caution.words),
            None => own.steps.iter().any(|s| has(s, &caution.words)),
        };
        if !kept {
            let reason = tr!("law asks for this caution, in these words: {}", caution.words);
            faults.push(Fault { spot: at.map_or(Spot::Protocol, Spot::Step), field: "cautions", reason });
        }
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::Reference;

    #[test]
    fn a_caution_of_law_is_neither_taken_out_nor_said_otherwise() {
        let all = Reference::shipped();
        let mut with_law = 0;
        for shipped in &all.protocols {
            assert_eq!(missing(shipped, shipped), []);
            for (i, step) in shipped.steps.iter().enumerate() {
                for (n, _) in step.cautions.iter().enumerate().filter(|(_, c)| c.mark == Mark::Law) {
                    with_law += 1;
                    let mut out = shipped.clone();
                    out.steps[i].cautions.remove(n);
                    let mut weaker = shipped.clone();
                    weaker.steps[i].cautions[n].words.push('!');
                    let mut ours = shipped.clone();
                    ours.steps[i].cautions[n].mark = Mark::Salon;
                    for own in [out, weaker, ours] {
                        let faults = missing(shipped, &own);
                        assert_eq!(faults.len(), 1);
                        assert_eq!((faults[0].spot, faults[0].field), (Spot::Step(i), "cautions"));
                    }
                    // A step a salon does not have: its caution stands at another.
                    let mut moved = shipped.clone();
                    let gone = moved.steps.remove(i);
                    assert_eq!(missing(shipped, &moved)[0].spot, Spot::Protocol);
                    moved.steps[0].cautions.extend(gone.cautions);
                    assert_eq!(missing(shipped, &moved), []);
                }
            }
        }
        assert_eq!(with_law, 6, "in the shipped protocols");
    }
}
