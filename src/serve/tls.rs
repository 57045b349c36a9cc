//! Certificates: given by path, or leaves of the local authority, renewed while we serve.

use super::authority::Authority;
use crate::cluster::StartFault;
use crate::config::{self, Speech};
use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use std::collections::BTreeMap;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, UdpSocket};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant, SystemTime};
use tokio::net::TcpStream;
use tokio_rustls::TlsAcceptor;

/// A leaf is made anew after this long; it holds for 90 days.
const RENEW_AFTER: Duration = Duration::from_secs(30 * 24 * 3600);
/// Given files are looked at this often, so that a renewed certificate needs no new start.
const LOOK_EVERY: Duration = Duration::from_secs(60);
/// Most addresses of this machine leaves are kept for.
const MOST_LEAVES: usize = 32;

/// Gives each connection the certificate it needs.
pub(super) struct Certificates {
    source: Source,
    kept: Mutex<BTreeMap<IpAddr, Kept>>,
}

enum Source {
    Given { cert: PathBuf, key: PathBuf },
    Local { authority: Box<Authority>, names: Vec<String> },
}

struct Kept {
    config: Arc<ServerConfig>,
    made: Instant,
    looked: Instant,
    stamp: Option<SystemTime>,
}

impl Certificates {
    /// What the settings ask for; `None` for plain HTTP.
    pub fn load(config: &config::Serve) -> Result<Option<Arc<Self>>, StartFault> {
        let source = match &config.speech {
            Speech::Plain => return Ok(None),
            Speech::Given { cert, key } => Source::Given { cert: cert.clone(), key: key.clone() },
            Speech::LocalAuthority => {
                let own = facing_address(config.listen);
                let authority = Box::new(Authority::load(&config.place.data, own)?);
                if !authority.vouches_for(own) {
                    return Err(StartFault::Settings(vec![format!(
                        "the local authority only vouches for local addresses and {own} is not one, so --cert and --key are needed"
                    )]));
                }
                Source::Local { authority, names: own_names() }
            }
        };
        let certificates = Self { source, kept: Mutex::default() };
        // One now, so that a broken file is told at the start.
        certificates.config_for(facing_address(config.listen))?;
        Ok(Some(Arc::new(certificates)))
    }

    /// The local authority, where it speaks.
    pub fn authority(&self) -> Option<&Authority> {
        match &self.source {
            Source::Local { authority, .. } => Some(authority),
            Source::Given { .. } => None,
        }
    }

    /// The acceptor for one connection: its certificate names the address the client came to.
    pub fn acceptor(&self, stream: &TcpStream) -> Result<TlsAcceptor, StartFault> {
        let address = stream.local_addr().map_or(IpAddr::V4(Ipv4Addr::LOCALHOST), |a| a.ip().to_canonical());
        self.config_for(address).map(TlsAcceptor::from)
    }

    fn config_for(&self, address: IpAddr) -> Result<Arc<ServerConfig>, StartFault> {
        let address = match self.source {
            // One certificate for all.
            Source::Given { .. } => IpAddr::V4(Ipv4Addr::UNSPECIFIED),
            Source::Local { .. } => address,
        };
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(found) = kept.get_mut(&address)
            && !self.is_stale(found)
        {
            return Ok(found.config.clone());
        }
        match self.make(address) {
            Ok(made) => {
                if kept.len() >= MOST_LEAVES {
                    kept.clear();
                }
                let config = made.config.clone();
                kept.insert(address, made);
                Ok(config)
            }
            // A file being replaced may be half written: the old one serves on.
            Err(fault) => match kept.get_mut(&address) {
                Some(old) => {
                    tracing::warn!(%fault, "the certificate could not be read again");
                    old.looked = Instant::now();
                    Ok(old.config.clone())
                }
                None => Err(fault),
            },
        }
    }

    fn is_stale(&self, kept: &mut Kept) -> bool {
        match &self.source {
            Source::Local { .. } => kept.made.elapsed() > RENEW_AFTER,
            Source::Given { cert, .. } if kept.looked.elapsed() > LOOK_EVERY => {
                kept.looked = Instant::now();
                kept.stamp != stamp(cert)
            }
            Source::Given { .. } => false,
        }
    }

    fn make(&self, address: IpAddr) -> Result<Kept, StartFault> {
        let (config, stamp) = match &self.source {
            Source::Local { authority, names } => {
                let mut addresses = vec![Ipv4Addr::LOCALHOST.into(), Ipv6Addr::LOCALHOST.into()];
                if authority.vouches_for(address) && !addresses.contains(&address) {
                    addresses.push(address);
                }
                let leaf = authority
                    .sign(&addresses, names)
                    .map_err(|e| StartFault::Other(format!("A certificate could not be made: {e}.")))?;
                (server_config(leaf.chain, leaf.key)?, None)
            }
            Source::Given { cert, key } => {
                let stamp = stamp(cert);
                (read_given(cert, key)?, stamp)
            }
        };
        let now = Instant::now();
        Ok(Kept { config, made: now, looked: now, stamp })
    }
}

fn stamp(path: &Path) -> Option<SystemTime> {
    std::fs::metadata(path).and_then(|m| m.modified()).ok()
}

fn read_given(cert: &Path, key: &Path) -> Result<Arc<ServerConfig>, StartFault> {
    let fault = |name: &str, path: &Path, error: String| {
        StartFault::Settings(vec![format!("{name} {} does not hold one: {error}", path.display())])
    };
    let chain = CertificateDer::pem_file_iter(cert)
        .and_then(Iterator::collect::<Result<Vec<_>, _>>)
        .map_err(|e| fault("--cert", cert, e.to_string()))?;
    if chain.is_empty() {
        return Err(fault("--cert", cert, "no certificate".to_owned()));
    }
    let key_der = PrivateKeyDer::from_pem_file(key).map_err(|e| fault("--key", key, e.to_string()))?;
    server_config(chain, key_der)
}

fn server_config(
    chain: Vec<CertificateDer<'static>>,
    key: PrivateKeyDer<'static>,
) -> Result<Arc<ServerConfig>, StartFault> {
    let fault = |e: rustls::Error| StartFault::Settings(vec![format!("certificate and key do not fit: {e}")]);
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let mut config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(fault)?
        .with_no_client_auth()
        .with_single_cert(chain, key)
        .map_err(fault)?;
    config.alpn_protocols = vec![b"h2".to_vec(), b"http/1.1".to_vec()];
    Ok(Arc::new(config))
}

/// Names under which this machine is found on a local network.
fn own_names() -> Vec<String> {
    let mut names = vec!["localhost".to_owned()];
    if let Ok(host) = std::fs::read_to_string("/proc/sys/kernel/hostname") {
        let host = host.trim().to_ascii_lowercase();
        let short = host.split('.').next().unwrap_or_default().to_owned();
        let sound = |c: char| c.is_ascii_alphanumeric() || c == '-';
        if !short.is_empty() && short.chars().all(sound) {
            names.extend(["local", "lan", "internal", "home.arpa"].map(|end| format!("{short}.{end}")));
        }
    }
    names
}

/// The address of this machine that faces the network (a UDP socket that is only connected sends nothing).
pub(super) fn facing_address(bound: SocketAddr) -> IpAddr {
    if !bound.ip().is_unspecified() {
        return bound.ip();
    }
    // Addresses for documentation (RFC 5737, 3849): never reached, only routed towards.
    let ask = |from: &str, to: &str| {
        let socket = UdpSocket::bind(from).ok()?;
        socket.connect(to).ok()?;
        Some(socket.local_addr().ok()?.ip())
    };
    ask("0.0.0.0:0", "192.0.2.1:9")
        .or_else(|| ask("[::]:0", "[2001:db8::1]:9"))
        .filter(|ip| !ip.is_unspecified())
        .unwrap_or(IpAddr::V4(Ipv4Addr::LOCALHOST))
}
