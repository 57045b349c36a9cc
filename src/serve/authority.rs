//! The local authority: made once, kept in DATA/tls, bound by name constraints to local names.

use crate::cluster::{DataDir, StartFault, sync_dir, write_new};
use base64::Engine;
use rcgen::{
    BasicConstraints, CertificateParams, CidrSubnet, DistinguishedName, DnType, ExtendedKeyUsagePurpose,
    GeneralSubtree, IsCa, Issuer, KeyPair, KeyUsagePurpose, NameConstraints, SanType,
};
use rustls::pki_types::{CertificateDer, PrivateKeyDer, PrivatePkcs8KeyDer};
use sha2::{Digest, Sha256};
use std::fs;
use std::net::IpAddr;
use std::os::unix::fs::DirBuilderExt;
use std::path::Path;
use std::time::SystemTime;
use time::{Duration, OffsetDateTime};

/// How long a leaf holds, days. Made anew by [`super::tls`] long before.
const LEAF_DAYS: i64 = 90;
/// Until when the authority holds, years from its making.
const AUTHORITY_YEARS: i32 = 20;

/// Addresses a salon's network uses (RFC 1918, 3927, 4193, 4291, 6598), and loopback.
const SUBNETS_V4: [([u8; 4], u8); 6] = [
    ([10, 0, 0, 0], 8),
    ([172, 16, 0, 0], 12),
    ([192, 168, 0, 0], 16),
    ([169, 254, 0, 0], 16),
    ([100, 64, 0, 0], 10),
    ([127, 0, 0, 0], 8),
];
const SUBNETS_V6: [(u16, u8); 2] = [(0xfc00, 7), (0xfe80, 10)];
/// Names that mean something only here (RFC 6761, 6762, 8375; `lan` by habit of home routers).
const NAMES: [&str; 5] = ["localhost", "local", "home.arpa", "internal", "lan"];

/// The authority, able to sign leaves.
pub(super) struct Authority {
    key: KeyPair,
    common_name: String,
    /// An address outside the local ranges that it vouches for too: the machine's own when it was made.
    also: Option<IpAddr>,
    certificate: CertificateDer<'static>,
}

/// A certificate and its key.
pub(super) struct Leaf {
    pub chain: Vec<CertificateDer<'static>>,
    pub key: PrivateKeyDer<'static>,
}

impl Authority {
    /// Loads the authority, or makes it once, for local addresses and this machine's `own`. Two starts at
    /// once end with the same one.
    pub fn load(data: &DataDir, own: IpAddr) -> Result<Self, StartFault> {
        let dir = data.tls();
        let fault = |e: std::io::Error| StartFault::folder(&dir, &e);
        match fs::DirBuilder::new().mode(0o700).create(&dir) {
            Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => return Err(fault(error)),
            _ => {}
        }
        let path = dir.join("authority.pem");
        if !path.exists() {
            make(&dir, &path, Some(own).filter(|own| !is_local(*own)))?;
        }
        Self::read(&fs::read_to_string(&path).map_err(fault)?).ok_or_else(|| {
            StartFault::Other(format!(
                "The local authority in {} cannot be read; move it away and a new one is made, to be trusted anew.",
                path.display()
            ))
        })
    }

    fn read(pem: &str) -> Option<Self> {
        let key = KeyPair::from_pem(&block(pem, "PRIVATE KEY")?).ok()?;
        let body = block(pem, "CERTIFICATE")?;
        let lines: String = body.lines().filter(|l| !l.starts_with("-----")).collect();
        let der = base64::engine::general_purpose::STANDARD.decode(lines).ok()?;
        let common_name = pem.lines().find_map(|l| l.strip_prefix("name: "))?.to_owned();
        let also = pem.lines().find_map(|l| l.strip_prefix("also: ")).and_then(|a| a.parse().ok());
        Some(Self { key, common_name, also, certificate: der.into() })
    }

    /// Whether a leaf for this address stays within the constraints.
    pub fn vouches_for(&self, address: IpAddr) -> bool {
        is_local(address) || self.also == Some(address)
    }

    /// The certificate, DER, for tablets to install.
    pub fn certificate(&self) -> &[u8] {
        &self.certificate
    }

    /// SHA-256 of the certificate, as system settings show it.
    pub fn fingerprint(&self) -> String {
        let digest = Sha256::digest(&self.certificate);
        digest.iter().map(|b| format!("{b:02X}")).collect::<Vec<_>>().join(":")
    }

    /// A fresh leaf for these addresses and names; those outside the constraints are left out.
    pub fn sign(&self, addresses: &[IpAddr], names: &[String]) -> Result<Leaf, rcgen::Error> {
        let key = KeyPair::generate()?;
        let mut params = CertificateParams::default();
        params.distinguished_name = named("rinsebell");
        params.not_before = now() - Duration::days(1);
        params.not_after = now() + Duration::days(LEAF_DAYS);
        params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        params.use_authority_key_identifier_extension = true;
        params.subject_alt_names.extend(addresses.iter().copied().map(SanType::IpAddress));
        for name in names.iter().filter(|n| allowed_name(n)) {
            params.subject_alt_names.push(SanType::DnsName(name.as_str().try_into()?));
        }
        let issuer = Issuer::new(authority_params(&self.common_name, self.also), &self.key);
        let certificate = params.signed_by(&key, &issuer)?;
        Ok(Leaf {
            chain: vec![certificate.der().clone(), self.certificate.clone()],
            key: PrivatePkcs8KeyDer::from(key.serialize_der()).into(),
        })
    }
}

/// Key and certificate in one file, so that they cannot part.
fn make(dir: &Path, path: &Path, also: Option<IpAddr>) -> Result<(), StartFault> {
    let broken = |e: rcgen::Error| StartFault::Other(format!("The local authority cannot be made: {e}."));
    let key = KeyPair::generate().map_err(broken)?;
    // Each installation's authority has a name of its own, or a tablet that trusts two would mix them up.
    let common_name = format!("rinsebell local authority {}", crate::cluster::random_word(4)?);
    let certificate = authority_params(&common_name, also).self_signed(&key).map_err(broken)?;
    let also = also.map(|a| format!("also: {a}\n")).unwrap_or_default();
    let text = format!("name: {common_name}\n{also}{}{}", certificate.pem(), key.serialize_pem());
    let fresh = dir.join(format!("authority.new-{}", crate::cluster::random_word(6)?));
    let fault = |e: std::io::Error| StartFault::folder(dir, &e);
    write_new(&fresh, text.as_bytes(), 0o600).map_err(fault)?;
    // A link, not a rename: whoever is first stays, the other uses that one.
    match fs::hard_link(&fresh, path) {
        Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => return Err(fault(error)),
        _ => {}
    }
    fs::remove_file(&fresh).map_err(fault)?;
    sync_dir(dir).map_err(fault)
}

fn authority_params(common_name: &str, also: Option<IpAddr>) -> CertificateParams {
    let mut params = CertificateParams::default();
    params.distinguished_name = named(common_name);
    params.not_before = now() - Duration::days(1);
    params.not_after = now() + Duration::days(i64::from(AUTHORITY_YEARS) * 365);
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
    let mut permitted: Vec<_> = NAMES.iter().map(|n| GeneralSubtree::DnsName((*n).to_owned())).collect();
    let v4 = SUBNETS_V4.iter().map(|(a, p)| CidrSubnet::from_v4_prefix(*a, *p));
    let v6 = SUBNETS_V6.iter().map(|(head, p)| {
        let mut address = [0u8; 16];
        address[..2].copy_from_slice(&head.to_be_bytes());
        CidrSubnet::from_v6_prefix(address, *p)
    });
    let own = CidrSubnet::from_v6_prefix(std::net::Ipv6Addr::LOCALHOST.octets(), 128);
    let also = also.map(|a| CidrSubnet::from_addr_prefix(a, if a.is_ipv4() { 32 } else { 128 }));
    permitted.extend(v4.chain(v6).chain([own]).chain(also).map(GeneralSubtree::IpAddress));
    params.name_constraints =
        Some(NameConstraints { permitted_subtrees: permitted, excluded_subtrees: Vec::new() });
    params
}

fn allowed_name(name: &str) -> bool {
    NAMES.iter().any(|n| name == *n || name.strip_suffix(n).is_some_and(|rest| rest.ends_with('.')))
}

fn is_local(address: IpAddr) -> bool {
    let inside = |octets: &[u8], net: &[u8], prefix: u8| {
        (0..usize::from(prefix)).all(|bit| {
            let mask = 0x80 >> (bit % 8);
            octets[bit / 8] & mask == net[bit / 8] & mask
        })
    };
    match address {
        IpAddr::V4(v4) => SUBNETS_V4.iter().any(|(net, prefix)| inside(&v4.octets(), net, *prefix)),
        IpAddr::V6(v6) if v6.is_loopback() => true,
        IpAddr::V6(v6) => {
            SUBNETS_V6.iter().any(|(head, prefix)| inside(&v6.octets()[..2], &head.to_be_bytes(), *prefix))
        }
    }
}

fn named(common_name: &str) -> DistinguishedName {
    let mut name = DistinguishedName::new();
    name.push(DnType::CommonName, common_name);
    name
}

/// Certificates are judged by the tablet's own clock, not by the database's.
fn now() -> OffsetDateTime {
    SystemTime::now().into()
}

fn block(pem: &str, label: &str) -> Option<String> {
    let (begin, end) = (format!("-----BEGIN {label}-----"), format!("-----END {label}-----"));
    let from = pem.find(&begin)?;
    let to = pem[from..].find(&end)? + from + end.len();
    Some(pem[from..to].to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn local_addresses_are_those_of_the_private_ranges() {
        // RFC 1918 section 3; RFC 6598; RFC 4193.
        for local in
            ["10.1.2.3", "172.16.0.1", "172.31.255.254", "192.168.1.20", "100.64.0.1", "fd00::1", "::1"]
        {
            assert!(is_local(local.parse().unwrap()), "{local}");
        }
        for public in ["172.32.0.1", "192.169.0.1", "203.0.113.5", "100.128.0.1", "2001:db8::1"] {
            assert!(!is_local(public.parse().unwrap()), "{public}");
        }
        assert!(allowed_name("salon.local") && allowed_name("localhost"));
        assert!(!allowed_name("notlocal") && !allowed_name("example.com"));
    }
}
