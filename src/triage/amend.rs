//! What happens to an assessment when a check says more: it can rise, never fall.

use crate::triage::Assessment;
use crate::triage::Confidence;
use crate::triage::Group;
use crate::triage::Reason;
use crate::triage::Urgency;
use crate::triage::assess::least_score;

/// What stands as the rule where the patient asked back.
pub const ASKED_BACK: &str = "asked-back";

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
            rule_id: ASKED_BACK.to_owned(),
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
        self.score = self.score.max(least_score(self.urgency));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn assessment(urgency: Urgency, rules: &[&str]) -> Assessment {
        let reason = |rule: &&str| Reason {
            rule_id: (*rule).to_owned(),
            group: Group::Local,
            urgency,
            sentence: String::new(),
            tripped: Vec::new(),
            source: String::new(),
            confidence: Confidence::High,
        };
        Assessment {
            urgency,
            score: least_score(urgency) + 5,
            reasons: rules.iter().map(reason).collect(),
            raises: Vec::new(),
            gates: Vec::new(),
            unknowns: Vec::new(),
            patterns: Vec::new(),
            protocol_version: "1".to_owned(),
        }
    }

    fn rules(assessment: &Assessment) -> Vec<&str> {
        assessment.reasons.iter().map(|reason| reason.rule_id.as_str()).collect()
    }

    #[test]
    fn calmer_words_sent_later_never_lower_a_check_and_the_reason_stays() {
        let first = assessment(Urgency::RingNow, &["chills-shaking", "fever-38"]);
        let mut second = assessment(Urgency::Today, &["fever-38"]);
        second.not_below(&first);
        assert_eq!((second.urgency, second.score), (first.urgency, first.score));
        assert_eq!(rules(&second), vec!["chills-shaking", "fever-38"]);
    }

    #[test]
    fn graver_words_sent_later_stand() {
        let mut second = assessment(Urgency::GoNow, &["dead-skin"]);
        let as_sent = second.clone();
        second.not_below(&assessment(Urgency::Today, &["fever-38"]));
        assert_eq!(second, as_sent);
    }

    #[test]
    fn a_question_makes_a_calm_check_one_for_today_and_leaves_a_grave_one_alone() {
        let mut calm = assessment(Urgency::OnTrack, &[]);
        calm.asked_back();
        calm.asked_back();
        assert_eq!((calm.urgency, calm.score), (Urgency::Today, least_score(Urgency::Today)));
        assert_eq!(rules(&calm), vec!["asked-back"]);
        let mut grave = assessment(Urgency::GoNow, &["dead-skin"]);
        grave.asked_back();
        assert_eq!(grave.urgency, Urgency::GoNow);
        assert_eq!(rules(&grave), vec!["dead-skin", "asked-back"]);
    }
}
