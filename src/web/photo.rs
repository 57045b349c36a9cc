//! A photo that came in is decoded within limits and drawn anew: smaller, as JPEG, without anything the camera noted
//! (place, instant, device, thumbnail).

use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::imageops::FilterType;
use image::{DynamicImage, ImageDecoder as _, ImageFormat, ImageReader, Limits};
use tokio::sync::Semaphore;

/// Most bytes of a file that is looked at: 8 MB.
pub const FILE_MOST_BYTES: usize = 8 * 1024 * 1024;
/// Longest side of what is kept, in pixels.
pub const SIDE_MOST_PX: u32 = 1600;
/// Longest side of what is decoded, in pixels; phones take up to about 9250.
const DECODED_SIDE_MOST_PX: u32 = 10_000;
/// Memory one decoder may ask for.
const DECODED_MOST_BYTES: u64 = 256 * 1024 * 1024;
/// JPEG quality of what is kept: fine hair stays to be seen.
const QUALITY: u8 = 84;

/// One picture is drawn at a time: the memory of the program stays bounded whatever is sent.
static DRAWING: Semaphore = Semaphore::const_new(1);

/// A picture drawn anew.
pub struct Drawn {
    pub jpeg: Vec<u8>,
    pub width_px: i16,
    pub height_px: i16,
}

/// Why a file is no photo that can be kept, in words for the person who chose it.
#[derive(Debug, PartialEq, Eq)]
pub struct Unreadable(pub &'static str);

/// Draws a file anew.
///
/// # Errors
/// Not JPEG, PNG or WebP, broken, or too large.
pub async fn redraw(file: Vec<u8>) -> Result<Drawn, Unreadable> {
    // Closed never: the semaphore lives as long as the program.
    let _turn = DRAWING
        .acquire()
        .await
        .map_err(|_| Unreadable(tr!("Pictures cannot be taken in now. Try again.")))?;
    let drawn = tokio::task::spawn_blocking(move || draw(&file)).await;
    drawn.unwrap_or(Err(Unreadable(tr!("This picture cannot be read. Take it again."))))
}

fn draw(file: &[u8]) -> Result<Drawn, Unreadable> {
    if file.len() > FILE_MOST_BYTES {
        return Err(Unreadable(tr!("The picture is larger than 8 MB. Take a smaller one.")));
    }
    let kind = image::guess_format(file).ok();
    let Some(kind) = kind.filter(|k| matches!(k, ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP))
    else {
        return Err(Unreadable(tr!("Choose a photo: JPEG, PNG or WebP.")));
    };
    let broken = |_| Unreadable(tr!("This picture is broken, or larger than can be read. Take it again."));
    let mut limits = Limits::default();
    limits.max_image_width = Some(DECODED_SIDE_MOST_PX);
    limits.max_image_height = Some(DECODED_SIDE_MOST_PX);
    limits.max_alloc = Some(DECODED_MOST_BYTES);
    let mut reader = ImageReader::with_format(Cursor::new(file), kind);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(broken)?;
    let (width, height) = decoder.dimensions();
    // The decoders that reserve nothing before they begin are held to the same bound.
    if u64::from(width) * u64::from(height) * 4 > DECODED_MOST_BYTES {
        return Err(Unreadable(tr!("This picture has more pixels than can be read. Take a smaller one.")));
    }
    let turn = decoder.orientation().map_err(broken)?;
    let mut picture = DynamicImage::from_decoder(decoder).map_err(broken)?;
    picture.apply_orientation(turn);
    if picture.width() > SIDE_MOST_PX || picture.height() > SIDE_MOST_PX {
        picture = picture.resize(SIDE_MOST_PX, SIDE_MOST_PX, FilterType::Triangle);
    }
    let plain = picture.to_rgb8();
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY).encode_image(&plain).map_err(broken)?;
    // At most SIDE_MOST_PX.
    let side = |px: u32| i16::try_from(px).unwrap_or(i16::MAX);
    Ok(Drawn { jpeg, width_px: side(plain.width()), height_px: side(plain.height()) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{Rgb, RgbImage};

    fn picture(width: u32, height: u32, kind: ImageFormat) -> Vec<u8> {
        let drawn = RgbImage::from_fn(width, height, |x, y| Rgb([(x % 251) as u8, (y % 241) as u8, 90]));
        let mut file = Vec::new();
        DynamicImage::ImageRgb8(drawn).write_to(&mut Cursor::new(&mut file), kind).expect("written");
        file
    }

    /// A JPEG with an EXIF block that says "turned by 90 degrees" and carries a place (TIFF 6.0 tags, big endian).
    fn with_notes(jpeg: &[u8]) -> Vec<u8> {
        let mut tiff = b"MM\0\x2a\0\0\0\x08\0\x02".to_vec();
        tiff.extend(b"\x01\x12\0\x03\0\0\0\x01\0\x06\0\0"); // orientation 6
        tiff.extend(b"\x01\x0e\0\x02\0\0\0\x0d\0\0\0\x26"); // image description at 38
        tiff.extend(b"\0\0\0\0");
        tiff.extend(b"SECRET-PLACE\0");
        let mut block = b"Exif\0\0".to_vec();
        block.extend(tiff);
        let mut file = jpeg[..2].to_vec();
        file.extend([0xff, 0xe1]);
        file.extend(u16::try_from(block.len() + 2).expect("short").to_be_bytes());
        file.extend(block);
        file.extend(&jpeg[2..]);
        file
    }

    #[test]
    fn a_picture_is_drawn_smaller_and_keeps_its_shape() {
        for kind in [ImageFormat::Jpeg, ImageFormat::Png, ImageFormat::WebP] {
            let drawn = draw(&picture(2000, 500, kind)).map_err(|e| e.0).expect("drawn");
            assert_eq!((drawn.width_px, drawn.height_px), (1600, 400), "{kind:?}");
            assert!(drawn.jpeg.starts_with(&[0xff, 0xd8, 0xff]));
        }
        let small = draw(&picture(40, 30, ImageFormat::Png)).map_err(|e| e.0).expect("drawn");
        assert_eq!((small.width_px, small.height_px), (40, 30), "nothing is blown up");
    }

    // CIPA DC-008 (Exif): orientation 6 is shown turned by a quarter; everything else of the block is gone.
    #[test]
    fn what_the_camera_noted_is_gone_but_the_picture_stands_upright() {
        let noted = with_notes(&picture(40, 30, ImageFormat::Jpeg));
        assert!(noted.windows(12).any(|w| w == b"SECRET-PLACE"));
        let drawn = draw(&noted).map_err(|e| e.0).expect("drawn");
        assert_eq!((drawn.width_px, drawn.height_px), (30, 40));
        assert!(!drawn.jpeg.windows(12).any(|w| w == b"SECRET-PLACE"));
        assert!(!drawn.jpeg.windows(4).any(|w| w == b"Exif"));
    }

    #[test]
    fn what_is_no_picture_is_said_and_bombs_are_not_opened() {
        assert!(draw(b"<svg xmlns='http://www.w3.org/2000/svg'/>").is_err());
        assert!(draw(b"GIF89a\x01\0\x01\0\0\0\0;").is_err());
        let whole = picture(300, 300, ImageFormat::Jpeg);
        assert!(draw(&whole[..60]).is_err());
        assert!(draw(&vec![0xff; FILE_MOST_BYTES + 1]).is_err());
        // A PNG that says it is 30000 × 30000 in its head.
        let mut bomb = picture(3, 3, ImageFormat::Png);
        bomb[16..20].copy_from_slice(&30_000u32.to_be_bytes());
        bomb[20..24].copy_from_slice(&30_000u32.to_be_bytes());
        assert!(draw(&bomb).is_err());
    }
}
