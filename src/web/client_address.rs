//! Whom a request comes from, and whether it was carried over HTTPS, when proxies may stand in between (safety promise A21).
//!
//! A forwarded header is a claim by whoever wrote it: it counts only as far as a trusted proxy wrote it. Each proxy adds the
//! address it was asked from at the right end, so the list is read from there.

use std::convert::Infallible;
use std::net::IpAddr;
use std::net::SocketAddr;

use axum::extract::FromRequestParts;
use axum::http::HeaderMap;
use axum::http::request::Parts;

/// The address to count and limit a request by; an extension of every request that came through `listen`.
///
/// Invariant: never taken from a header that somebody other than a trusted proxy wrote. IPv4 inside IPv6 is written as IPv4.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ClientAddress(pub IpAddr);

impl ClientAddress {
    /// Of a request with these `headers` on a connection from `peer`. From an untrusted peer that is the peer itself, whatever
    /// the headers say; from one of the `proxies`, the first address from the right of `X-Forwarded-For` that is no proxy. Where the
    /// list ends, or something in it is no address, the last proxy before that is as far as anybody can be believed.
    pub fn of(peer: IpAddr, headers: &HeaderMap, proxies: &[IpAddr]) -> ClientAddress {
        let mut address = peer.to_canonical();
        for claimed in claims_from_the_right(headers) {
            if !is_one_of(proxies, address) {
                break;
            }
            let Some(claimed) = claimed.and_then(address_in) else { break };
            address = claimed;
        }
        ClientAddress(address)
    }
}

/// The address to limit a request by; an extension as [`ClientAddress`], and an argument of handlers. `None`: only a proxy is
/// known, behind which stand many people, or the request did not come over a connection.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CountBy(pub Option<IpAddr>);

impl CountBy {
    pub fn of(client: ClientAddress, proxies: &[IpAddr]) -> CountBy {
        CountBy(Some(client.0).filter(|address| !is_one_of(proxies, *address)))
    }
}

impl<S: Sync> FromRequestParts<S> for CountBy {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<CountBy, Infallible> {
        Ok(parts.extensions.get().copied().unwrap_or_default())
    }
}

/// How a request was carried on its way from the browser; an extension of every request that came through `listen`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Carried {
    /// Over TLS to this program, or to a trusted proxy that says so.
    Https,
    /// Readable by anybody in between: so a trusted proxy says, or it came here without TLS and without a proxy.
    PlainHttp,
    /// A trusted proxy that does not say.
    Unsaid,
}

impl Carried {
    /// `over_tls`: the connection itself was encrypted. Of several `X-Forwarded-Proto` the last counts: the nearest proxy's.
    pub fn of(peer: IpAddr, over_tls: bool, headers: &HeaderMap, proxies: &[IpAddr]) -> Carried {
        let said = headers.get_all("x-forwarded-proto").iter().next_back();
        let said = said.and_then(|said| said.to_str().ok()).and_then(|said| said.rsplit(',').next());
        match (is_one_of(proxies, peer), said.map(str::trim)) {
            (true, Some(said)) if said.eq_ignore_ascii_case("https") => Carried::Https,
            (true, Some(_)) => Carried::PlainHttp,
            (_, _) if over_tls => Carried::Https,
            (true, None) => Carried::Unsaid,
            (false, _) => Carried::PlainHttp,
        }
    }
}

/// Whether `address` belongs to a proxy that is trusted.
pub fn is_one_of(proxies: &[IpAddr], address: IpAddr) -> bool {
    proxies.iter().any(|proxy| proxy.to_canonical() == address.to_canonical())
}

/// Every entry of every `X-Forwarded-For` line, the nearest first; `None` for a line that is no text.
fn claims_from_the_right(headers: &HeaderMap) -> impl Iterator<Item = Option<&str>> {
    headers.get_all("x-forwarded-for").iter().rev().flat_map(|line| {
        let text = line.to_str().ok();
        let entries: Vec<Option<&str>> =
            text.map_or_else(|| vec![None], |text| text.rsplit(',').map(Some).collect());
        entries
    })
}

/// Some proxies add the port: `203.0.113.7:4711`, `[2001:db8::1]:4711`.
fn address_in(entry: &str) -> Option<IpAddr> {
    let entry = entry.trim();
    let bare = entry.strip_prefix('[').and_then(|rest| rest.strip_suffix(']')).unwrap_or(entry);
    let address = bare.parse().ok().or_else(|| entry.parse::<SocketAddr>().ok().map(|socket| socket.ip()));
    address.map(|address: IpAddr| address.to_canonical())
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderName;
    use axum::http::HeaderValue;
    use proptest::prelude::*;

    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    fn forwarded(lines: &[&str]) -> HeaderMap {
        let name = HeaderName::from_static("x-forwarded-for");
        lines.iter().map(|line| (name.clone(), HeaderValue::from_bytes(line.as_bytes()).unwrap())).collect()
    }

    fn client(peer: &str, lines: &[&str]) -> IpAddr {
        ClientAddress::of(ip(peer), &forwarded(lines), &[ip("127.0.0.1"), ip("10.0.0.2")]).0
    }

    #[test]
    fn a_proxy_is_believed_about_the_address_it_was_asked_from() {
        for (lines, expected) in [
            (&["203.0.113.7"][..], "203.0.113.7"),
            (&["198.51.100.1, 203.0.113.7"], "203.0.113.7"),
            (&["198.51.100.1", "203.0.113.7"], "203.0.113.7"),
            (&["198.51.100.1, 203.0.113.7, 10.0.0.2"], "203.0.113.7"),
            (&["198.51.100.1, 203.0.113.7", "10.0.0.2"], "203.0.113.7"),
            (&["203.0.113.7:4711"], "203.0.113.7"),
            (&["[2001:db8::1]:4711"], "2001:db8::1"),
            (&["[2001:db8::1]"], "2001:db8::1"),
            (&["::ffff:203.0.113.7"], "203.0.113.7"),
        ] {
            assert_eq!(client("127.0.0.1", lines), ip(expected), "{lines:?}");
        }
    }

    #[test]
    fn where_a_proxy_says_nothing_usable_its_own_address_counts() {
        for lines in
            [&[][..], &[""], &["unknown"], &["198.51.100.1, unknown"], &["198.51.100.1,"], &["\u{e9}"]]
        {
            assert_eq!(client("127.0.0.1", lines), ip("127.0.0.1"), "{lines:?}");
        }
        assert_eq!(client("127.0.0.1", &["junk, 10.0.0.2"]), ip("10.0.0.2"));
        assert_eq!(client("::ffff:127.0.0.1", &["203.0.113.7"]), ip("203.0.113.7"), "the same proxy by IPv6");
    }

    #[test]
    fn many_people_behind_a_proxy_that_says_nothing_are_not_limited_as_one() {
        let proxies = [ip("127.0.0.1")];
        for (client, counted) in [("127.0.0.1", None), ("203.0.113.7", Some(ip("203.0.113.7")))] {
            assert_eq!(CountBy::of(ClientAddress(ip(client)), &proxies), CountBy(counted));
        }
    }

    #[test]
    fn only_a_proxy_can_say_that_the_browser_came_over_https() {
        let proxies = [ip("10.0.0.2")];
        let carried = |peer: &str, over_tls: bool, said: &[&str]| {
            let name = HeaderName::from_static("x-forwarded-proto");
            let said = said.iter().map(|said| (name.clone(), HeaderValue::from_str(said).unwrap()));
            Carried::of(ip(peer), over_tls, &said.collect(), &proxies)
        };
        assert_eq!(carried("10.0.0.2", false, &["https"]), Carried::Https);
        assert_eq!(carried("10.0.0.2", false, &["http"]), Carried::PlainHttp);
        assert_eq!(carried("10.0.0.2", true, &["http"]), Carried::PlainHttp, "the browser's way counts");
        assert_eq!(carried("10.0.0.2", false, &["https", "http"]), Carried::PlainHttp);
        assert_eq!(carried("10.0.0.2", false, &["https, http"]), Carried::PlainHttp);
        assert_eq!(carried("10.0.0.2", false, &[]), Carried::Unsaid);
        assert_eq!(carried("10.0.0.2", true, &[]), Carried::Https);
        assert_eq!(carried("203.0.113.7", false, &["https"]), Carried::PlainHttp);
        assert_eq!(carried("203.0.113.7", true, &["http"]), Carried::Https);
    }

    proptest! {
        #[test]
        fn a_header_from_an_untrusted_peer_never_changes_anything(
            peer in any::<[u8; 4]>().prop_map(IpAddr::from),
            lines in prop::collection::vec("[0-9a-f.,:\\[\\] x]{0,60}", 0..4),
            proto in prop::option::of("https?|[a-z, ]{0,8}"),
            proxies in prop::collection::vec(any::<[u8; 4]>().prop_map(IpAddr::from), 0..4),
            over_tls in any::<bool>(),
        ) {
            prop_assume!(!is_one_of(&proxies, peer));
            let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
            let mut headers = forwarded(&lines);
            if let Some(proto) = proto {
                headers.insert("x-forwarded-proto", HeaderValue::from_str(&proto).unwrap());
            }
            prop_assert_eq!(ClientAddress::of(peer, &headers, &proxies), ClientAddress(peer));
            let plain = Carried::of(peer, over_tls, &HeaderMap::new(), &proxies);
            prop_assert_eq!(Carried::of(peer, over_tls, &headers, &proxies), plain);
        }

        #[test]
        fn what_a_client_writes_before_the_proxy_s_entry_never_counts(
            forged in "[0-9a-f.,:\\[\\] x]{0,60}",
            client in any::<[u8; 4]>().prop_map(IpAddr::from),
        ) {
            let proxies = [ip("10.0.0.2")];
            prop_assume!(!is_one_of(&proxies, client));
            let line = format!("{forged}, {client}");
            let found = ClientAddress::of(proxies[0], &forwarded(&[&line]), &proxies);
            prop_assert_eq!(found, ClientAddress(client));
        }
    }
}
