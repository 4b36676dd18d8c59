//! The only room that knows HTTP and HTML.

mod app;
mod assets;
mod browser_words;
mod chart_words;
pub mod client_address;
mod cookies;
mod csv;
mod doors;
mod envelope;
pub mod error;
mod headers;
mod health;
mod https_only;
pub mod listen;
mod local_time;
mod office;
mod patient;
mod plain;
mod practice;
mod prove;
mod qr_square;
mod reach;
mod router;
mod second_step;
mod sign_in;
mod staff_frame;
mod surgeon;
mod time_words;
pub mod tls;
mod wound_words;

pub use app::{App, Clock};
pub use doors::{Door, Who};
pub use patient::calendar::calendar_text;
pub use patient::fail_page::fail_page;
pub use router::{doors, router};
pub use surgeon::measure_words;
