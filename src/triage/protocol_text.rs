//! The whole protocol as a surgeon would read it, so that a clinical change shows in review in the same words.

use std::fmt::Write;

use crate::triage::protocol::Protocol;
use crate::triage::protocol::RaisesOn;
use crate::triage::urgency::Urgency;

impl Protocol {
    /// The protocol as text, one entry to a paragraph.
    pub fn as_text(&self) -> String {
        let mut text = String::new();
        // Writing into a string cannot fail.
        self.write_text(&mut text).unwrap_or(());
        text
    }

    fn write_text(&self, out: &mut String) -> std::fmt::Result {
        writeln!(out, "PROTOCOL {}", self.version())?;
        writeln!(out, "For review by the responsible surgeon. A sorting aid, never a diagnosis.")?;
        self.write_targets(out)?;
        self.write_limits(out)?;
        writeln!(
            out,
            "\n\nRULES ({}): every one that fires is a reason; the most urgent wins",
            self.rules().len()
        )?;
        let mut group = None;
        for rule in self.rules() {
            if group != Some(rule.group) {
                writeln!(out, "\n-- {} --", rule.group.code())?;
                group = Some(rule.group);
            }
            writeln!(out, "\n{}: {}", rule.id, rule.urgency.staff_words())?;
            writeln!(out, "    when    {}", rule.when.text())?;
            writeln!(out, "    because {}", rule.sentence.en)?;
            writeln!(out, "    porque  {}", rule.sentence.es)?;
            if rule.at_least != rule.urgency {
                writeln!(out, "    never   calmer than {}", rule.at_least.staff_words())?;
            }
            writeln!(out, "    source  {} [{}]", rule.source, rule.confidence.code())?;
        }
        writeln!(out, "\n\nRAISES: for who the patient is, after the rules")?;
        for raise in self.raises() {
            let to = raise.to.map_or("same class, read first in it", Urgency::staff_words);
            writeln!(out, "\n{}: {to}", raise.id)?;
            match &raise.on {
                RaisesOn::Rules { rules } => writeln!(out, "    on      {}", rules.join(", "))?,
                RaisesOn::GroupAt { group, at } => {
                    writeln!(out, "    on      any {} rule at {}", group.code(), at.staff_words())?;
                }
            }
            writeln!(out, "    when    {}", raise.when.text())?;
            writeln!(out, "    because {}", raise.sentence.en)?;
            writeln!(out, "    porque  {}", raise.sentence.es)?;
            writeln!(out, "    source  {}", raise.source)?;
        }
        let floor = Urgency::Tomorrow.staff_words();
        writeln!(out, "\n\nGATES: all must hold, or the check is at least {floor}")?;
        for gate in self.gates() {
            writeln!(out, "\n{}\n    when    {}", gate.id, gate.when.text())?;
            writeln!(out, "    else    {}\n    si no   {}", gate.sentence.en, gate.sentence.es)?;
        }
        writeln!(out, "\n\nPATTERNS: shown beside a check, never lowering it")?;
        for pattern in self.patterns() {
            writeln!(out, "\n{}\n    when    {}", pattern.id, pattern.when.text())?;
            writeln!(out, "    means   {}\n    es      {}", pattern.sentence.en, pattern.sentence.es)?;
            writeln!(out, "    source  {}", pattern.source)?;
        }
        Ok(())
    }

    fn write_limits(&self, out: &mut String) -> std::fmt::Result {
        writeln!(
            out,
            "\n\nLIMITS ({}): a practice can move each within its range",
            self.limits().all().len()
        )?;
        for limit in self.limits().all() {
            writeln!(out, "\n{}: {} (from {})", limit.id, limit.text(), limit.range_text())?;
            writeln!(out, "    {} / {}", limit.meaning.en, limit.meaning.es)?;
            writeln!(out, "    source  {}", limit.source)?;
        }
        Ok(())
    }

    fn write_targets(&self, out: &mut String) -> std::fmt::Result {
        let targets = self.targets();
        writeln!(out, "\n\nANSWERED WITHIN (proposals, no source)\n")?;
        for urgency in Urgency::ALL.iter().rev() {
            let minutes = targets.due_minutes(*urgency);
            let staff_words = urgency.staff_words();
            write!(out, "{} ({staff_words}): ", urgency.code())?;
            if minutes < 120 {
                writeln!(out, "{minutes} minutes")?;
            } else {
                writeln!(out, "{} h", f64::from(minutes) / 60.0)?;
            }
        }
        let (evening, morning) = (targets.today_evening_from_hour, targets.today_morning_by_hour);
        writeln!(out, "Today, received after {evening}:00: by {morning}:00 next morning")?;
        let weekend_h = f64::from(targets.on_track_weekend_minutes) / 60.0;
        writeln!(out, "On track, ending on a weekend: {weekend_h} h")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Renew the truth file by running the tests with `RENEW_TRUTH=1`; review what changed as a clinical change.
    #[test]
    fn the_protocol_reads_as_it_was_reviewed() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/truth/protocol.txt");
        let text = Protocol::built_in().as_text();
        if std::env::var_os("RENEW_TRUTH").is_some_and(|renew| renew == "1") {
            std::fs::write(path, &text).unwrap();
        }
        let reviewed = std::fs::read_to_string(path).unwrap();
        for (place, (now, then)) in text.lines().zip(reviewed.lines()).enumerate() {
            assert_eq!(now, then, "line {} of {path}; RENEW_TRUTH=1 renews it", place + 1);
        }
        assert_eq!(text, reviewed, "RENEW_TRUTH=1 renews it");
    }
}
