//! The files under `static/`, embedded, served under a hash of all their contents.
//!
//! One hash for the whole folder keeps relative addresses (a face from a sheet, a module from a
//! module) working, and lets every answer be kept for ever: new contents have a new address.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::sync::OnceLock;

use axum::Router;
use axum::body::Body;
use axum::extract::Path;
use axum::http::{HeaderMap, Response, StatusCode, header};
use axum::routing::get;
use include_dir::{Dir, include_dir};
use sha2::{Digest, Sha256};

static STATIC: Dir<'static> = include_dir!("$CARGO_MANIFEST_DIR/static");

/// The sheets of every screen, in the order they build on each other. They go out as one file, `css/all.css`: nothing is
/// painted before the last has come, and on a slow line each costs a journey.
const SHEETS: [&str; 5] =
    ["css/tokens.css", "css/base.css", "css/layout.css", "css/parts.css", "css/pictures.css"];

/// Gives addresses of static files; carries nothing, so every screen may hold one.
#[derive(Debug, Clone, Copy, Default)]
pub struct Assets;

impl Assets {
    /// The address of `path` below `static/`: `url("css/base.css")`.
    #[must_use]
    pub fn url(&self, path: &str) -> String {
        format!("/assets/{}/{path}", hash())
    }
}

/// First 16 hex digits of the SHA-256 over every file's path and contents, in path order.
#[must_use]
pub fn hash() -> &'static str {
    static HASH: OnceLock<String> = OnceLock::new();
    HASH.get_or_init(|| {
        let mut files: Vec<_> = Vec::new();
        gather(&STATIC, &mut files);
        files.sort();
        let mut sum = Sha256::new();
        for (path, contents) in files {
            // The lengths keep a name from running into the contents after it.
            sum.update((path.len() as u64).to_le_bytes());
            sum.update(path.as_bytes());
            sum.update((contents.len() as u64).to_le_bytes());
            sum.update(contents);
        }
        hex(&sum.finalize()[..8])
    })
}

fn gather(dir: &'static Dir<'static>, files: &mut Vec<(&'static str, &'static [u8])>) {
    files.extend(dir.files().filter_map(|file| Some((file.path().to_str()?, file.contents()))));
    dir.dirs().for_each(|inner| gather(inner, files));
}

/// A script as it is sent: without lines of comment and without indentation. Every line stays a line, so nothing it
/// means changes; a test holds that no text in a script spans lines.
fn lean(script: &str) -> String {
    let mut sent = String::with_capacity(script.len());
    let mut in_comment = false;
    for line in script.lines().map(str::trim) {
        let opens = line.starts_with("/*");
        if in_comment || opens {
            in_comment = !line.ends_with("*/");
        } else if !line.is_empty() && !line.starts_with("//") {
            sent.push_str(line);
            sent.push('\n');
        }
    }
    sent
}

/// What is sent of an embedded file.
fn contents(path: &str) -> Option<&'static [u8]> {
    static ALL: OnceLock<Vec<u8>> = OnceLock::new();
    static SCRIPTS: OnceLock<BTreeMap<&'static str, String>> = OnceLock::new();
    let file = |path: &str| STATIC.get_file(path).map(include_dir::File::contents);
    if path == "css/all.css" {
        let all =
            ALL.get_or_init(|| SHEETS.iter().filter_map(|sheet| file(sheet)).collect::<Vec<_>>().concat());
        return Some(all);
    }
    let scripts = SCRIPTS.get_or_init(|| {
        let mut files = Vec::new();
        gather(&STATIC, &mut files);
        let text = |(path, bytes)| Some((path, lean(std::str::from_utf8(bytes).ok()?)));
        files.into_iter().filter(|(path, _)| path.ends_with(".js")).filter_map(text).collect()
    });
    match scripts.get(path) {
        Some(script) => Some(script.as_bytes()),
        None => file(path),
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

fn content_type(path: &str) -> &'static str {
    match path.rsplit('.').next().unwrap_or_default() {
        "css" => "text/css; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "svg" => "image/svg+xml",
        "woff2" => "font/woff2",
        "txt" => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    }
}

/// The routes of the static files, for a router of any state.
pub fn routes<S: Clone + Send + Sync + 'static>() -> Router<S> {
    Router::new().route("/assets/{hash}/{*path}", get(serve))
}

async fn serve(Path((asked, path)): Path<(String, String)>, headers: HeaderMap) -> Response<Body> {
    let etag = format!("\"{}\"", hash());
    let Some(contents) = contents(&path) else {
        return answer(Response::builder().status(StatusCode::NOT_FOUND), Body::empty());
    };
    // A page made before an update asks under the old hash: it gets today's file, not kept.
    let keep = if asked == hash() { "public, max-age=31536000, immutable" } else { "no-store" };
    let head = Response::builder()
        .header(header::CONTENT_TYPE, content_type(&path))
        .header(header::CACHE_CONTROL, keep)
        .header(header::X_CONTENT_TYPE_OPTIONS, "nosniff")
        .header(header::ETAG, &etag);
    let known =
        headers.get_all(header::IF_NONE_MATCH).iter().any(|value| value.as_bytes() == etag.as_bytes());
    if known {
        return answer(head.status(StatusCode::NOT_MODIFIED), Body::empty());
    }
    answer(head, Body::from(contents))
}

fn answer(head: axum::http::response::Builder, body: Body) -> Response<Body> {
    head.body(body).expect("every header here is a fixed ASCII string or hex digits")
}

#[cfg(test)]
mod tests {
    use axum::body::to_bytes;
    use axum::http::Request;
    use tower::ServiceExt as _;

    use super::*;

    async fn ask(path: &str, etag: Option<&str>) -> Response<Body> {
        let mut request = Request::get(path);
        if let Some(etag) = etag {
            request = request.header(header::IF_NONE_MATCH, etag);
        }
        routes::<()>().oneshot(request.body(Body::empty()).unwrap()).await.unwrap()
    }

    #[tokio::test]
    async fn a_file_is_kept_for_ever_under_its_hash_and_not_at_all_under_another() {
        let answer = ask(&Assets.url("css/base.css"), None).await;
        assert_eq!(answer.status(), 200);
        assert_eq!(answer.headers()[header::CONTENT_TYPE], "text/css; charset=utf-8");
        assert_eq!(answer.headers()[header::CACHE_CONTROL], "public, max-age=31536000, immutable");
        let etag = answer.headers()[header::ETAG].to_str().unwrap().to_owned();
        let body = to_bytes(answer.into_body(), 1 << 20).await.unwrap();
        assert_eq!(body, STATIC.get_file("css/base.css").unwrap().contents());

        assert_eq!(ask(&Assets.url("css/base.css"), Some(&etag)).await.status(), 304);
        let old = ask("/assets/0123456789abcdef/css/base.css", None).await;
        assert_eq!(old.headers()[header::CACHE_CONTROL], "no-store");
    }

    #[tokio::test]
    async fn the_sheets_go_out_as_one_in_their_order() {
        let answer = ask(&Assets.url("css/all.css"), None).await;
        assert_eq!(answer.headers()[header::CONTENT_TYPE], "text/css; charset=utf-8");
        let body = to_bytes(answer.into_body(), 1 << 20).await.unwrap();
        let text = String::from_utf8(body.to_vec()).unwrap();
        let places: Vec<_> = SHEETS
            .iter()
            .map(|sheet| text.find(STATIC.get_file(sheet).unwrap().contents_utf8().unwrap()).unwrap())
            .collect();
        assert!(places.is_sorted(), "{places:?}");
        // Any other sheet is a document's own (copy.css), never forgotten here.
        let besides = STATIC.get_dir("css").unwrap().files().count() - SHEETS.len();
        assert_eq!(besides, 1);
    }

    #[tokio::test]
    async fn nothing_outside_the_folder_is_served() {
        for path in ["nothing.css", "../Cargo.toml", "css/../../Cargo.toml", "%2e%2e/Cargo.toml", "css"] {
            assert_eq!(ask(&Assets.url(path), None).await.status(), 404, "{path}");
        }
    }

    #[test]
    fn scripts_are_sent_without_their_comments_and_nothing_else() {
        assert_eq!(
            lean("// a\n/** b\n * c */\n/* d */\nlet x = 1; // e\n\n  y(`// f`);\n"),
            "let x = 1; // e\ny(`// f`);\n"
        );
        let mut files = Vec::new();
        gather(&STATIC, &mut files);
        let mut sent = 0;
        for (path, bytes) in files.into_iter().filter(|(path, _)| path.ends_with(".js")) {
            let script = std::str::from_utf8(bytes).unwrap();
            for line in script.lines().filter(|l| !l.trim_start().starts_with("//")) {
                assert_eq!(line.matches('`').count() % 2, 0, "{path}: a text over several lines: {line}");
            }
            sent += contents(path).unwrap().len();
        }
        // All scripts together, before they are packed for the wire; what goes over it is weighed by tests/browser/test_light.py.
        assert!((20_000..=52_000).contains(&sent), "{sent}");
    }

    #[test]
    fn every_embedded_file_has_a_known_type() {
        let mut files = Vec::new();
        gather(&STATIC, &mut files);
        assert!(files.len() >= 10);
        for (path, _) in files {
            assert_ne!(content_type(path), "application/octet-stream", "{path}");
        }
    }
}
