//! The number of goods, 14 digits, its check digit held.

use super::ScanFault;

/// A Global Trade Item Number in 14 digits; shorter ones are filled with zeros in front.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Gtin(String);

impl Gtin {
    /// Reads 8, 12, 13 or 14 digits.
    ///
    /// # Errors
    /// Another length, something but digits, or a check digit that does not hold.
    pub fn read(text: &str) -> Result<Gtin, ScanFault> {
        let text = text.trim();
        if !text.bytes().all(|b| b.is_ascii_digit()) {
            return Err(ScanFault::NotDigits { ai: "01".into() });
        }
        if !matches!(text.len(), 8 | 12 | 13 | 14) {
            return Err(ScanFault::Length { ai: "01".into(), got: text.len() });
        }
        let full = format!("{text:0>14}");
        // All zeros hold by sum and number nothing.
        if check_digit(&full[..13]) != full.as_bytes()[13] - b'0' || full.bytes().all(|b| b == b'0') {
            return Err(ScanFault::CheckDigit { digits: text.into() });
        }
        Ok(Gtin(full))
    }

    /// The 14 digits.
    pub fn digits(&self) -> &str {
        &self.0
    }
}

/// The check digit after `digits`: weights 3 and 1 from the right, beginning with 3; what is missing to the next
/// multiple of ten (General Specifications, 7.9).
pub(super) fn check_digit(digits: &str) -> u8 {
    let sum: u32 = digits
        .bytes()
        .rev()
        .enumerate()
        .map(|(i, b)| u32::from(b.wrapping_sub(b'0')) * if i % 2 == 0 { 3 } else { 1 })
        .sum();
    ((10 - sum % 10) % 10) as u8
}
