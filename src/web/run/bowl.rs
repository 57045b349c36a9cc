//! What goes into the bowl: the lots of what waits, of both parts where it is mixed, and which of them a scanner read.

use serde::Deserialize;

use super::view::{Maker, ms};
use crate::domain::gs1::{self, Scan};
use crate::domain::ids::{LotId, ProductId};
use crate::domain::lot::Verdict;
use crate::domain::protocol::{HoldPoint, Meaning, Step};
use crate::domain::run::holds::FrameProduct;
use crate::domain::run::mixture::{Bowl as InBowl, Mixture};
use crate::domain::run::state::Dispensed;
use crate::store::run_frames::LotRow;
use crate::web::form::Choice;

/// What was picked, weighed or scanned for a bowl: from the address of the page, or from a form that came back.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Picked {
    /// What a scanner typed into the field.
    pub scan: String,
    /// The lot of the product itself, of its other part.
    pub lot: String,
    pub part: String,
    pub grams: String,
    pub part_grams: String,
}

impl Picked {
    /// As it goes with the live part's address, so that what was picked stays; empty for nothing.
    pub(super) fn query(&self) -> String {
        let pairs = [("scan", &self.scan), ("lot", &self.lot), ("part", &self.part)];
        let said: Vec<String> = pairs
            .iter()
            .filter(|(_, value)| !value.is_empty())
            .map(|(name, value)| format!("{name}={}", crate::web::page::query_value(value)))
            .collect();
        if said.is_empty() { String::new() } else { format!("?{}", said.join("&")) }
    }
}

/// One part to dispense: a product, its lots, its grams.
pub(super) struct Part {
    pub(super) product: String,
    pub(super) lots: Vec<Choice>,
    pub(super) grams: String,
}

/// What is dispensed before a step: the product, and what it is mixed with.
pub(super) struct Bowl {
    pub(super) application: char,
    pub(super) title: String,
    pub(super) own: Option<Part>,
    pub(super) part: Option<Part>,
    /// Picked by a scan before this one, carried on.
    pub(super) picked: (String, String),
    /// A mixture whose other part the Shelf does not name: only one lot can be noted.
    pub(super) half_known: bool,
    /// What closes the hair: the lot is noted so that a recall finds it, and the step waits for nothing.
    pub(super) closes: bool,
    /// The bowl is whole: a further part of a mixture of three, or more of one, may go into it. Its lots, of every part.
    pub(super) more: Option<Part>,
    /// Why the bowl is asked for again; empty the first time.
    pub(super) why: String,
    /// The lot a scanner read, in words; empty for none.
    pub(super) scanned: String,
    /// Why what was scanned is no lot for this bowl; empty for none.
    pub(super) fault: String,
}

/// The lot of a scan among those that may be dispensed, or what stands against it.
fn find<'a>(lots: &[&'a LotRow], scan: &Scan) -> Result<&'a LotRow, String> {
    let (gtin, code, elements) = match scan {
        Scan::Elements(e) => (e.gtin.as_ref(), e.lot.as_deref(), true),
        Scan::Gtin { gtin, typed } => (Some(gtin), Some(typed.as_str()), false),
        Scan::Code(code) => (None, Some(code.as_str()), false),
    };
    // A number of another product: nothing of this code here can be meant.
    let fits = |l: &&&LotRow| match (gtin, l.gtin.as_deref()) {
        (Some(g), Some(known)) if elements => g.digits() == known,
        _ => true,
    };
    let fitting: Vec<&LotRow> = lots.iter().filter(fits).copied().collect();
    if fitting.is_empty() && !lots.is_empty() {
        return Err(tr!("This is another product. It does not go into this bowl.").into());
    }
    let named = |l: &&&LotRow| code.is_some_and(|c| l.code.eq_ignore_ascii_case(c));
    let called: Vec<&LotRow> = fitting.iter().filter(named).copied().collect();
    match called.as_slice() {
        [] => {}
        [one] => return Ok(one),
        _ => {
            return Err(
                tr!("Lots of both parts are called so. Choose by hand, or scan the whole code.").into()
            );
        }
    }
    let numbered: Vec<&LotRow> = lots
        .iter()
        .filter(|l| gtin.is_some_and(|g| l.gtin.as_deref() == Some(g.digits())))
        .copied()
        .collect();
    match numbered.as_slice() {
        [only] if !(elements && code.is_some()) => Ok(only),
        [_, ..] if code.is_none() || !elements => {
            Err(tr!("The right product; the code says no lot. Choose it as printed.").into())
        }
        _ => Err(tr!(
            "No lot in use of this product is called {}. Book it in on the Shelf, or choose another.",
            code.unwrap_or("so")
        )),
    }
}

impl Maker<'_> {
    fn product_of(&self, lot: LotId) -> Option<ProductId> {
        self.around.lots.iter().find(|l| l.lot_id == lot.0).map(|l| ProductId(l.product_id))
    }

    /// May be dispensed today, as far as its row says.
    fn usable(&self, l: &LotRow) -> bool {
        let today = self.zone.day_of(self.now);
        let opened = l.opened_on.zip(l.opened_life_days);
        let until = opened.and_then(|(on, days)| on.checked_add(time::Duration::days(i64::from(days))));
        let outside = l.law_verdict == Verdict::Outside.code();
        !l.withdrawn
            && !l.quarantined
            && !outside
            && l.best_before.is_none_or(|d| d >= today)
            && until.is_none_or(|d| d >= today)
    }

    fn mixture(&self, step: &Step) -> Option<Mixture> {
        self.state.mixture_of(step, &|lot| self.product_of(lot))
    }

    /// Why what is in the bowl does not go on; empty where it may, or nothing is in it yet.
    fn bowl_spoiled(&self, step: &Step, bowl: &InBowl) -> String {
        let unfit = |d: &Option<Dispensed>| {
            d.is_some_and(|d| {
                self.around.lots.iter().find(|l| l.lot_id == d.lot.0).is_none_or(|l| !self.usable(l))
            })
        };
        if unfit(&bowl.own) || unfit(&bowl.part) {
            return tr!("A lot in the bowl may no longer be used. Throw the bowl away and dispense anew.")
                .into();
        }
        let Some(mixture) = self.mixture(step) else { return String::new() };
        let answered = self.state.signature(HoldPoint::Mixed, &step.code);
        let at = answered.map_or(self.now, |x| x.recorded_at);
        if mixture.dead_at(self.now, at).is_some() {
            let until = mixture.until(at).map(|u| self.clock(u)).unwrap_or_default();
            return tr!(
                "The mixture could be used until {until}. Throw it away and mix anew.",
                until = until
            );
        }
        let failed = answered.filter(|x| x.signed.answer().is_none_or(|a| a.meaning != Meaning::Holds));
        let stands = failed.is_some_and(|x| bowl.own.is_none_or(|d| d.seq < x.seq));
        if stands { tr!("Throw this mixture away and mix anew.").into() } else { String::new() }
    }

    fn part(&self, lots: &[&LotRow], product: String, (chosen, grams): (&str, &str)) -> Part {
        let several = lots.windows(2).any(|w| w[0].product_id != w[1].product_id);
        let choices: Vec<(String, String)> = lots
            .iter()
            .map(|l| {
                let of = if several { format!("{}, ", l.product) } else { String::new() };
                let words = tr!(
                    "{of}lot {}, {} g left",
                    l.code,
                    format_args!("{:.0}", l.left_grams.max(0.0)),
                    of = of
                );
                (l.lot_id.to_string(), words)
            })
            .collect();
        Part {
            product,
            lots: Choice::names(choices.iter().map(|(a, b)| (a.as_str(), b.as_str())), &[chosen]),
            grams: grams.to_string(),
        }
    }

    pub(super) fn bowl(&self, step: &Step) -> Option<Bowl> {
        // What closes hair is dispensed as well, and never waited for; after a stop nothing is weighed.
        let closes = step.is_closing() && self.state.stop.is_none();
        let letter = step.application.filter(|_| closes || step.hold_points.contains(&HoldPoint::Lot))?;
        let product: &FrameProduct = self.state.frame.product(letter)?;
        let in_bowl = self.state.bowl(product, &|lot| self.product_of(lot));
        let why = self.bowl_spoiled(step, &in_bowl);
        let mixed = !product.parts.is_empty();
        let ask_own = !why.is_empty() || in_bowl.own.is_none();
        let ask_part = mixed && (!why.is_empty() || in_bowl.part.is_none());
        if !ask_own && !ask_part && closes {
            return None;
        }
        let of = |wanted: &dyn Fn(ProductId) -> bool| -> Vec<&LotRow> {
            self.around.lots.iter().filter(|l| wanted(ProductId(l.product_id)) && self.usable(l)).collect()
        };
        let own = if ask_own { of(&|p| p == product.product) } else { Vec::new() };
        let parts = if ask_part { of(&|p| product.parts.contains(&p)) } else { Vec::new() };
        let whole = !ask_own && !ask_part;
        let every = of(&|p| whole && (p == product.product || product.parts.contains(&p)));
        let picked = &self.around.picked;
        let (mut lot, mut part) = (picked.lot.clone(), picked.part.clone());
        let (mut scanned, mut fault) = (String::new(), String::new());
        if !picked.scan.is_empty() {
            let both: Vec<&LotRow> = own.iter().chain(&parts).chain(&every).copied().collect();
            let today = self.zone.day_of(self.now);
            match gs1::read(&picked.scan, today).map_err(|f| f.words()).and_then(|scan| find(&both, &scan)) {
                Ok(l) => {
                    let mine = whole || l.product_id == product.product.0;
                    *(if mine { &mut lot } else { &mut part }) = l.lot_id.to_string();
                    scanned = tr!("Scanned: {}, lot {}. Weigh, then dispense.", l.product, l.code);
                }
                Err(words) => fault = words,
            }
        }
        let application = self.loaded.frame.protocol.application(letter);
        let name = self.loaded.products.iter().find(|p| p.application.starts_with(letter));
        let name = name.map(|p| p.name.clone()).unwrap_or_default();
        // Nothing to choose from: what does not hold a step up is not asked for in vain.
        if closes && own.is_empty() {
            return None;
        }
        let grams = if picked.grams.is_empty() { "60" } else { &picked.grams };
        let first = parts.first().map_or_else(|| tr!("its other part").into(), |l| l.product.clone());
        let more = whole.then(|| self.part(&every, String::new(), (&lot, &picked.grams)));
        Some(Bowl {
            application: letter,
            title: application.map(|a| a.title.clone()).unwrap_or_default(),
            own: ask_own.then(|| self.part(&own, name, (&lot, grams))),
            part: ask_part.then(|| self.part(&parts, first, (&part, &picked.part_grams))),
            picked: (lot, part),
            more,
            closes,
            half_known: !mixed && step.hold_points.contains(&HoldPoint::Mixed),
            why,
            scanned,
            fault,
        })
    }

    /// Until when the mixture of the step in hand, or of the next, may be used: what to say and the instant. None where
    /// nothing mixed is answered for, or its sheet gives it no life.
    pub(super) fn mixture_reading(&self) -> Option<(&'static str, String, String)> {
        let of = |lot| self.product_of(lot);
        let step = self.state.step_in_hand().filter(|s| self.mixture(s).is_some());
        let step = step.or_else(|| self.state.next_step())?;
        let until = self.state.mixture_until(&step.code, &of)?;
        let past = ms(self.now) > ms(until);
        let words =
            if past { tr!("put on no more of it: mix anew") } else { tr!("by its sheet; then mix anew") };
        Some((
            if past { tr!("Mixture past its time") } else { tr!("Mixture, use until") },
            self.clock(until),
            words.into(),
        ))
    }

    /// What a bowl took beyond the book, said beside it; empty for nothing.
    pub(super) fn beyond_the_book(&self, lot: i64) -> String {
        let grams: f32 = self.around.beyond.iter().filter(|(id, _)| *id == lot).map(|(_, g)| g).sum();
        if grams > 0.0 {
            tr!(
                "; {grams} g more than the book had, noted on the Shelf: count it",
                grams = format_args!("{:.0}", grams)
            )
        } else {
            String::new()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    fn lot(lot_id: i64, code: &str) -> LotRow {
        LotRow {
            lot_id,
            product_id: 1,
            code: code.into(),
            best_before: None,
            opened_on: None,
            opened_life_days: None,
            withdrawn: false,
            quarantined: false,
            law_verdict: "within".into(),
            contents: None,
            ph: None,
            gtin: Some("09521234543213".into()),
            product: "Kestrel Smooth".into(),
            received_grams: 900.0,
            left_grams: 500.0,
        }
    }

    #[test]
    fn a_scan_finds_its_lot_and_another_products_code_finds_none() {
        let (a, b) = (lot(1, "KR-1"), lot(2, "KR-2"));
        let lots = [&a, &b];
        let asked =
            |raw: &str| find(&lots, &gs1::read(raw, date!(2026 - 11 - 25)).expect(raw)).map(|l| l.lot_id);
        assert_eq!(asked("kr-2"), Ok(2));
        assert_eq!(asked("(01)09521234543213(10)KR-2"), Ok(2));
        assert!(asked("(01)09506000134352(10)KR-2").is_err(), "another product's number");
        assert!(asked("(01)09521234543213(10)KR-9").is_err());
        assert!(asked("9521234543213").is_err(), "two lots: which one is not guessed");
        assert_eq!(
            find(&lots[..1], &gs1::read("9521234543213", date!(2026 - 11 - 25)).expect("read"))
                .map(|l| l.lot_id),
            Ok(1)
        );
    }
}
