//! Sends one letter: `cargo run --example send_letter -- --notify-folder letters sms 202-555-0142 "1 new message" "Hello."`
//!
//! Prints what became of it as JSON. Settings are those of the server, flags or environment.

use std::process::ExitCode;

use clap::Parser;
use closewatch::config::NotifySettings;
use closewatch::notify::Address;
use closewatch::notify::Letter;
use closewatch::notify::Post;
use closewatch::notify::PushSubscription;
use closewatch::notify::Refused;
use closewatch::words::Language;
use jiff::Timestamp;

#[derive(Parser)]
struct Line {
    #[command(flatten)]
    settings: NotifySettings,
    /// When it is sent.
    #[arg(long, default_value = "2026-03-02T20:00:00Z")]
    now: Timestamp,
    #[arg(long, default_value = "letter-1")]
    reference: String,
    #[arg(long, default_value = "en")]
    language: String,
    /// sms, voice, email or push.
    channel: String,
    /// A number, an address, or what a browser posts to subscribe.
    to: String,
    subject: String,
    body: String,
}

#[tokio::main]
async fn main() -> ExitCode {
    match send(Line::parse()).await {
        Ok(said) => {
            println!("{said}");
            ExitCode::SUCCESS
        }
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

async fn send(line: Line) -> Result<serde_json::Value, String> {
    let post = Post::from_settings(&line.settings)?;
    let letter = Letter {
        to: address(&line.channel, line.to)?,
        subject: line.subject,
        body: line.body,
        reference: line.reference,
        language: line.language.parse().unwrap_or(Language::English).code(),
    };
    let said = match post.send(&letter, line.now).await {
        Ok(accepted) => serde_json::json!({"became": "taken", "provider_id": accepted.provider_id}),
        Err(Refused::Later { why, after }) => {
            let after_s = after.map(|wait| wait.as_secs());
            serde_json::json!({"became": "later", "why": why, "after_s": after_s})
        }
        Err(Refused::Never { why }) => serde_json::json!({"became": "never", "why": why}),
        Err(Refused::Gone { why }) => serde_json::json!({"became": "gone", "why": why}),
    };
    Ok(said)
}

fn address(channel: &str, to: String) -> Result<Address, String> {
    match channel {
        "sms" => Ok(Address::Sms(to)),
        "voice" => Ok(Address::Voice(to)),
        "email" => Ok(Address::Email(to)),
        "push" => PushSubscription::read(&to).map(Address::Push).map_err(|fault| fault.to_string()),
        other => Err(format!("{other} is not one of sms, voice, email, push")),
    }
}
