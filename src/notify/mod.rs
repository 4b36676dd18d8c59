//! Knocks on the outside: a folder, a webhook for texts and calls, mail, and web push.
//!
//! Nothing here knows a patient or a reason: a [`Letter`] comes in with fixed words, [`Post::send`] hands it to one
//! provider and says what became of it. Who is told what, when, and how often is decided elsewhere.

mod answered;
mod folder;
mod heartbeat;
mod hook;
mod hosts;
mod letter;
mod mail;
#[cfg(test)]
mod mail_tests;
mod post;
#[cfg(test)]
mod post_tests;
mod probe;
mod push;
mod seal;
mod secret;
mod status;
mod vapid;

pub use heartbeat::BadBeat;
pub use heartbeat::Heart;
pub use heartbeat::LONGEST_BYTES as LONGEST_BEAT_BYTES;
pub use heartbeat::SIGNATURE_HEADER;
pub use heartbeat::TIMESTAMP_HEADER;
pub use heartbeat::read_beat;
pub use letter::Accepted;
pub use letter::Address;
pub use letter::BadAddress;
pub use letter::Channel;
pub use letter::Letter;
pub use letter::PushKeys;
pub use letter::PushSubscription;
pub use letter::Refused;
pub use post::Post;
#[cfg(feature = "doubles")]
pub use post::StandIn;
pub use secret::Secret;
pub use status::BadStatus;
pub use status::State;
pub use status::Status;
pub use status::read_status;
