//! Flags in, settings or every fault out.

use super::*;

fn serve(args: &[&str]) -> Result<Serve, StartFault> {
    let args = std::iter::once("rinsebell").chain(args.iter().copied()).map(OsString::from).collect();
    match Line::parse_from(with_serve(args)).command {
        Command::Serve(args) => args.check(),
        other => panic!("{other:?} is not serve"),
    }
}

#[test]
fn nothing_said_means_serve_on_loopback() {
    let settings = serve(&[]).unwrap();
    assert_eq!(settings.listen.to_string(), "127.0.0.1:7340");
    assert_eq!(settings.speech, Speech::Plain);
    assert!(settings.demo && !settings.practice);
}

#[test]
fn flags_without_a_command_mean_serve() {
    let settings = serve(&["--listen", "localhost:80", "--data", "/d", "--no-demo"]).unwrap();
    assert_eq!(settings.listen.to_string(), "127.0.0.1:80");
    assert_eq!(settings.place.data.root(), std::path::Path::new("/d"));
    assert!(!settings.demo);
}

#[test]
fn beyond_loopback_it_is_never_plain() {
    for listen in ["0.0.0.0:7340", "[::]:7340", "192.168.1.20:7340"] {
        assert_eq!(serve(&["--listen", listen]).unwrap().speech, Speech::LocalAuthority, "{listen}");
    }
    assert_eq!(serve(&["--listen", "[::1]:7340"]).unwrap().speech, Speech::Plain);
    assert_eq!(serve(&["--tls"]).unwrap().speech, Speech::LocalAuthority);
}

#[test]
fn every_fault_is_told_at_once() {
    let fault =
        serve(&["--listen", "here", "--database-url", "mysql://x", "--cert", "/nowhere/c.pem"]).unwrap_err();
    assert_eq!(fault.exit_code(), 2);
    let said = fault.to_string();
    for part in ["--listen here", "--database-url", "--cert and --key"] {
        assert!(said.contains(part), "{said}");
    }
    assert!(!said.contains("mysql"), "a URL may hold a secret: {said}");
}

#[test]
fn the_command_line_is_sound() {
    // clap's own check of the definitions.
    use clap::CommandFactory;
    Line::command().debug_assert();
}

#[test]
fn calc_takes_an_area_and_one_wish() {
    let calc = |args: &[&str]| Line::try_parse_from(["rinsebell", "calc"].iter().chain(args));
    assert!(calc(&["rods"]).is_ok() && calc(&["rods", "--example"]).is_ok() && calc(&["--help"]).is_ok());
    assert!(calc(&["rods", "--example", "--schema"]).is_err());
    assert!(calc(&["rods", "amounts"]).is_err());
}
