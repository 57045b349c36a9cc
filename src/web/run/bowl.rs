//! What goes into the bowl: the lots of the product that waits, and which of them a scanner read.

use super::view::{Bowl, Maker};
use crate::domain::gs1::{self, Scan};
use crate::domain::protocol::{HoldPoint, Step};
use crate::store::run_frames::LotRow;
use crate::web::form::Choice;

/// The lot of a scan among those that may be dispensed, or what stands against it.
fn find<'a>(lots: &[&'a LotRow], scan: &Scan) -> Result<&'a LotRow, String> {
    let (gtin, code) = match scan {
        Scan::Elements(e) => (e.gtin.as_ref(), e.lot.as_deref()),
        Scan::Gtin { gtin, typed } => (Some(gtin), Some(typed.as_str())),
        Scan::Code(code) => (None, Some(code.as_str())),
    };
    let known = lots.first().and_then(|l| l.gtin.as_deref());
    // A number of another product: nothing of this code here can be meant.
    let other = matches!((gtin, known, scan), (Some(g), Some(k), Scan::Elements(_)) if g.digits() != k);
    if other {
        return Err("This is another product. It does not go into this bowl.".into());
    }
    let named = |l: &&&LotRow| code.is_some_and(|c| l.code.eq_ignore_ascii_case(c));
    if let Some(lot) = lots.iter().find(named) {
        return Ok(*lot);
    }
    let numbered = gtin.is_some_and(|g| known == Some(g.digits()));
    match (numbered, lots) {
        (true, [only]) if !matches!(scan, Scan::Elements(e) if e.lot.is_some()) => Ok(*only),
        (true, _) if code.is_none() || matches!(scan, Scan::Gtin { .. }) => {
            Err("The right product; the code says no lot. Choose it as printed.".into())
        }
        _ => Err(format!(
            "No lot in use of this product is called {}. Book it in on the Shelf, or choose another.",
            code.unwrap_or("so")
        )),
    }
}

impl Maker<'_> {
    pub(super) fn bowl(&self, step: &Step) -> Option<Bowl> {
        let letter = step.application.filter(|_| step.hold_points.contains(&HoldPoint::Lot))?;
        if self.state.dispensed.iter().any(|d| d.application == letter) {
            return None;
        }
        let product = self.loaded.products.iter().find(|p| p.application.starts_with(letter))?;
        let mine = |l: &&LotRow| l.product_id == product.product_id && !l.withdrawn && !l.quarantined;
        let lots: Vec<&LotRow> = self.around.lots.iter().filter(mine).collect();
        let found = (!self.around.scan.is_empty()).then(|| {
            let today = self.zone.day_of(self.now);
            gs1::read(&self.around.scan, today).map_err(|f| f.words()).and_then(|scan| find(&lots, &scan))
        });
        let (chosen, scanned, fault) = match found {
            None => (String::new(), String::new(), String::new()),
            Some(Ok(l)) => (
                l.lot_id.to_string(),
                format!("Scanned: lot {}. Weigh, then dispense.", l.code),
                String::new(),
            ),
            Some(Err(words)) => (String::new(), String::new(), words),
        };
        let choices: Vec<(String, String)> = lots
            .iter()
            .map(|l| (l.lot_id.to_string(), format!("lot {}, {:.0} g left", l.code, l.left_grams.max(0.0))))
            .collect();
        let title =
            self.loaded.frame.protocol.application(letter).map(|a| a.title.clone()).unwrap_or_default();
        Some(Bowl {
            application: letter,
            title,
            product: product.name.clone(),
            lots: Choice::list(choices.iter().map(|(a, b)| (a.as_str(), b.as_str())), &[chosen.as_str()]),
            scanned,
            fault,
        })
    }

    /// What a bowl took beyond the book, said beside it; empty for nothing.
    pub(super) fn beyond_the_book(&self, lot: i64) -> String {
        let grams: f32 = self.around.beyond.iter().filter(|(id, _)| *id == lot).map(|(_, g)| g).sum();
        if grams > 0.0 {
            format!("; {grams:.0} g more than the book had, noted on the Shelf: count it")
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
