//! Typed row identities. One type a table, so that ids of two tables cannot be swapped.

macro_rules! id {
    ($($(#[$doc:meta])* $name:ident),+ $(,)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(pub i64);
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }
        impl std::str::FromStr for $name {
            type Err = std::num::ParseIntError;
            fn from_str(s: &str) -> Result<Self, Self::Err> {
                s.parse().map($name)
            }
        }
    )+};
}

id! {
    /// One business: every other row belongs to one.
    SalonId,
    /// Somebody of the team.
    PersonId,
    /// A shared browser, paired once.
    StationId,
    /// Somebody whose hair is treated.
    ClientId,
    /// What a client told, read in the chair.
    ConsultId,
    /// A product on the shelf.
    ProductId,
    /// A delivered batch of a product.
    LotId,
    /// A skin test (patch test).
    SkinTestId,
    /// A test on hair (strand test, metallic-salt test).
    HairTestId,
    /// A planned service.
    PlanId,
    /// A service under way or ended.
    RunId,
    /// Something that went wrong and is followed up.
    IncidentId,
    /// A kept appointment.
    BookingId,
    /// One attempt to reach a client.
    FollowupId,
    /// A message to a client, in the outbox or gone.
    MessageId,
    /// A link sent to a client.
    LinkId,
    /// A secret link to somebody's bookings.
    CalendarFeedId,
    /// A wish on the waiting list.
    WaitingId,
    /// A file of clients being taken in.
    ImportId,
}
