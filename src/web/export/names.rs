//! What the files of a copy are called: by whom and when it was made, and no patient's name.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::care::export::CopyFor;
use crate::care::export::Episode;
use crate::store::patients::fold_name;
use crate::words::Language;
use crate::words::calendar;

/// Letters of a person's name in a file's name.
const MOST_LETTERS: usize = 40;
/// Letters of an id that people read out to each other.
const REFERENCE_LETTERS: usize = 6;
/// Letters of an id that no two files of a practice share.
const FILE_LETTERS: usize = 12;

/// The end of an id, as people read it out: "a4f29c".
pub fn reference(id: &str) -> String {
    end_of(id, REFERENCE_LETTERS)
}

fn end_of(id: &str, many: usize) -> String {
    let letters: Vec<char> = id.chars().collect();
    letters[letters.len().saturating_sub(many)..].iter().collect()
}

/// A name as part of a file's name: "dr-rosa-lind". What has no letter of the Latin alphabet becomes "staff".
pub fn slug(name: &str) -> String {
    let mut slug = String::new();
    for letter in fold_name(name).chars() {
        match letter {
            'a'..='z' | '0'..='9' => slug.push(letter),
            _ if slug.ends_with('-') || slug.is_empty() => {}
            _ => slug.push('-'),
        }
    }
    let slug: String = slug.chars().take(MOST_LETTERS).collect();
    let slug = slug.trim_matches('-');
    if slug.is_empty() { "staff".to_owned() } else { slug.to_owned() }
}

/// Day and time in the practice's clock: "2026-03-10-1105".
pub fn stamp(at: Timestamp, zone: &TimeZone) -> String {
    at.to_zoned_datetime(zone.clone()).datetime().strftime("%Y-%m-%d-%H%M").to_string()
}

/// By whom and when, at the end of every file's name: "2026-03-10-1105-by-dr-rosa-lind".
pub fn made(name: &str, at: Timestamp, zone: &TimeZone) -> String {
    format!("{}-by-{}", stamp(at, zone), slug(name))
}

/// Day and time as people read it, with the year: "March 10, 2026, 11:05 am".
pub fn full_time(at: Timestamp, zone: &TimeZone, language: Language) -> String {
    let then = at.to_zoned_datetime(zone.clone()).datetime();
    format!("{}, {}", calendar::day_and_year(language, then), calendar::clock_time(language, then))
}

/// The day alone: "March 10, 2026".
pub fn full_day(at: Timestamp, zone: &TimeZone, language: Language) -> String {
    calendar::day_and_year(language, at.to_zoned_datetime(zone.clone()).datetime())
}

/// What the whole copy is called, without an ending.
pub fn of_copy(episode: &Episode) -> String {
    let kind = match episode.copy {
        CopyFor::Patient => "patient-copy",
        CopyFor::Record => "whole-record",
    };
    let (made, zone) = (&episode.made, &episode.practice.zone);
    let wound = end_of(&episode.wound.id.to_string(), FILE_LETTERS);
    format!("{kind}-{wound}-{}", self::made(&made.name, made.at, zone))
}

/// Where a photo lies in the copy.
pub fn of_photo(episode: &Episode, receipt: &str, position: i64) -> String {
    let (made, zone) = (&episode.made, &episode.practice.zone);
    let receipt: String = receipt.chars().filter(char::is_ascii_alphanumeric).collect();
    format!("photos/{receipt}-{position}-{}.jpg", self::made(&made.name, made.at, zone))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_becomes_plain_letters_and_nothing_that_leads_elsewhere() {
        assert_eq!(slug("Dr. Rosa Núñez-Lind"), "dr-rosa-nunez-lind");
        assert_eq!(slug("../../etc/passwd\r\nX: y\""), "etc-passwd-x-y");
        assert_eq!(slug("דוד"), "staff");
        assert_eq!(slug(&"long name ".repeat(30)).len(), 39);
    }

    #[test]
    fn the_time_is_the_practices_own() {
        let zone = TimeZone::get("America/New_York").unwrap();
        let at: Timestamp = "2026-03-10T15:05:00Z".parse().unwrap();
        assert_eq!(made("Lee Park", at, &zone), "2026-03-10-1105-by-lee-park");
        assert_eq!(full_time(at, &zone, Language::English), "March 10, 2026, 11:05\u{a0}am");
        assert_eq!(full_time(at, &zone, Language::Spanish), "10 de marzo de 2026, 11:05\u{a0}a.\u{a0}m.");
        assert_eq!(reference("018f0000-0000-7000-8000-0000004f2a9c"), "4f2a9c");
    }
}
