//! What a client's skin tests ask of the calendar.

use time::{Duration, OffsetDateTime};

use crate::store::openings::SkinTestState;

/// How long before the service it is placed, hours (trade-rules.md, hold points: 48 h or more).
pub const PATCH_HOURS_BEFORE: i64 = 48;

/// What the client's skin tests ask of the calendar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SkinTest {
    /// Nothing of this service is tested on skin.
    NotOnSkin,
    /// Placed and read, and valid as far as was looked.
    Holds,
    /// Placed and not read yet; the service may be 48 hours after.
    Unread {
        /// From when the service may be given.
        from: OffsetDateTime,
    },
    /// A visit has to come before.
    Visit,
    /// There was a reaction.
    Reacted,
}

/// What the skin says, over all products of the service, until the last day looked at.
#[must_use]
pub fn skin_test(
    states: &[SkinTestState],
    chemical: bool,
    valid_days: i64,
    now: OffsetDateTime,
    until: OffsetDateTime,
) -> SkinTest {
    if states.iter().any(|p| p.reacted) {
        return SkinTest::Reacted;
    }
    let on_skin: Vec<&SkinTestState> = states.iter().filter(|p| p.on_skin).collect();
    if on_skin.is_empty() {
        // No plan yet, so no products known: what will be used may be one that is tested.
        return if chemical && states.is_empty() { SkinTest::Visit } else { SkinTest::NotOnSkin };
    }
    let valid = |placed: OffsetDateTime| placed + Duration::days(valid_days) >= until;
    let on_long_enough = |placed: OffsetDateTime| placed + Duration::hours(PATCH_HOURS_BEFORE);
    if on_skin.iter().all(|p| p.held_from.is_some_and(valid)) {
        return SkinTest::Holds;
    }
    // What was not read within the salon's validity was forgotten: a new visit.
    let fresh = |placed: OffsetDateTime| placed + Duration::days(14) >= now && valid(placed);
    let from: Option<Vec<OffsetDateTime>> = on_skin
        .iter()
        .map(|p| match (p.held_from.filter(|t| valid(*t)), p.unread_from.filter(|t| fresh(*t))) {
            (Some(held), _) => Some(on_long_enough(held)),
            (None, unread) => unread.map(on_long_enough),
        })
        .collect();
    match from.and_then(|all| all.into_iter().max()) {
        Some(from) => SkinTest::Unread { from },
        None => SkinTest::Visit,
    }
}
