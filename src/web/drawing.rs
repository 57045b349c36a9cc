//! A drawn signature: a PNG in a data address, decoded and looked at before it is kept.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

/// Most bytes of a drawing.
pub const MOST_BYTES: usize = 200_000;
/// Most pixels a side.
const MOST_SIDE: u32 = 4096;
const PREFIX: &str = "data:image/png;base64,";
/// The first bytes of every PNG (PNG specification, third edition, 5.2).
const SIGNATURE: [u8; 8] = [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a];

/// The bytes of the drawing, or what is wrong with it. Its chunks are walked to the end and their sums
/// checked: nothing hides behind the picture.
///
/// # Errors
/// Words for the field.
pub fn read(data: &str) -> Result<Vec<u8>, &'static str> {
    const BROKEN: &str = mark!("The drawing did not arrive whole. Draw it again, or type the name.");
    if data.len() > PREFIX.len() + MOST_BYTES.div_ceil(3) * 4 {
        return Err(tr!("The drawing is too large. Draw it again, smaller, or type the name."));
    }
    let bytes = data.strip_prefix(PREFIX).and_then(|x| STANDARD.decode(x).ok()).ok_or(BROKEN)?;
    let chunks = bytes.strip_prefix(&SIGNATURE).ok_or(BROKEN)?;
    if walk(chunks).is_some() { Ok(bytes) } else { Err(BROKEN) }
}

/// Walks the chunks (5.3): length, type, data, sum. IHDR first, at least one IDAT, IEND last and nothing after.
fn walk(mut rest: &[u8]) -> Option<()> {
    let (mut first, mut seen_data) = (true, false);
    loop {
        let length = u32::from_be_bytes(rest.get(..4)?.try_into().ok()?) as usize;
        let body = rest.get(4..8usize.checked_add(length)?)?;
        let sum = rest.get(8 + length..12 + length)?;
        if crc(body).to_be_bytes() != sum {
            return None;
        }
        let (kind, data) = body.split_at(4);
        match kind {
            b"IHDR" if first => {
                let side = |at: usize| Some(u32::from_be_bytes(data.get(at..at + 4)?.try_into().ok()?));
                if data.len() != 13 || ![side(0)?, side(4)?].iter().all(|s| (1..=MOST_SIDE).contains(s)) {
                    return None;
                }
            }
            _ if first => return None,
            b"IDAT" => seen_data = true,
            b"IEND" => return (seen_data && rest.len() == 12 + length).then_some(()),
            _ => {}
        }
        first = false;
        rest = &rest[12 + length..];
    }
}

/// The cyclic redundancy check of PNG (annex D).
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |c, _| if c & 1 == 1 { 0xedb8_8320 ^ (c >> 1) } else { c >> 1 })
    })
}

#[cfg(test)]
pub mod tests {
    use super::*;

    /// One white pixel, as any encoder writes it.
    pub const PIXEL: &str = "data:image/png;base64,iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mP8/5+hHgAHggJ/PchI7wAAAABJRU5ErkJggg==";

    #[test]
    fn the_sum_is_the_one_of_the_specification() {
        // IEND, empty: AE 42 60 82 ends every PNG.
        assert_eq!(crc(b"IEND"), 0xae42_6082);
    }

    #[test]
    fn a_picture_is_taken_and_anything_else_is_not() {
        assert!(read(PIXEL).is_ok());
        let bytes = read(PIXEL).unwrap();
        let encode = |b: &[u8]| format!("{PREFIX}{}", STANDARD.encode(b));
        let mut tail = bytes.clone();
        tail.extend_from_slice(b"<script>");
        let mut bent = bytes.clone();
        bent[20] ^= 1;
        let cut = &bytes[..bytes.len() - 12];
        for bad in [
            encode(&tail),
            encode(&bent),
            encode(cut),
            encode(b"GIF89a"),
            "data:image/svg+xml,<svg/>".into(),
            String::new(),
        ] {
            assert!(read(&bad).is_err(), "{bad}");
        }
        assert!(read(&"A".repeat(400_000)).is_err());
    }
}
