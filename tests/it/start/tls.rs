//! HTTPS: the local authority, the page that tells how to trust it, HTTP/2.

use crate::support::program::{Folder, Serving, get, refused, rinsebell, wait_for};
use axum::body::Body;
use axum::http::Request;
use hyper_util::rt::{TokioExecutor, TokioIo};
use rustls::pki_types::{CertificateDer, ServerName};
use sha2::{Digest, Sha256};
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt;
use std::sync::Arc;
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use tokio_rustls::client::TlsStream;

/// Two free neighbouring ports: the first for the service, the second for the page.
fn free_pair() -> u16 {
    wait_for("two free neighbouring ports", || {
        let first = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = first.local_addr().unwrap().port();
        TcpListener::bind(("127.0.0.1", port.checked_add(1)?)).ok().map(|_| port)
    })
}

fn start(folder: &Folder, port: u16) -> Serving {
    let listen = format!("127.0.0.1:{port}");
    let data = folder.path().to_str().unwrap();
    Serving::start(rinsebell(&["serve", "--no-demo", "--tls", "--listen", &listen, "--data", data]))
}

/// The certificate as the page hands it out.
fn take_authority(page: &str) -> Vec<u8> {
    use std::io::{Read, Write};
    let mut stream = std::net::TcpStream::connect(page).unwrap();
    write!(stream, "GET /rinsebell-authority.crt HTTP/1.0\r\nhost: {page}\r\n\r\n").unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    let end = answer.windows(4).position(|w| w == b"\r\n\r\n").unwrap() + 4;
    assert!(String::from_utf8_lossy(&answer[..end]).contains("application/x-x509-ca-cert"));
    answer.split_off(end)
}

/// A client that trusts only this authority, as a tablet that installed it (path and names are checked by
/// rustls's own verifier, which knows name constraints).
async fn connect(
    authority: &[u8],
    port: u16,
    name: &str,
    protocols: &[&[u8]],
) -> std::io::Result<TlsStream<TcpStream>> {
    connect_at(authority, ("127.0.0.1", port), name, protocols).await
}

async fn connect_at(
    authority: &[u8],
    to: (&str, u16),
    name: &str,
    protocols: &[&[u8]],
) -> std::io::Result<TlsStream<TcpStream>> {
    let mut roots = rustls::RootCertStore::empty();
    roots.add(CertificateDer::from(authority.to_vec())).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let mut config = rustls::ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_root_certificates(roots)
        .with_no_client_auth();
    config.alpn_protocols = protocols.iter().map(|p| p.to_vec()).collect();
    let stream = TcpStream::connect(to).await?;
    let name = ServerName::try_from(name.to_owned()).unwrap();
    TlsConnector::from(Arc::new(config)).connect(name, stream).await
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_tablet_that_trusts_the_authority_speaks_http2() {
    let (folder, port) = (Folder::new(), free_pair());
    let serving = start(&folder, port);
    let page = format!("127.0.0.1:{}", port + 1);
    assert!(serving.line.contains(&format!("https://127.0.0.1:{port} ")), "{}", serving.line);
    assert!(serving.line.contains(&format!("http://{page}")), "{}", serving.line);

    let authority = take_authority(&page);
    let digest = Sha256::digest(&authority).iter().map(|b| format!("{b:02X}")).collect::<Vec<_>>().join(":");
    assert!(serving.line.contains(&digest), "the line names the fingerprint");
    let (status, words) = get(&page, "/").unwrap();
    assert!(status == 200 && words.contains(&digest) && !words.contains("style="), "{words}");
    for other in ["/health/live", "/sign-in", "/floor", "/static/x"] {
        assert_eq!(get(&page, other).unwrap().0, 404, "nothing else is there: {other}");
    }

    let stream = connect(&authority, port, "127.0.0.1", &[b"h2", b"http/1.1"]).await.unwrap();
    assert_eq!(stream.get_ref().1.alpn_protocol(), Some(&b"h2"[..]));
    let (mut sender, connection) =
        hyper::client::conn::http2::handshake(TokioExecutor::new(), TokioIo::new(stream)).await.unwrap();
    tokio::spawn(connection);
    let request = Request::get(format!("https://127.0.0.1:{port}/health/ready")).body(Body::empty()).unwrap();
    assert_eq!(sender.send_request(request).await.unwrap().status(), 200);

    let old = connect(&authority, port, "localhost", &[b"http/1.1"]).await.unwrap();
    assert_eq!(old.get_ref().1.alpn_protocol(), Some(&b"http/1.1"[..]));
    assert!(connect(&authority, port, "elsewhere.example", &[b"h2"]).await.is_err(), "another name");
    drop(sender);
    serving.stop();

    let key = folder.data().tls().join("authority.pem");
    assert_eq!(std::fs::metadata(key).unwrap().permissions().mode() & 0o777, 0o600);
    let again = start(&folder, port);
    assert_eq!(take_authority(&page), authority, "made once");
    again.stop();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn beyond_loopback_every_address_of_the_machine_speaks_https() {
    let (folder, port) = (Folder::new(), free_pair());
    let (listen, data) = (format!("0.0.0.0:{port}"), folder.path().to_str().unwrap());
    let serving = Serving::start(rinsebell(&["serve", "--no-demo", "--listen", &listen, "--data", data]));
    let authority = take_authority(&format!("127.0.0.1:{}", port + 1));
    let origin = serving.line.split_whitespace().nth(2).unwrap();
    // The line names the address that faces the network; without a network that is loopback.
    let host = origin.strip_prefix("https://").unwrap().rsplit_once(':').unwrap().0.to_owned();
    for name in ["127.0.0.1", &host] {
        connect_at(&authority, (name, port), name, &[b"h2"]).await.unwrap();
    }
    let plain = tokio::task::spawn_blocking(move || get(&format!("127.0.0.1:{port}"), "/health/live"));
    assert_eq!(plain.await.unwrap(), None, "nothing in the clear");
    serving.stop();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_certificate_given_by_path_is_used_and_needs_no_page() {
    let (folder, files, port) = (Folder::new(), Folder::new(), free_pair());
    std::fs::create_dir(files.path()).unwrap();
    let (cert, key) = (files.path().join("c.pem"), files.path().join("k.pem"));
    let made = rcgen::generate_simple_self_signed(["salon.example".to_owned()]).unwrap();
    std::fs::write(&cert, made.cert.pem()).unwrap();
    std::fs::write(&key, made.signing_key.serialize_pem()).unwrap();
    let (listen, data) = (format!("127.0.0.1:{port}"), folder.path().to_str().unwrap());
    let mut command = rinsebell(&["serve", "--no-demo", "--listen", &listen, "--data", data]);
    command.env("RINSEBELL_CERT", &cert).env("RINSEBELL_KEY", &key);
    let serving = Serving::start(command);
    assert_eq!(serving.line, format!("rinsebell serves https://127.0.0.1:{port}"));
    let stream = connect(made.cert.der(), port, "salon.example", &[b"h2"]).await.unwrap();
    assert_eq!(stream.get_ref().1.peer_certificates().unwrap()[0].as_ref(), made.cert.der().as_ref());
    assert!(get(&format!("127.0.0.1:{}", port + 1), "/").is_none(), "no page");
    drop(stream);
    serving.stop();

    std::fs::write(&key, "no key").unwrap();
    let mut command = rinsebell(&["serve", "--listen", &listen, "--data", data]);
    command.env("RINSEBELL_CERT", &cert).env("RINSEBELL_KEY", &key);
    let said = refused(command, 2);
    assert!(said.contains("--key") && said.contains("k.pem"), "{said}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_port_for_https_answers_nothing_in_the_clear_and_a_silent_peer_holds_nobody_up() {
    let (folder, port) = (Folder::new(), free_pair());
    let serving = start(&folder, port);
    let authority = take_authority(&format!("127.0.0.1:{}", port + 1));
    let silent = TcpStream::connect(("127.0.0.1", port)).await.unwrap();
    connect(&authority, port, "127.0.0.1", &[b"h2"]).await.unwrap();
    let plain = tokio::task::spawn_blocking(move || get(&format!("127.0.0.1:{port}"), "/health/live"));
    assert_eq!(plain.await.unwrap(), None);
    drop(silent);
    serving.stop();
}
