//! `closewatch healthy`: asks the server on this machine whether it is ready, for containers and timers without other tools.

use std::net::IpAddr;
use std::net::Ipv4Addr;
use std::net::Ipv6Addr;
use std::net::SocketAddr;
use std::time::Duration;

use rustls::crypto::ring;

use crate::cli::Failure;
use crate::config::Settings;

/// A server that takes longer is not well.
const PATIENCE: Duration = Duration::from_secs(5);

/// Where a server with these settings is reached from its own machine.
fn own_address(settings: &Settings) -> SocketAddr {
    let address = match settings.address {
        IpAddr::V4(address) if address.is_unspecified() => Ipv4Addr::LOCALHOST.into(),
        IpAddr::V6(address) if address.is_unspecified() => Ipv6Addr::LOCALHOST.into(),
        address => address,
    };
    SocketAddr::new(address, settings.port)
}

/// An error when it does not answer, or says that it is not ready, with what it said.
pub async fn run(settings: &Settings) -> Result<(), Failure> {
    let _ = ring::default_provider().install_default();
    let client = reqwest::Client::builder()
        .timeout(PATIENCE)
        .no_proxy()
        // Its certificate is for the public name, and nothing but this question goes to our own machine.
        .danger_accept_invalid_certs(true)
        .build()?;
    let url = format!("{}://{}/ready", settings.scheme(), own_address(settings));
    let told = |fault: &dyn std::fmt::Display| format!("{url} does not answer: {fault}");
    let answer = client.get(&url).send().await.map_err(|fault| told(&fault))?;
    let status = answer.status();
    let said = answer.text().await.map_err(|fault| told(&fault))?;
    if !status.is_success() {
        return Err(format!("not ready ({status}): {said}").into());
    }
    println!("ready");
    Ok(())
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        settings: Settings,
    }

    #[test]
    fn whoever_listens_everywhere_is_asked_on_loopback() {
        let asked = |flags: &str| {
            let line = Line::try_parse_from(["closewatch"].into_iter().chain(flags.split_whitespace()));
            own_address(&line.unwrap().settings).to_string()
        };
        assert_eq!(asked("--address 0.0.0.0 --port 8443"), "127.0.0.1:8443");
        assert_eq!(asked("--address ::"), "[::1]:8080");
        assert_eq!(asked("--address 192.0.2.7"), "192.0.2.7:8080");
    }
}
