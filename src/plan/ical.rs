//! A calendar file by RFC 5545: events with UTC times, text escaped, lines folded at 75 octets and ended by CR LF.
//!
//! Every time is written in UTC (RFC 5545, 3.3.5, form 2), so no time zone has to be described and a change of clocks
//! cannot move an event.

use jiff::Timestamp;
use jiff::tz::TimeZone;

/// Longest line in octets, the line break not counted (RFC 5545, 3.1).
const LINE_OCTETS: usize = 75;

/// Whether an event stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EventState {
    Confirmed,
    /// It will not be: calendars take it away or strike it through.
    Cancelled,
}

/// One event.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// The same in every file that tells of this event, and of no other.
    pub uid: String,
    /// Rises with every change (RFC 5545, 3.8.7.4).
    pub sequence: u32,
    /// When the event was last changed.
    pub stamp: Timestamp,
    pub start: Timestamp,
    pub end: Timestamp,
    pub summary: String,
    pub description: String,
    pub state: EventState,
}

/// A whole calendar. `name` is what the calendar is called, `language` its BCP 47 code.
pub fn calendar(name: &str, language: &str, events: &[Event]) -> String {
    let mut out = String::new();
    let mut line = |text: String| fold_into(&mut out, &text);
    line("BEGIN:VCALENDAR".to_owned());
    line("VERSION:2.0".to_owned());
    line("PRODID:-//Closewatch//Care plan//EN".to_owned());
    line("CALSCALE:GREGORIAN".to_owned());
    line("METHOD:PUBLISH".to_owned());
    // RFC 7986, 5.1 and 5.7: what it is called, and how often it is worth asking again.
    line(format!("NAME;LANGUAGE={language}:{}", escaped(name)));
    line("REFRESH-INTERVAL;VALUE=DURATION:PT6H".to_owned());
    for event in events {
        line("BEGIN:VEVENT".to_owned());
        line(format!("UID:{}", escaped(&event.uid)));
        line(format!("DTSTAMP:{}", utc(event.stamp)));
        line(format!("SEQUENCE:{}", event.sequence));
        line(format!("DTSTART:{}", utc(event.start)));
        line(format!("DTEND:{}", utc(event.end)));
        line(format!("SUMMARY;LANGUAGE={language}:{}", escaped(&event.summary)));
        line(format!("DESCRIPTION;LANGUAGE={language}:{}", escaped(&event.description)));
        line("CLASS:PRIVATE".to_owned());
        line("TRANSP:TRANSPARENT".to_owned());
        line(
            match event.state {
                EventState::Confirmed => "STATUS:CONFIRMED",
                EventState::Cancelled => "STATUS:CANCELLED",
            }
            .to_owned(),
        );
        line("END:VEVENT".to_owned());
    }
    line("END:VCALENDAR".to_owned());
    out
}

/// A time as in `19980119T070000Z` (RFC 5545, 3.3.5).
fn utc(at: Timestamp) -> String {
    at.to_zoned_datetime(TimeZone::UTC).strftime("%Y%m%dT%H%M%SZ").to_string()
}

/// TEXT with backslash, semicolon, comma and line break escaped (RFC 5545, 3.3.11). Other control letters may not stand
/// in it and are left out.
pub fn escaped(text: &str) -> String {
    let mut out = String::new();
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        match letter {
            '\\' => out.push_str("\\\\"),
            ';' => out.push_str("\\;"),
            ',' => out.push_str("\\,"),
            '\r' if letters.peek() == Some(&'\n') => {}
            '\n' | '\r' => out.push_str("\\n"),
            '\t' => out.push('\t'),
            letter if letter.is_control() => {}
            letter => out.push(letter),
        }
    }
    out
}

/// Adds one content line, folded: no part is longer than 75 octets, and no letter is torn apart (RFC 5545, 3.1).
fn fold_into(out: &mut String, line: &str) {
    let mut octets = 0;
    for letter in line.chars() {
        if octets + letter.len_utf8() > LINE_OCTETS {
            out.push_str("\r\n ");
            // The blank that begins the part counts.
            octets = 1;
        }
        out.push(letter);
        octets += letter.len_utf8();
    }
    out.push_str("\r\n");
}

/// One content line as it stands in a file, for whoever checks the folding.
pub fn folded(line: &str) -> String {
    let mut out = String::new();
    fold_into(&mut out, line);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn unfolded(text: &str) -> String {
        text.replace("\r\n ", "").trim_end_matches("\r\n").to_owned()
    }

    // RFC 5545, 3.3.11: the example's value, escaped.
    #[test]
    fn text_is_escaped_as_in_the_standards_example() {
        let plain = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.";
        assert_eq!(escaped(plain), "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared.");
        assert_eq!(escaped("a;b,c\\d\r\ne\u{7}"), "a\\;b\\,c\\\\d\\ne");
    }

    // RFC 5545, 3.1: this DESCRIPTION is the standard's example of one line and of the same line folded.
    #[test]
    fn a_long_line_is_folded_and_reads_the_same_unfolded() {
        let line = "DESCRIPTION:This is a long description that exists on a long line.";
        assert_eq!(folded(line), format!("{line}\r\n"), "70 octets need no fold");
        let the_standards =
            "DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.\r\n";
        assert_eq!(
            unfolded(the_standards),
            line,
            "unfolding is taking out each line break and the blank after it"
        );
        let long = line.repeat(3);
        assert_eq!(unfolded(&folded(&long)), long);
        assert_eq!(folded(&long).split("\r\n").next().unwrap().len(), LINE_OCTETS);
    }

    #[test]
    fn seventy_five_octets_are_one_line_and_one_more_is_two() {
        assert_eq!(folded(&"x".repeat(75)).matches("\r\n").count(), 1);
        assert_eq!(folded(&"x".repeat(76)), format!("{}\r\n x\r\n", "x".repeat(75)));
        // The 75th octet would be the first of two.
        let torn = format!("{}é", "x".repeat(74));
        assert_eq!(folded(&torn), format!("{}\r\n é\r\n", "x".repeat(74)));
    }

    // RFC 5545, 3.3.5: form 2 of a date with a time.
    #[test]
    fn times_are_written_in_utc() {
        assert_eq!(utc("1998-01-19T07:00:00Z".parse().unwrap()), "19980119T070000Z");
    }

    proptest! {
        #[test]
        fn whatever_is_written_no_line_is_longer_than_75_octets_and_nothing_is_lost(text in "\\PC{0,300}") {
            let out = folded(&text);
            for part in out.split("\r\n") {
                prop_assert!(part.len() <= LINE_OCTETS);
            }
            // A text that holds the fold's own signs would be read otherwise; control letters never come this far.
            prop_assert_eq!(unfolded(&out), text);
        }
    }
}
