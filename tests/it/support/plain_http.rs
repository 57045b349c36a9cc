//! A station's browser over a plain socket: for the real program, which dies under it.

use std::io::{Read, Write};
use std::net::{TcpStream, ToSocketAddrs};
use std::time::Duration;

/// What came back.
#[derive(Clone, Debug)]
pub struct Reply {
    pub status: u16,
    pub body: String,
    cookies: Vec<String>,
}

/// Cookies of one browser.
#[derive(Clone, Debug, Default)]
pub struct Jar(Vec<String>);

impl Jar {
    /// POST of a form as from our own page. Nothing: no whole answer came, whatever was done.
    pub fn post(&mut self, address: &str, path: &str, fields: &[(&str, &str)]) -> Option<Reply> {
        let encoded = |text: &str| rinsebell::web::page::query_value(text);
        let body: Vec<String> =
            fields.iter().map(|(k, v)| format!("{}={}", encoded(k), encoded(v))).collect();
        let body = body.join("&");
        let head = format!(
            "POST {path} HTTP/1.1\r\nhost: {address}\r\nconnection: close\r\ncookie: {}\r\nsec-fetch-site: same-origin\r\n\
             content-type: application/x-www-form-urlencoded\r\ncontent-length: {}\r\n\r\n",
            self.0.join("; "),
            body.len()
        );
        let reply = send(address, &(head + &body))?;
        for pair in &reply.cookies {
            let name = pair.split('=').next().unwrap_or_default();
            self.0.retain(|c| c.split('=').next() != Some(name));
            self.0.push(pair.clone());
        }
        Some(reply)
    }
}

fn send(address: &str, request: &str) -> Option<Reply> {
    let address = address.to_socket_addrs().ok()?.next()?;
    let mut stream = TcpStream::connect_timeout(&address, Duration::from_secs(2)).ok()?;
    stream.set_read_timeout(Some(Duration::from_secs(15))).ok()?;
    stream.write_all(request.as_bytes()).ok()?;
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).ok()?;
    let answer = String::from_utf8_lossy(&answer).into_owned();
    let (head, body) = answer.split_once("\r\n\r\n")?;
    let cookies = head
        .lines()
        .filter_map(|l| l.split_once(": "))
        .filter(|(name, _)| name.eq_ignore_ascii_case("set-cookie"))
        .filter_map(|(_, value)| value.split(';').next().map(str::to_owned))
        .collect();
    Some(Reply { status: head.split_whitespace().nth(1)?.parse().ok()?, body: body.to_owned(), cookies })
}
