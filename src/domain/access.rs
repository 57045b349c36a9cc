//! Who may do what. The table is written once, here; screens ask it, and the access matrix test walks it.
//!
//! Facts (a first touch, a rinse, stop and rinse) ask for nobody: anyone at any paired station may record
//! one, locked or not. Source of the split: common practice, no source; local law and licences come first.

/// What somebody is in the salon.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// Owns the due list, the stock and the proof.
    Manager,
    /// Gives chemical services.
    Stylist,
    /// Rinses, neutralises, prepares.
    Assistant,
    /// Books and follows up; sees no health answers and no chemistry.
    Reception,
}

impl Role {
    /// All roles, in the order of the table.
    pub const ALL: [Role; 4] = [Role::Manager, Role::Stylist, Role::Assistant, Role::Reception];

    /// The code stored in the database.
    pub const fn code(self) -> &'static str {
        match self {
            Role::Manager => "manager",
            Role::Stylist => "stylist",
            Role::Assistant => "assistant",
            Role::Reception => "reception",
        }
    }

    /// The role of a stored code.
    pub fn from_code(code: &str) -> Option<Role> {
        Role::ALL.into_iter().find(|r| r.code() == code)
    }
}

/// Something a person does or sees that not everybody may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Act {
    /// Names and ways to reach a client; the client's record.
    SeeClients,
    /// Enter or change a client's record.
    KeepClients,
    /// Consult answers, tests, the strand, plans: health and chemistry.
    SeeHealth,
    /// Read the consult form with the client, have the consent signed.
    TakeConsult,
    /// Place a patch test, take it off.
    PlaceSkinTest,
    /// Read a patch test; do and read a strand or metallic-salt test.
    ReadTest,
    /// Measure and feel the hair, write what was told into the strand.
    MeasureHair,
    /// Plan a service, and plan it again.
    MakePlan,
    /// Start a run from a plan.
    StartRun,
    /// Start an opening chemical step (a qualification is asked as well).
    StartOpening,
    /// Start and end the other steps, closing ones included.
    StartStep,
    /// Sign scalp, patch test, strand test, plan.
    SignJudgement,
    /// Sign gloves, draping, base, barrier, hair state, eye protection, consent, lot.
    SignPreparation,
    /// Offer and accept responsibility for a run.
    HandOver,
    /// End a stop (the run's stylist or a manager; checked against the run as well).
    CloseStop,
    /// End a run.
    FinishRun,
    /// See products and lots.
    SeeShelf,
    /// Enter products, sheet times and lots.
    KeepShelf,
    /// Let a lot out of quarantine, judged anew.
    ReleaseLot,
    /// Who is due; note how it was followed up.
    FollowUp,
    /// Find openings, book, move, cancel; the day sheet.
    Book,
    /// The sign-off book and any visit.
    SeeProof,
    /// People, PINs, qualifications, stations, hours, the salon itself.
    KeepTeam,
    /// The salon's own copies of protocols: change, rehearse, publish.
    KeepProtocols,
    /// The overview: weeks, hours, times kept, how people differ.
    SeeOverview,
    /// Take a file of clients in.
    ImportClients,
    /// Whole records: copy them out, merge two, erase one.
    KeepRecords,
}

impl Act {
    /// All acts, in the order of the table.
    pub const ALL: [Act; 27] = [
        Act::SeeClients,
        Act::KeepClients,
        Act::SeeHealth,
        Act::TakeConsult,
        Act::PlaceSkinTest,
        Act::ReadTest,
        Act::MeasureHair,
        Act::MakePlan,
        Act::StartRun,
        Act::StartOpening,
        Act::StartStep,
        Act::SignJudgement,
        Act::SignPreparation,
        Act::HandOver,
        Act::CloseStop,
        Act::FinishRun,
        Act::SeeShelf,
        Act::KeepShelf,
        Act::ReleaseLot,
        Act::FollowUp,
        Act::Book,
        Act::SeeProof,
        Act::KeepTeam,
        Act::KeepProtocols,
        Act::SeeOverview,
        Act::ImportClients,
        Act::KeepRecords,
    ];
}

/// The table: may this role do this act?
pub const fn may(role: Role, act: Act) -> bool {
    use Role::*;
    match act {
        Act::SeeClients | Act::KeepClients => true,
        Act::SeeHealth | Act::TakeConsult | Act::PlaceSkinTest | Act::MeasureHair => {
            matches!(role, Manager | Stylist | Assistant)
        }
        Act::StartStep | Act::SignPreparation | Act::SeeShelf => {
            matches!(role, Manager | Stylist | Assistant)
        }
        Act::ReadTest | Act::MakePlan | Act::StartRun | Act::StartOpening | Act::SignJudgement => {
            matches!(role, Manager | Stylist)
        }
        Act::HandOver | Act::CloseStop | Act::FinishRun | Act::KeepShelf | Act::SeeProof => {
            matches!(role, Manager | Stylist)
        }
        Act::FollowUp | Act::Book => matches!(role, Manager | Stylist | Reception),
        // Two hundred new clients are the desk's work, as one is.
        Act::ImportClients => matches!(role, Manager | Reception),
        Act::KeepTeam | Act::KeepProtocols | Act::ReleaseLot | Act::SeeOverview | Act::KeepRecords => {
            matches!(role, Manager)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reception_sees_no_health_and_signs_nothing() {
        for act in [
            Act::SeeHealth,
            Act::SignJudgement,
            Act::SignPreparation,
            Act::StartOpening,
            Act::CloseStop,
            Act::ReadTest,
        ] {
            assert!(!may(Role::Reception, act), "{act:?}");
        }
    }

    #[test]
    fn an_assistant_closes_but_never_opens() {
        assert!(may(Role::Assistant, Act::StartStep));
        assert!(!may(Role::Assistant, Act::StartOpening));
        assert!(!may(Role::Assistant, Act::SignJudgement));
    }

    #[test]
    fn codes_go_both_ways() {
        for role in Role::ALL {
            assert_eq!(Role::from_code(role.code()), Some(role));
        }
        assert_eq!(Role::from_code("owner"), None);
    }
}
