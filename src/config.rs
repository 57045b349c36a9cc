//! Flags and environment → typed settings, every fault reported at once.

pub mod post;

use crate::cli::calc::CalcArgs;
use crate::cluster::{DataDir, External, StartFault};
use clap::builder::FalseyValueParser;
use clap::{Args, Parser, Subcommand};
use std::ffi::OsString;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;

/// Where it listens when nothing is said.
pub const DEFAULT_LISTEN: SocketAddr = SocketAddr::new(std::net::IpAddr::V4(Ipv4Addr::LOCALHOST), 7340);

/// The command line.
#[derive(Debug, Parser)]
#[command(name = "rinsebell", version, about = "Chemical hair services, given by a team, step by step.")]
pub struct Line {
    /// What to do; `serve` when nothing is said.
    #[command(subcommand)]
    pub command: Command,
}

/// What the program can be asked to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Serve the salon (what `rinsebell` alone does).
    Serve(ServeArgs),
    /// Compute standard input in one area, as JSON (`rinsebell calc --help` lists the areas).
    Calc(CalcArgs),
    /// Recompute everything that can be proved and say what is wrong.
    #[command(args_conflicts_with_subcommands = true)]
    Check {
        /// Something else than the database.
        #[command(subcommand)]
        what: Option<CheckWhat>,
        #[command(flatten)]
        place: PlaceArgs,
    },
    /// What the salon's own clients teach about growth, beside what was published, and whether it is used.
    Learn(LearnArgs),
    /// The demo salon.
    Demo {
        /// What to do with it.
        #[command(subcommand)]
        act: DemoAct,
    },
    /// Invent a whole salon as if worked in for years, in a data folder where nobody works yet.
    Invent(InventArgs),
    /// Take in one mail on standard input that a mail server sent back, and stop the address it is about.
    Returned(PlaceArgs),
    /// Write the whole database to a file.
    Backup {
        /// The file; replaced when it exists.
        file: PathBuf,
        #[command(flatten)]
        place: PlaceArgs,
    },
    /// Read a backup into an empty database.
    Restore {
        /// The file `backup` wrote.
        file: PathBuf,
        /// Replace a database that holds rows, after a safety backup of it.
        #[arg(long)]
        replace: bool,
        #[command(flatten)]
        place: PlaceArgs,
    },
}

/// What can be checked beside the database.
#[derive(Debug, Subcommand)]
pub enum CheckWhat {
    /// Protocols against the floor of safety: every fault with file, line and reason.
    Protocols {
        /// A folder of protocols (*.toml); the shipped ones when absent.
        dir: Option<PathBuf>,
    },
}

/// What can be done with the demo salon.
#[derive(Debug, Subcommand)]
pub enum DemoAct {
    /// Take the demo salon away and load it anew, dated from now. Other salons are not touched.
    Refresh(PlaceArgs),
}

/// Where the data are; every command that touches them takes these.
#[derive(Clone, Debug, Default, Args)]
pub struct PlaceArgs {
    /// The data folder [default: ~/.local/share/rinsebell, as root /var/lib/rinsebell].
    #[arg(long, value_name = "DIR", env = "RINSEBELL_DATA")]
    data: Option<OsString>,
    /// A database of your own (its owner's URL) instead of the embedded cluster.
    #[arg(long, value_name = "URL", env = "RINSEBELL_DATABASE_URL", hide_env_values = true)]
    database_url: Option<String>,
    /// With --database-url: the URL of the app's plain role, when rinsebell should not make it.
    #[arg(long, value_name = "URL", env = "RINSEBELL_DATABASE_APP_URL", hide_env_values = true)]
    database_app_url: Option<String>,
}

/// Flags of `invent`.
#[derive(Clone, Copy, Debug, Args)]
pub struct Invention {
    /// The same seed on the same day invents the same salon.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Clients.
    #[arg(long, value_name = "N", default_value_t = 500, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub clients: u32,
    /// Years worked, up to today.
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = clap::value_parser!(u32).range(1..=20))]
    pub years: u32,
    /// People who work there.
    #[arg(long, value_name = "N", default_value_t = 6, value_parser = clap::value_parser!(u32).range(3..=60))]
    pub staff: u32,
}

/// `invent`: what, and where.
#[derive(Clone, Debug, Args)]
pub struct InventArgs {
    #[command(flatten)]
    pub what: Invention,
    #[command(flatten)]
    pub place: PlaceArgs,
}

/// Flags of `learn`.
#[derive(Clone, Debug, Args)]
pub struct LearnArgs {
    /// Only this salon, by its number.
    #[arg(long, value_name = "N")]
    pub salon: Option<i64>,
    /// JSON with unrounded numbers.
    #[arg(long)]
    pub json: bool,
    /// Learn from a JSON document instead of the data (- is standard input):
    /// {"clients": [{"curl": "tight", "intervals": [{"days": 91, "mm": 30, "sd_mm": 2}]}]}, with
    /// "published": {"tight": {"mean_mm_per_day": 0.28, "sd_mm_per_day": 0.05}} when not the shipped one.
    #[arg(long, value_name = "FILE", conflicts_with = "salon", verbatim_doc_comment)]
    pub from: Option<PathBuf>,
    #[command(flatten)]
    pub place: PlaceArgs,
}

/// Flags of `serve`.
#[derive(Clone, Debug, Args)]
pub struct ServeArgs {
    /// Where to listen; beyond loopback it speaks HTTPS [default: 127.0.0.1:7340].
    #[arg(long, value_name = "ADDR:PORT", env = "RINSEBELL_LISTEN")]
    listen: Option<String>,
    #[command(flatten)]
    place: PlaceArgs,
    /// Do not load the demo salon into an empty database.
    #[arg(long, env = "RINSEBELL_NO_DEMO", value_parser = FalseyValueParser::new())]
    no_demo: bool,
    /// A certificate chain (PEM) instead of the local authority's.
    #[arg(long, value_name = "FILE", env = "RINSEBELL_CERT")]
    cert: Option<PathBuf>,
    /// The certificate's key (PEM).
    #[arg(long, value_name = "FILE", env = "RINSEBELL_KEY")]
    key: Option<PathBuf>,
    /// Speak HTTPS on loopback too.
    #[arg(long, env = "RINSEBELL_TLS", value_parser = FalseyValueParser::new())]
    tls: bool,
    /// A practice salon: the clock may be moved, and every screen says so.
    #[arg(long, env = "RINSEBELL_PRACTICE", value_parser = FalseyValueParser::new())]
    practice: bool,
    #[command(flatten)]
    post: post::PostArgs,
}

/// Where the data are, checked.
#[derive(Clone, Debug)]
pub struct Place {
    /// The data folder.
    pub data: DataDir,
    /// The database given from outside, if any.
    pub external: Option<External>,
}

/// How the listener speaks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Speech {
    /// Plain HTTP, loopback only.
    Plain,
    /// HTTPS with a certificate of the local authority.
    LocalAuthority,
    /// HTTPS with this certificate and key.
    Given {
        /// PEM chain.
        cert: PathBuf,
        /// PEM key.
        key: PathBuf,
    },
}

/// Settings of `serve`, checked.
#[derive(Clone, Debug)]
pub struct Serve {
    /// Where it listens.
    pub listen: SocketAddr,
    /// Where the data are.
    pub place: Place,
    /// Whether an empty database gets the demo salon.
    pub demo: bool,
    /// Plain or encrypted.
    pub speech: Speech,
    /// Whether this is a practice salon.
    pub practice: bool,
    /// How messages to clients leave.
    pub post: post::Post,
}

/// Reads the command line; `serve` is assumed when no command is named. Ends the process on `--help` and
/// on flags that do not exist, as clap does.
pub fn parse() -> Line {
    Line::parse_from(with_serve(std::env::args_os().collect()))
}

fn with_serve(mut args: Vec<OsString>) -> Vec<OsString> {
    let told = ["-h", "--help", "-V", "--version"];
    let bare = args.get(1).is_none_or(|a| {
        let a = a.to_string_lossy();
        a.starts_with('-') && !told.contains(&&*a)
    });
    if bare {
        args.insert(1.min(args.len()), "serve".into());
    }
    args
}

impl PlaceArgs {
    /// The settings, or every fault in them.
    pub fn check(&self) -> Result<Place, StartFault> {
        let mut faults = Vec::new();
        let place = self.collect(&mut faults);
        finish(place, faults)
    }

    fn collect(&self, faults: &mut Vec<String>) -> Option<Place> {
        let given = |text: &Option<String>| text.clone().filter(|t| !t.trim().is_empty());
        let mut url = |name: &str, text: Option<String>| {
            let sound =
                text.as_ref().is_none_or(|t| t.starts_with("postgres://") || t.starts_with("postgresql://"));
            if !sound {
                faults.push(format!("{name} is not a postgres:// URL"));
            }
            text
        };
        let owner_url = url("--database-url", given(&self.database_url));
        let app_url = url("RINSEBELL_DATABASE_APP_URL", given(&self.database_app_url));
        if app_url.is_some() && owner_url.is_none() {
            faults.push("RINSEBELL_DATABASE_APP_URL needs RINSEBELL_DATABASE_URL".to_owned());
        }
        let data = match self.data.clone().filter(|d| !d.is_empty()) {
            Some(data) => Some(PathBuf::from(data)),
            None => default_data(),
        };
        if data.is_none() {
            faults.push("neither HOME nor XDG_DATA_HOME is set, so --data is needed".to_owned());
        }
        Some(Place {
            data: DataDir::new(data?),
            external: owner_url.map(|owner_url| External { owner_url, app_url }),
        })
    }
}

/// The default data folder: as root one an unprivileged user can reach, else the user's own.
fn default_data() -> Option<PathBuf> {
    if rustix::process::geteuid().is_root() {
        return Some(PathBuf::from("/var/lib/rinsebell"));
    }
    let absolute = |name: &str| std::env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
    absolute("XDG_DATA_HOME")
        .or_else(|| absolute("HOME").map(|home| home.join(".local/share")))
        .map(|share| share.join("rinsebell"))
}

impl ServeArgs {
    /// The settings, or every fault in them.
    pub fn check(&self) -> Result<Serve, StartFault> {
        let mut faults = Vec::new();
        let place = self.place.collect(&mut faults);
        let listen = match self.listen.as_deref().map(str::trim).filter(|l| !l.is_empty()) {
            None => DEFAULT_LISTEN,
            Some(text) => parse_listen(text).unwrap_or_else(|| {
                faults.push(format!("--listen {text} is not ADDR:PORT, such as 127.0.0.1:7340"));
                DEFAULT_LISTEN
            }),
        };
        let speech = self.speech(listen, &mut faults);
        let (demo, practice) = (!self.no_demo, self.practice);
        let post = self.post.check(&mut faults);
        finish(place.map(|place| Serve { listen, place, demo, speech, practice, post }), faults)
    }

    fn speech(&self, listen: SocketAddr, faults: &mut Vec<String>) -> Speech {
        match (&self.cert, &self.key) {
            (Some(cert), Some(key)) => {
                for (name, file) in [("--cert", cert), ("--key", key)] {
                    if let Err(error) = std::fs::File::open(file) {
                        faults.push(format!("{name} {} cannot be read: {error}", file.display()));
                    }
                }
                Speech::Given { cert: cert.clone(), key: key.clone() }
            }
            (None, None) if self.tls || !listen.ip().is_loopback() => Speech::LocalAuthority,
            (None, None) => Speech::Plain,
            _ => {
                faults.push("--cert and --key go together".to_owned());
                Speech::LocalAuthority
            }
        }
    }
}

fn parse_listen(text: &str) -> Option<SocketAddr> {
    match text.strip_prefix("localhost:") {
        Some(port) => Some(SocketAddr::new(Ipv4Addr::LOCALHOST.into(), port.parse().ok()?)),
        None => text.parse().ok(),
    }
}

fn finish<T>(value: Option<T>, faults: Vec<String>) -> Result<T, StartFault> {
    match value {
        Some(value) if faults.is_empty() => Ok(value),
        _ => Err(StartFault::Settings(faults)),
    }
}

#[cfg(test)]
mod tests;
