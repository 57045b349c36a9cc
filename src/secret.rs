//! Secrets at the edge: tokens, PINs, passphrases. Only hashes are ever kept.
//!
//! argon2id with m = 19456 KiB, t = 2, p = 1 (OWASP Password Storage cheat sheet, the floor of the issue).
//! Hashing runs off the async threads; at most two at once, at most 32 waiting, then "busy".

pub mod link;

use std::sync::Arc;

use argon2::password_hash::{PasswordHasher, PasswordVerifier, phc::PasswordHash};
use argon2::{Algorithm, Argon2, Params, Version};
use base64::Engine as _;
use sha2::{Digest, Sha256};
use tokio::sync::Semaphore;

/// Least digits of a PIN.
pub const PIN_LEAST_DIGITS: usize = 6;
/// Least characters of a passphrase (NIST SP 800-63B-4 §3.1.1.2, single factor).
pub const PASSPHRASE_LEAST: usize = 15;
/// Longest secret taken.
pub const SECRET_MOST: usize = 200;

/// Why a secret is not taken as a new one, in words; `None` when it is fine.
pub fn pin_fault(pin: &str) -> Option<&'static str> {
    if !pin.chars().all(|c| c.is_ascii_digit()) {
        return Some(mark!("A PIN is digits only."));
    }
    if pin.len() < PIN_LEAST_DIGITS || pin.len() > 12 {
        return Some(mark!("A PIN has 6 to 12 digits."));
    }
    let digits = pin.as_bytes();
    let steps: Vec<i16> = digits.windows(2).map(|w| i16::from(w[1]) - i16::from(w[0])).collect();
    if steps.windows(2).all(|w| w[0] == w[1]) {
        return Some(mark!("Not a row such as 111111 or 123456: choose digits nobody guesses."));
    }
    None
}

/// Why a passphrase is not taken as a new one, in words; `None` when it is fine.
pub fn passphrase_fault(phrase: &str) -> Option<&'static str> {
    let length = phrase.chars().count();
    if length < PASSPHRASE_LEAST {
        return Some(mark!("A passphrase has at least 15 characters: a few words are easy to keep."));
    }
    if phrase.len() > SECRET_MOST {
        return Some(mark!("A passphrase has at most 200 bytes."));
    }
    let first = phrase.chars().next();
    if phrase.chars().all(|c| Some(c) == first) {
        return Some(mark!("Not one character over and over: choose words nobody guesses."));
    }
    None
}

/// 32 random bytes as text for a cookie, with the hash that is stored.
pub fn new_token() -> (String, Vec<u8>) {
    let bytes: [u8; 32] = random();
    let text = base64::engine::general_purpose::URL_SAFE_NO_PAD.encode(bytes);
    let hash = token_hash(&text);
    (text, hash)
}

/// A one-time pairing code: eight digits.
pub fn new_pairing_code() -> String {
    let n = u64::from_le_bytes(random());
    format!("{:08}", n % 100_000_000)
}

/// A random version 4 UUID (RFC 9562) as text: the idempotency key of a form.
pub fn new_uuid() -> String {
    let mut b: [u8; 16] = random();
    b[6] = (b[6] & 0x0f) | 0x40;
    b[8] = (b[8] & 0x3f) | 0x80;
    let h: String = b.iter().map(|x| format!("{x:02x}")).collect();
    format!("{}-{}-{}-{}-{}", &h[..8], &h[8..12], &h[12..16], &h[16..20], &h[20..])
}

/// Random bytes from the system.
pub fn random<const N: usize>() -> [u8; N] {
    let mut bytes = [0u8; N];
    getrandom::fill(&mut bytes).expect("the system's random source answers");
    bytes
}

/// What is stored of a token: its SHA-256. A token is random and long, a slow hash adds nothing.
pub fn token_hash(token: &str) -> Vec<u8> {
    Sha256::digest(token.as_bytes()).to_vec()
}

/// The hasher said no.
#[derive(Debug)]
pub enum HashError {
    /// Too many are waiting: try again in a moment.
    Busy,
    /// The stored hash cannot be read, or hashing failed.
    Broken,
}

/// Slow hashing with a bounded queue.
#[derive(Clone)]
pub struct Hasher {
    running: Arc<Semaphore>,
    waiting: Arc<Semaphore>,
}

impl Default for Hasher {
    fn default() -> Self {
        Hasher { running: Arc::new(Semaphore::new(2)), waiting: Arc::new(Semaphore::new(32)) }
    }
}

fn argon() -> Argon2<'static> {
    let params =
        Params::new(19_456, 2, 1, None).expect("the floor's parameters are within argon2's own limits");
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
}

impl Hasher {
    async fn run<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, HashError> {
        let place = self.waiting.clone().try_acquire_owned().map_err(|_| HashError::Busy)?;
        let turn = self.running.clone().acquire_owned().await.map_err(|_| HashError::Broken)?;
        tokio::task::spawn_blocking(move || {
            // The permits end with the work, not with the request that asked for it.
            let (_place, _turn) = (place, turn);
            work()
        })
        .await
        .map_err(|_| HashError::Broken)
    }

    /// The PHC string of a new secret.
    pub async fn hash(&self, secret: &str) -> Result<String, HashError> {
        let secret = secret.to_owned();
        self.run(move || argon().hash_password(secret.as_bytes()).map(|h| h.to_string()))
            .await?
            .map_err(|_| HashError::Broken)
    }

    /// Whether a secret is the stored one. `stored` absent hashes all the same, so that time tells nothing.
    pub async fn verify(&self, secret: &str, stored: Option<String>) -> Result<bool, HashError> {
        let secret = secret.to_owned();
        self.run(move || match stored {
            Some(stored) => {
                let Ok(parsed) = PasswordHash::new(&stored) else { return Err(HashError::Broken) };
                Ok(argon().verify_password(secret.as_bytes(), &parsed).is_ok())
            }
            None => {
                let _ = argon().hash_password(secret.as_bytes());
                Ok(false)
            }
        })
        .await?
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pins_that_anybody_guesses_are_not_taken() {
        for bad in ["12345", "111111", "123456", "654321", "12345a", "1234567890123"] {
            assert!(pin_fault(bad).is_some(), "{bad}");
        }
        assert!(pin_fault("402917").is_none());
    }

    #[test]
    fn a_passphrase_has_fifteen_characters() {
        assert!(passphrase_fault("short words").is_some());
        assert!(passphrase_fault("aaaaaaaaaaaaaaaaaaaa").is_some());
        assert!(passphrase_fault("three calm herons wade").is_none());
    }

    #[test]
    fn a_uuid_is_version_four() {
        let u = new_uuid();
        assert_eq!(u.len(), 36);
        assert_eq!(&u[14..15], "4");
        assert_ne!(u, new_uuid());
    }

    #[tokio::test]
    async fn a_secret_is_known_again_and_another_is_not() {
        let hasher = Hasher::default();
        let stored = hasher.hash("402917").await.unwrap();
        // OWASP Password Storage cheat sheet: argon2id, m=19456, t=2, p=1.
        assert!(stored.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{stored}");
        assert!(hasher.verify("402917", Some(stored.clone())).await.unwrap());
        assert!(!hasher.verify("402918", Some(stored)).await.unwrap());
        assert!(!hasher.verify("402917", None).await.unwrap());
    }
}
