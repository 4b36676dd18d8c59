//! Who counts as one at a gate: an address, or the home network of one.

use std::net::IpAddr;
use std::net::Ipv6Addr;

/// An IPv4 address, or the first 64 bits of an IPv6 one: whoever has one of its addresses has all of them (RFC 6177).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Network(IpAddr);

impl Network {
    /// An IPv4 address written as IPv6 counts as what it is.
    pub fn of(address: IpAddr) -> Network {
        Network(match address.to_canonical() {
            IpAddr::V6(six) => {
                let [a, b, c, d, ..] = six.segments();
                IpAddr::V6(Ipv6Addr::new(a, b, c, d, 0, 0, 0, 0))
            }
            four @ IpAddr::V4(_) => four,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> Network {
        Network::of(text.parse().unwrap())
    }

    #[test]
    fn an_ipv6_address_counts_by_its_first_64_bits_and_an_ipv4_one_whole() {
        assert_eq!(of("2001:db8:1:2::1"), of("2001:db8:1:2:ffff:ffff:ffff:ffff"));
        assert_ne!(of("2001:db8:1:2::1"), of("2001:db8:1:3::1"));
        assert_eq!(of("::ffff:192.0.2.7"), of("192.0.2.7"));
        assert_ne!(of("192.0.2.7"), of("192.0.2.8"));
    }
}
