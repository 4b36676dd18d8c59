//! What happens to an assessment when a check says more: it can rise, never fall.

use crate::triage::Assessment;
use crate::triage::Confidence;
use crate::triage::Group;
use crate::triage::Reason;
use crate::triage::Urgency;

impl Assessment {
    /// Keeps this assessment from falling below an earlier one of the same check: class and score stay at the higher
    /// of the two, and what led to the higher class stays among the reasons.
    pub fn not_below(&mut self, earlier: &Assessment) {
        if earlier.urgency > self.urgency {
            self.urgency = earlier.urgency;
            for reason in earlier.reasons.iter().rev() {
                if !self.reasons.iter().any(|kept| kept.rule_id == reason.rule_id) {
                    self.reasons.insert(0, reason.clone());
                }
            }
            for raise in &earlier.raises {
                if !self.raises.iter().any(|kept| kept.id == raise.id) {
                    self.raises.push(raise.clone());
                }
            }
            for gate in &earlier.gates {
                if !self.gates.iter().any(|kept| kept.id == gate.id) {
                    self.gates.push(gate.clone());
                }
            }
        }
        self.score = self.score.max(earlier.score);
    }

    /// The patient asked back: somebody reads it the same day, whatever the answers said.
    pub fn asked_back(&mut self) {
        let asked = Reason {
            rule_id: "asked-back".to_owned(),
            group: Group::Note,
            urgency: Urgency::Today,
            sentence: "The patient asked a question. Free words can hold anything: a person reads them the same day."
                .to_owned(),
            tripped: Vec::new(),
            source: "common practice, no source".to_owned(),
            confidence: Confidence::Medium,
        };
        if !self.reasons.iter().any(|reason| reason.rule_id == asked.rule_id) {
            let place = self.reasons.iter().position(|reason| reason.urgency < asked.urgency);
            self.reasons.insert(place.unwrap_or(self.reasons.len()), asked);
        }
        self.urgency = self.urgency.max(Urgency::Today);
    }
}
