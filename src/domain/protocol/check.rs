//! The floor of safety: no protocol is run that lacks what protects a person.

use super::Protocol;

/// Something wrong with a protocol, said with its place and reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Where: "step apply-1", "application A", "protocol".
    pub at: String,
    /// Why, in a sentence.
    pub reason: String,
}

/// Every fault at once; empty means that the protocol may be used.
pub fn check(protocol: &Protocol) -> Vec<Fault> {
    let mut faults = Vec::new();
    if protocol.steps.is_empty() {
        faults.push(Fault { at: "protocol".into(), reason: "it has no steps".into() });
    }
    faults
}
