//! Reading the record line by line: whole, or broken, and where.

use jiff::Timestamp;

use crate::ids::PracticeId;
use crate::store::audit::AuditEntry;

/// The last line of a practice's record at some moment, as it was noted or signed then.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordHead {
    pub practice: PracticeId,
    /// 0: the record was empty.
    pub sequence: i64,
    pub sha256: String,
    pub at: Timestamp,
}

/// Where a record is broken, and how. Lines are named by their sequence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flaw {
    /// These lines, both ends among them, are gone.
    Missing { first: i64, last: i64 },
    /// A line stands where another one should.
    Doubled { line: i64 },
    /// The line says something else than was written.
    Changed { line: i64 },
    /// The line does not follow from the one before it: the one before is not the one that was there.
    Unlinked { line: i64 },
    /// The record ends with `last`, and once went on to `noted`.
    Cut { last: i64, noted: i64 },
    /// Lines stand behind the last one that the practice noted.
    Added { first: i64 },
    /// The last line is not the one that the practice noted.
    Replaced { line: i64 },
    /// Lines up to `last` are gone, and no line of the record says that they went for their age.
    Unnoted { last: i64 },
    /// The line is not the one that was signed; whatever was written anew lies behind line `after`, the last one that agrees
    /// with a signature.
    Rewritten { after: i64, line: i64 },
}

impl Flaw {
    /// The first line that cannot be trusted.
    pub fn place(self) -> i64 {
        match self {
            Flaw::Missing { first, .. } | Flaw::Added { first } => first,
            Flaw::Unnoted { .. } => 1,
            Flaw::Doubled { line }
            | Flaw::Changed { line }
            | Flaw::Unlinked { line }
            | Flaw::Replaced { line } => line,
            Flaw::Cut { last, .. } => last + 1,
            Flaw::Rewritten { after, .. } => after + 1,
        }
    }
}

/// Reads one practice's lines in their order. It stops at the first flaw.
#[derive(Debug)]
pub struct ChainReader<'a> {
    /// Signed heads, in the order of their lines.
    heads: Vec<&'a RecordHead>,
    previous_sha256: String,
    /// The last line that went for its age; 0: none did.
    start: i64,
    /// The last line read.
    last: i64,
    /// The last line that agreed with a signed head; 0: none did.
    agreed: i64,
}

impl<'a> ChainReader<'a> {
    /// `start`: the last line that went for its age, sequence 0 where none did. `heads`: signed ones of this practice, in any
    /// order; one of exactly the last line that went must be that line, and those before it are past being asked.
    pub fn after(
        start: &RecordHead,
        heads: impl IntoIterator<Item = &'a RecordHead>,
    ) -> Result<ChainReader<'a>, Flaw> {
        let mut heads: Vec<&RecordHead> =
            heads.into_iter().filter(|head| head.sequence >= start.sequence).collect();
        // Read from the end.
        heads.sort_by_key(|head| std::cmp::Reverse(head.sequence));
        let mut agreed = 0;
        while let Some(head) = heads.pop_if(|head| head.sequence == start.sequence) {
            if head.sha256 != start.sha256 {
                return Err(Flaw::Rewritten { after: 0, line: start.sequence });
            }
            agreed = start.sequence;
        }
        Ok(ChainReader {
            heads,
            previous_sha256: start.sha256.clone(),
            start: start.sequence,
            last: start.sequence,
            agreed,
        })
    }

    /// The next line in the order of sequence.
    pub fn take(&mut self, line: &AuditEntry) -> Result<(), Flaw> {
        let expected = self.last + 1;
        if line.sequence > expected {
            return Err(Flaw::Missing { first: expected, last: line.sequence - 1 });
        }
        if line.sequence < expected {
            return Err(Flaw::Doubled { line: line.sequence });
        }
        if line.sha256 != line.hash() {
            return Err(Flaw::Changed { line: expected });
        }
        if line.previous_sha256 != self.previous_sha256 {
            return Err(Flaw::Unlinked { line: expected });
        }
        while let Some(head) = self.heads.pop_if(|head| head.sequence <= expected) {
            if head.sequence == expected && head.sha256 != line.sha256 {
                return Err(Flaw::Rewritten { after: self.agreed, line: expected });
            }
            self.agreed = head.sequence;
        }
        self.previous_sha256.clone_from(&line.sha256);
        self.last = expected;
        Ok(())
    }

    /// After the last line. `noted`: the sequence and hash that the practice keeps beside its record. How many lines there
    /// are.
    pub fn finish(self, noted: (i64, &str)) -> Result<i64, Flaw> {
        let signed = self.heads.first().map_or(0, |head| head.sequence);
        let furthest = signed.max(noted.0);
        if furthest > self.last {
            return Err(Flaw::Cut { last: self.last, noted: furthest });
        }
        if noted.0 < self.last {
            return Err(Flaw::Added { first: noted.0 + 1 });
        }
        if noted.1 != self.previous_sha256 {
            return Err(Flaw::Replaced { line: self.last });
        }
        Ok(self.last - self.start)
    }
}

#[cfg(test)]
mod tests {
    use jiff::SignedDuration;

    use super::*;
    use crate::ids::Chance;
    use crate::ids::Moment;

    /// A record of so many lines, chained as the program chains them.
    fn record(lines: i64) -> Vec<AuditEntry> {
        let moment = Moment::new("2026-03-02T12:00:00Z".parse().unwrap(), Chance::seeded(1));
        let practice = PracticeId::mint(&moment);
        let mut all: Vec<AuditEntry> = Vec::new();
        for sequence in 1..=lines {
            all.push(AuditEntry {
                practice,
                sequence,
                at: moment.now + SignedDuration::from_secs(sequence * 60),
                actor: format!("staff:{}", sequence % 7),
                action: ["check.view", "check.claim", "photo.view"][(sequence % 3) as usize].to_owned(),
                subject: format!("check:{}", sequence % 50),
                detail: String::new(),
                previous_sha256: String::new(),
                sha256: String::new(),
            });
        }
        chain_from(&mut all, 0);
        all
    }

    /// Chains anew from this place on, as somebody would who knows how.
    fn chain_from(lines: &mut [AuditEntry], place: usize) {
        for place in place..lines.len() {
            let previous =
                place.checked_sub(1).map_or_else(String::new, |before| lines[before].sha256.clone());
            lines[place].previous_sha256 = previous;
            lines[place].sha256 = lines[place].hash();
        }
    }

    fn head_of(line: &AuditEntry) -> RecordHead {
        RecordHead {
            practice: line.practice,
            sequence: line.sequence,
            sha256: line.sha256.clone(),
            at: line.at,
        }
    }

    fn read(lines: &[AuditEntry], heads: &[RecordHead], noted: &RecordHead) -> Result<i64, Flaw> {
        read_after(0, lines, heads, noted)
    }

    /// The same, where so many lines went for their age; `lines` are those that are left.
    fn read_after(
        gone: usize,
        lines: &[AuditEntry],
        heads: &[RecordHead],
        noted: &RecordHead,
    ) -> Result<i64, Flaw> {
        let whole = record(gone as i64);
        let none = RecordHead { sequence: 0, sha256: String::new(), ..noted.clone() };
        let start = whole.last().map_or(none, head_of);
        let mut reader = ChainReader::after(&start, heads)?;
        for line in lines {
            reader.take(line)?;
        }
        reader.finish((noted.sequence, &noted.sha256))
    }

    /// Says what harm was done to a record, and what must be found.
    fn harm(
        lines: &mut Vec<AuditEntry>,
        noted: &mut RecordHead,
        heads: &[RecordHead],
        chance: &Chance,
    ) -> Vec<Flaw> {
        let last = lines.len();
        let place = chance.below(last as u32) as usize;
        let line = lines[place].sequence;
        // A signed head lies at or behind every line that a liar chains anew here.
        let before = heads.iter().map(|head| head.sequence).filter(|head| *head < line).max().unwrap_or(0);
        let behind = heads.iter().map(|head| head.sequence).find(|head| *head >= line);
        let chained_anew = |behind: Option<i64>| match behind {
            Some(behind) => Flaw::Rewritten { after: before, line: behind },
            None => panic!("the last line is signed"),
        };
        match chance.below(9) {
            0 => {
                lines[place].subject.push('0');
                vec![Flaw::Changed { line }]
            }
            1 => {
                lines[place].at += SignedDuration::from_millis(1);
                vec![Flaw::Changed { line }]
            }
            2 => {
                let entry = &mut lines[place];
                let moved = std::mem::take(&mut entry.action);
                entry.actor.push_str(&moved);
                vec![Flaw::Changed { line }]
            }
            // One line changed with its own hash made to fit: the next one does not follow from it any more.
            3 => {
                lines[place].actor = "program".to_owned();
                lines[place].sha256 = lines[place].hash();
                match place + 1 == last {
                    true => vec![Flaw::Rewritten { after: before, line }],
                    false if behind == Some(line) => vec![Flaw::Rewritten { after: before, line }],
                    false => vec![Flaw::Unlinked { line: line + 1 }],
                }
            }
            // Everything behind it chained anew, and the practice's own note made to fit.
            4 => {
                lines[place].actor = "program".to_owned();
                chain_from(lines, place);
                *noted = head_of(lines.last().unwrap());
                vec![chained_anew(behind)]
            }
            5 => {
                lines.remove(place);
                match place + 1 == last {
                    true => vec![Flaw::Cut { last: line - 1, noted: line }],
                    false => vec![Flaw::Missing { first: line, last: line }],
                }
            }
            // Taken out and closed up.
            6 => {
                lines.remove(place);
                for entry in &mut lines[place..] {
                    entry.sequence -= 1;
                }
                chain_from(lines, place);
                *noted = lines.last().map_or_else(|| noted.clone(), head_of);
                match behind.filter(|behind| *behind < last as i64) {
                    Some(behind) => vec![Flaw::Rewritten { after: before, line: behind }],
                    None => vec![Flaw::Cut { last: last as i64 - 1, noted: last as i64 }],
                }
            }
            // One slipped in.
            7 => {
                let slipped = lines[place].clone();
                lines.insert(place, slipped);
                vec![Flaw::Doubled { line }]
            }
            // The end cut off, and the practice's own note with it.
            _ => {
                lines.truncate(place);
                *noted = lines
                    .last()
                    .map_or(RecordHead { sequence: 0, sha256: String::new(), ..noted.clone() }, head_of);
                vec![Flaw::Cut { last: place as i64, noted: last as i64 }]
            }
        }
    }

    #[test]
    fn whatever_is_done_to_a_line_is_found_and_placed_in_a_thousand_random_trials() {
        let whole = record(240);
        let signed = [50, 100, 170, 240].map(|line: usize| head_of(&whole[line - 1]));
        let head = head_of(&whole[239]);
        assert_eq!(read(&whole, &signed, &head), Ok(240));
        let chance = Chance::seeded(8);
        for trial in 0..1_000 {
            let (mut lines, mut noted) = (whole.clone(), head.clone());
            let expected = harm(&mut lines, &mut noted, &signed, &chance);
            let found = read(&lines, &signed, &noted).expect_err("harm that nobody finds");
            assert!(expected.contains(&found), "trial {trial}: {found:?} for {expected:?}");
        }
    }

    #[test]
    fn ten_lines_cut_off_with_the_note_made_to_fit_are_seen_by_the_signed_head_alone() {
        let whole = record(60);
        let (cut, noted) = (&whole[..50], head_of(&whole[49]));
        assert_eq!(read(cut, &[], &noted), Ok(50), "without a signature nobody can tell");
        let signed = [head_of(&whole[59])];
        assert_eq!(read(cut, &signed, &noted), Err(Flaw::Cut { last: 50, noted: 60 }));
    }

    #[test]
    fn what_is_left_of_a_record_whose_oldest_lines_went_is_proved_by_the_last_of_them_and_the_heads_of_later_ones()
     {
        let whole = record(60);
        let (noted, left) = (head_of(&whole[59]), &whole[20..]);
        let signed = [10, 20, 40, 60].map(|line: usize| head_of(&whole[line - 1]));
        assert_eq!(read_after(20, left, &signed, &noted), Ok(40));
        // One line more is gone than was said, or one line fewer.
        assert_eq!(read_after(20, &whole[21..], &signed, &noted), Err(Flaw::Missing { first: 21, last: 21 }));
        assert_eq!(read_after(21, left, &signed, &noted), Err(Flaw::Doubled { line: 21 }));
        // The last line that went is not the one that was signed.
        let other = RecordHead { sha256: "0".repeat(64), ..signed[1].clone() };
        assert_eq!(read_after(20, left, &[other], &noted), Err(Flaw::Rewritten { after: 0, line: 20 }));
        // Everything that is left was written anew.
        let mut anew = left.to_vec();
        anew[0].actor = "program".to_owned();
        for place in 0..anew.len() {
            if place > 0 {
                anew[place].previous_sha256 = anew[place - 1].sha256.clone();
            }
            anew[place].sha256 = anew[place].hash();
        }
        let noted = head_of(&anew[39]);
        assert_eq!(read_after(20, &anew, &[], &noted), Ok(40), "without a signature nobody can tell");
        assert_eq!(read_after(20, &anew, &signed, &noted), Err(Flaw::Rewritten { after: 20, line: 40 }));
    }

    #[test]
    fn a_line_behind_the_last_one_that_was_noted_is_found() {
        let whole = record(20);
        assert_eq!(read(&whole, &[], &head_of(&whole[18])), Err(Flaw::Added { first: 20 }));
        let other = RecordHead { sha256: "0".repeat(64), ..head_of(&whole[19]) };
        assert_eq!(read(&whole, &[], &other), Err(Flaw::Replaced { line: 20 }));
    }
}
