//! Tokens of links sent to clients: signed, so that none can be guessed and none need be kept.
//!
//! purpose (1 byte) ‖ link id (8 bytes) ‖ HMAC-SHA-256 (RFC 2104, FIPS 198-1) over salon, purpose, id and expiry with
//! the salon's key; base64url without padding (RFC 4648 §5).

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

/// What a token may do with its link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// Open what the link opens.
    Open,
    /// Stop messages to the address it was sent to (RFC 8058).
    Stop,
}

impl Purpose {
    const fn byte(self) -> u8 {
        match self {
            Purpose::Open => b'o',
            Purpose::Stop => b's',
        }
    }
}

/// A token as it came: not yet proved.
#[derive(Clone, Debug)]
pub struct Token {
    /// Which link it names.
    pub link: i64,
    /// What it wants to do.
    pub purpose: Purpose,
    mac: [u8; 32],
}

fn mac(key: &[u8], salon: i64, purpose: Purpose, link: i64, expires_s: i64) -> Hmac<Sha256> {
    let mut mac = Hmac::<Sha256>::new_from_slice(key).expect("HMAC takes a key of any length");
    mac.update(&salon.to_be_bytes());
    mac.update(&[purpose.byte()]);
    mac.update(&link.to_be_bytes());
    mac.update(&expires_s.to_be_bytes());
    mac
}

/// The token of a link that ends at `expires_s` (Unix seconds).
#[must_use]
pub fn make(key: &[u8], salon: i64, purpose: Purpose, link: i64, expires_s: i64) -> String {
    let mut bytes = vec![purpose.byte()];
    bytes.extend(link.to_be_bytes());
    bytes.extend(mac(key, salon, purpose, link, expires_s).finalize().into_bytes());
    URL_SAFE_NO_PAD.encode(bytes)
}

/// Reads a token; none when it cannot be one.
#[must_use]
pub fn read(text: &str) -> Option<Token> {
    if text.len() > 80 {
        return None;
    }
    let bytes = URL_SAFE_NO_PAD.decode(text).ok()?;
    let (purpose, rest) = bytes.split_first()?;
    let purpose = [Purpose::Open, Purpose::Stop].into_iter().find(|p| p.byte() == *purpose)?;
    let (link, mac) = rest.split_first_chunk::<8>()?;
    Some(Token { link: i64::from_be_bytes(*link), purpose, mac: mac.try_into().ok()? })
}

impl Token {
    /// Whether the salon signed it for a link with this end; compared in constant time.
    #[must_use]
    pub fn holds(&self, key: &[u8], salon: i64, expires_s: i64) -> bool {
        mac(key, salon, self.purpose, self.link, expires_s).verify_slice(&self.mac).is_ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_holds_for_its_salon_purpose_link_and_end_alone() {
        let key = [7u8; 32];
        let text = make(&key, 1, Purpose::Open, 42, 1_800_000_000);
        let token = read(&text).expect("our own");
        assert!(token.holds(&key, 1, 1_800_000_000));
        assert!(!token.holds(&key, 2, 1_800_000_000), "another salon");
        assert!(!token.holds(&key, 1, 1_800_000_001), "a later end");
        assert!(!token.holds(&[8u8; 32], 1, 1_800_000_000), "another key");
        let stop = read(&make(&key, 1, Purpose::Stop, 42, 1_800_000_000)).expect("our own");
        assert!(!Token { purpose: Purpose::Open, ..stop }.holds(&key, 1, 1_800_000_000), "another purpose");
        assert!(!Token { link: 43, ..token }.holds(&key, 1, 1_800_000_000), "another link");
    }

    #[test]
    fn one_changed_bit_is_no_token() {
        let key = [7u8; 32];
        let bytes = URL_SAFE_NO_PAD.decode(make(&key, 1, Purpose::Open, 42, 9)).expect("base64");
        for bit in 0..bytes.len() * 8 {
            let mut other = bytes.clone();
            other[bit / 8] ^= 1 << (bit % 8);
            let read = read(&URL_SAFE_NO_PAD.encode(other));
            assert!(!read.is_some_and(|t| t.holds(&key, 1, 9)), "bit {bit}");
        }
        for text in ["", "x", "0", &"A".repeat(55), &"A".repeat(500), "ä"] {
            assert!(!read(text).is_some_and(|t| t.holds(&key, 1, 9)), "{text}");
        }
    }

    /// RFC 4231 §4.2, test case 1: the HMAC under the token is the standard's.
    #[test]
    fn the_mac_is_hmac_sha_256() {
        let mut mac = Hmac::<Sha256>::new_from_slice(&[0x0b; 20]).expect("a key");
        mac.update(b"Hi There");
        let hex: String = mac.finalize().into_bytes().iter().map(|b| format!("{b:02x}")).collect();
        assert_eq!(hex, "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7");
    }
}
