//! Mail into a folder, for trial: one file a message, named by its Message-ID, whole or not at all.

use std::path::Path;

use super::{Letter, compose};
use crate::domain::message::retry::Ended;

/// Puts a message into the folder, made when missing. The same message again replaces its file.
pub async fn put(dir: &Path, letter: &Letter) -> Ended {
    let message = match compose::message(letter) {
        Ok(message) => message.formatted(),
        Err(why) => return Ended::NoSuchAddress(why),
    };
    let fine = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '.' | '@' | '_');
    let name: String = letter.reference.chars().filter(|c| fine(*c)).collect();
    let (part, whole) = (dir.join(format!("{name}.part")), dir.join(format!("{name}.eml")));
    let written = async {
        tokio::fs::create_dir_all(dir).await?;
        tokio::fs::write(&part, message).await?;
        tokio::fs::rename(&part, &whole).await
    };
    match written.await {
        Ok(()) => Ended::Accepted,
        Err(error) => Ended::NotNow(format!("the folder takes nothing: {error}")),
    }
}
