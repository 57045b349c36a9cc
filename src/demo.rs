//! The demo salon: invented people, dates relative to loading.

/// The demo manager's passphrase, printed on the sign-in page.
pub const PASSPHRASE: &str = "kestrels over the old mill";

/// PINs of the demo's people, printed on the sign-in page.
const PINS: [(&str, &str); 5] = [
    ("Tobias Fenn", "402917"),
    ("Ondine Marsh", "538206"),
    ("Priya Lund", "716043"),
    ("Mara Quill", "290658"),
    ("Joss Ember", "835192"),
];

/// The printed PIN of one of the demo's people.
pub fn pin_of(name: &str) -> Option<&'static str> {
    PINS.iter().find(|(n, _)| *n == name).map(|(_, pin)| *pin)
}
