//! A folder in place of the outside, for development and the demo: one file per letter, and the same to read.

use std::io;
use std::path::Path;
use std::path::PathBuf;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::notify::letter::Accepted;
use crate::notify::letter::Address;
use crate::notify::letter::Letter;
use crate::notify::letter::Refused;

/// Takes every kind of address. File names begin with the time of sending, so that they sort by it.
#[derive(Clone, Debug)]
pub(crate) struct Folder(PathBuf);

impl Folder {
    pub fn open(path: &Path) -> Result<Folder, String> {
        std::fs::create_dir_all(path).map_err(|fault| format!("{}: {fault}", path.display()))?;
        Ok(Folder(path.to_owned()))
    }

    pub fn path(&self) -> &Path {
        &self.0
    }

    /// Sent again at the same moment, a letter lands on itself.
    pub async fn take(&self, letter: &Letter, now: Timestamp) -> Result<Accepted, Refused> {
        let sent = now.to_zoned_datetime(TimeZone::UTC).strftime("%Y%m%dT%H%M%S%.3fZ").to_string();
        let name = format!("{sent}-{}-{}", letter.to.channel().code(), letter.reference);
        // The readable copy first: whoever waits for the JSON finds both.
        let written = match self.put(&name, "txt", readable(letter, now)).await {
            Ok(()) => self.put(&name, "json", as_json(letter, now)).await,
            Err(fault) => Err(fault),
        };
        match written {
            Ok(()) => Ok(Accepted { provider_id: Some(name) }),
            Err(fault) => Err(Refused::later(format!("the folder for letters: {fault}"))),
        }
    }

    /// Whoever looks sees a whole file or none.
    async fn put(&self, name: &str, ending: &str, text: String) -> io::Result<()> {
        let unfinished = self.0.join(format!(".{name}.{ending}.part"));
        tokio::fs::write(&unfinished, text).await?;
        tokio::fs::rename(&unfinished, self.0.join(format!("{name}.{ending}"))).await
    }
}

/// The address as a person would write it. A push address is a secret of its browser: only its host is shown.
fn shown(address: &Address) -> String {
    match address {
        Address::Sms(number) | Address::Voice(number) => number.clone(),
        Address::Email(address) => address.clone(),
        Address::Push(subscription) => {
            let host = reqwest::Url::parse(&subscription.endpoint).ok();
            host.and_then(|url| url.host_str().map(str::to_owned)).unwrap_or_default()
        }
    }
}

fn as_json(letter: &Letter, now: Timestamp) -> String {
    let fields = serde_json::json!({
        "reference": letter.reference,
        "channel": letter.to.channel(),
        "to": shown(&letter.to),
        "language": letter.language,
        "subject": letter.subject,
        "text": letter.body,
        "sent": now.to_string(),
    });
    format!("{fields:#}\n")
}

fn readable(letter: &Letter, now: Timestamp) -> String {
    let channel = letter.to.channel().code();
    format!("{now}  {channel} to {}\n{}\n\n{}\n", shown(&letter.to), letter.subject, letter.body)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn letter(reference: &str, to: Address) -> Letter {
        Letter {
            to,
            subject: "1 mensaje nuevo".to_owned(),
            body: "Tiene un mensaje nuevo: https://wounds.example/p/x".to_owned(),
            reference: reference.to_owned(),
            language: "es",
        }
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    #[tokio::test]
    async fn letters_lie_in_the_order_they_were_sent_whole_and_readable() {
        let place = tempfile::tempdir().unwrap();
        let folder = Folder::open(&place.path().join("letters")).unwrap();
        let early: Timestamp = "2026-03-02T20:00:00.001Z".parse().unwrap();
        let late: Timestamp = "2026-03-02T20:00:00.2Z".parse().unwrap();
        folder.take(&letter("a", Address::Email("rosa@patient.example".to_owned())), late).await.unwrap();
        folder.take(&letter("z", Address::Sms("202-555-0142".to_owned())), early).await.unwrap();
        let names = names(&place.path().join("letters"));
        assert_eq!(
            names,
            [
                "20260302T200000.001Z-sms-z.json",
                "20260302T200000.001Z-sms-z.txt",
                "20260302T200000.200Z-email-a.json",
                "20260302T200000.200Z-email-a.txt",
            ]
        );
        let text = std::fs::read_to_string(place.path().join("letters").join(&names[0])).unwrap();
        let read: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(read["channel"], "sms");
        assert_eq!(read["to"], "202-555-0142");
        assert_eq!(read["language"], "es");
        assert_eq!(read["text"], "Tiene un mensaje nuevo: https://wounds.example/p/x");
        let readable = std::fs::read_to_string(place.path().join("letters").join(&names[3])).unwrap();
        assert!(readable.contains("email to rosa@patient.example") && readable.contains("1 mensaje nuevo"));
    }

    #[tokio::test]
    async fn a_letter_sent_again_at_the_same_moment_lies_there_once() {
        let place = tempfile::tempdir().unwrap();
        let folder = Folder::open(place.path()).unwrap();
        let now = Timestamp::from_second(1_772_481_600).unwrap();
        let first = folder.take(&letter("a", Address::Sms("202-555-0142".to_owned())), now).await.unwrap();
        let again = folder.take(&letter("a", Address::Sms("202-555-0142".to_owned())), now).await.unwrap();
        assert_eq!(first, again);
        assert_eq!(names(place.path()).len(), 2);
    }

    #[tokio::test]
    async fn a_folder_that_is_gone_is_tried_again_later() {
        let place = tempfile::tempdir().unwrap();
        let folder = Folder::open(&place.path().join("letters")).unwrap();
        std::fs::remove_dir(place.path().join("letters")).unwrap();
        let refused = folder
            .take(&letter("a", Address::Sms("202-555-0142".to_owned())), Timestamp::from_second(0).unwrap())
            .await;
        assert!(matches!(refused, Err(Refused::Later { .. })), "{refused:?}");
        std::fs::write(place.path().join("file"), "").unwrap();
        assert!(Folder::open(&place.path().join("file")).is_err());
    }
}
