//! What is in the bowl of an application: one product, or two mixed for this head, and how long that may be used.
//!
//! From trade-rules.md: a mixture dies or strengthens as it stands, is made for one head and used within the sheet's time;
//! the rest is thrown away. Here it is as old as the older of its last two parts: adding to one of them makes it no
//! younger, two new parts do. The database says the same (migration "mixtures and lots").

use super::holds::FrameProduct;
use super::refusal::Refusal;
use super::state::{Dispensed, State};
use super::value::Instant;
use crate::domain::ids::{LotId, ProductId};
use crate::domain::protocol::{HoldPoint, Step, StepCode};
use time::Duration;

/// Of which product a lot is; none when it is no lot of the service.
pub type ProductOf<'a> = &'a dyn Fn(LotId) -> Option<ProductId>;

/// The last lots in the bowl of an application.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bowl {
    /// Of the application's own product.
    pub own: Option<Dispensed>,
    /// Of what that is mixed with.
    pub part: Option<Dispensed>,
}

/// A mixture, as far as its parts are known on the Shelf.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mixture {
    /// For which application.
    pub application: char,
    /// Its parts stand on the Shelf as two products.
    pub of_two: bool,
    /// What is in the bowl.
    pub bowl: Bowl,
    /// Minutes its sheet gives it; none when that was not entered.
    pub life_min: Option<u16>,
}

impl Mixture {
    /// When it was made: the older of its last two parts. None while one is missing, or its parts are not known.
    pub fn made_at(&self) -> Option<Instant> {
        Some(self.bowl.own?.at.min(self.bowl.part?.at)).filter(|_| self.of_two)
    }

    /// Until when it may be used, the last instant included; `answered` is when it was said to be mixed now, which is all
    /// that is known where the parts are not. None without a life by the sheet.
    pub fn until(&self, answered: Instant) -> Option<Instant> {
        let made = self.made_at().map_or(answered, |made| made.min(answered));
        Some(made.saturating_add(Duration::minutes(i64::from(self.life_min?))))
    }

    /// Both parts were dispensed anew after the record's place `seq`: what was answered there speaks of another mixture.
    pub fn renewed_after(&self, seq: i64) -> bool {
        let anew = |d: Option<Dispensed>| d.is_some_and(|d| d.seq > seq);
        self.of_two && anew(self.bowl.own) && anew(self.bowl.part)
    }

    /// Which part is not in the bowl.
    pub fn lacks(&self) -> Option<Refusal> {
        let application = self.application;
        match (self.bowl.own, self.bowl.part) {
            _ if !self.of_two => None,
            (None, _) => Some(Refusal::LotNotDispensed { application }),
            (_, None) => Some(Refusal::PartNotDispensed { application }),
            _ => None,
        }
    }

    /// It has stood for longer than it lives.
    pub fn dead_at(&self, now: Instant, answered: Instant) -> Option<Refusal> {
        let until = self.until(answered).filter(|until| now > *until)?;
        Some(Refusal::MixtureDead { application: self.application, until })
    }
}

impl State<'_> {
    /// What is in the bowl of a product's application.
    pub fn bowl(&self, product: &FrameProduct, product_of: ProductOf<'_>) -> Bowl {
        let last = |fits: &dyn Fn(&ProductId) -> bool| {
            let mine = |d: &&Dispensed| d.application == product.application;
            let of = |d: &&Dispensed| product_of(d.lot).is_some_and(|p| fits(&p));
            self.dispensed.iter().rev().filter(mine).find(of).copied()
        };
        // A lot that is none of the service's stands as its own, so that it is judged, and refused.
        let unknown = || {
            let mine = |d: &&Dispensed| d.application == product.application;
            self.dispensed.iter().rev().find(mine).filter(|d| product_of(d.lot).is_none()).copied()
        };
        Bowl {
            own: last(&|p| *p == product.product).or_else(unknown),
            part: last(&|p| product.parts.contains(p)),
        }
    }

    /// The mixture a step puts on; none where nothing mixed goes on.
    pub fn mixture_of(&self, step: &Step, product_of: ProductOf<'_>) -> Option<Mixture> {
        let letter = step.application.filter(|_| step.hold_points.contains(&HoldPoint::Mixed))?;
        let product = self.frame.product(letter)?;
        Some(Mixture {
            application: letter,
            of_two: !product.parts.is_empty(),
            bowl: self.bowl(product, product_of),
            life_min: product.mixed_life_min,
        })
    }

    /// Until when the mixture of a step may be used, with what was answered for it; none when nothing mixed is answered
    /// for, or its sheet gives it no life.
    pub fn mixture_until(&self, code: &StepCode, product_of: ProductOf<'_>) -> Option<Instant> {
        let mixture = self.mixture_of(self.frame.protocol.step(code)?, product_of)?;
        let answered = self.signature(HoldPoint::Mixed, code)?;
        mixture.until(answered.recorded_at)
    }
}
