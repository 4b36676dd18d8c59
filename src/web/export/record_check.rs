//! What only the practice's record says of a check: the phone, the ranking with its reasons, every measurement, and notes for
//! staff.

use crate::care::export::Checked;
use crate::store::assessments::KeptAssessment;
use crate::store::checks::WoundCheck;
use crate::store::measurements::Author;
use crate::store::measurements::KeptMeasurement;
use crate::store::reviews::Review;
use crate::triage::Urgency;
use crate::web::chart_words;
use crate::web::export::document::Row;
use crate::web::export::document::Section;
use crate::web::export::teller::Teller;
use crate::web::office::patients::state_words;
use crate::web::surgeon::measure_words;

/// How the check came, and where it stands.
pub fn came(teller: &Teller<'_>, check: &WoundCheck) -> Vec<String> {
    let link = teller.episode.links.iter().find(|link| link.id == check.link);
    let mut lines = vec![
        format!("No. {} of the practice; {}", check.sequence, state_words(check.state)),
        format!("Photos the phone said it would send: {}", check.photos_expected),
    ];
    lines.extend(link.map(|link| format!("Sent through the link of: {}", link.name)));
    lines.extend(chart_words::sent_from(&check.phone));
    lines
}

/// Every assessment it had.
pub fn assessed(teller: &Teller<'_>, section: &mut Section, one: &Checked) {
    for kept in &one.assessments {
        section.head(format!("Ranking {}, made {}", kept.number, teller.time(kept.made)));
        section.rows(ranking(kept));
        let assessment = &kept.assessment;
        section.list(
            "Reasons",
            assessment
                .reasons
                .iter()
                .map(|reason| {
                    let seen: Vec<String> = reason
                        .tripped
                        .iter()
                        .map(|one| match &one.limit {
                            Some(limit) => format!("{} {} ({limit})", one.fact, one.value),
                            None => format!("{} {}", one.fact, one.value),
                        })
                        .collect();
                    format!(
                        "{} ({}, rule {}): {}. Source: {}",
                        reason.sentence,
                        reason.urgency.staff_words(),
                        reason.rule_id,
                        seen.join("; "),
                        reason.source
                    )
                })
                .collect(),
        );
        section.list(
            "Raised because of the patient",
            assessment
                .raises
                .iter()
                .map(|raised| {
                    let to = raised.to.map_or("read first in its class", Urgency::staff_words);
                    format!("{} ({to}, {})", raised.sentence, raised.id)
                })
                .collect(),
        );
        section.list(
            "Not on track because",
            assessment.gates.iter().map(|gate| format!("{} ({})", gate.sentence, gate.id)).collect(),
        );
        section.list(
            "Not known, and could have raised it",
            assessment
                .unknowns
                .iter()
                .map(|unknown| format!("{} (to {})", unknown.fact, unknown.could_reach.staff_words()))
                .collect(),
        );
        section.list(
            "Looked like something harmless",
            assessment.patterns.iter().map(|one| format!("{} ({})", one.sentence, one.id)).collect(),
        );
    }
}

fn ranking(kept: &KeptAssessment) -> Vec<Row> {
    let assessment = &kept.assessment;
    vec![
        Row::new("Urgency", assessment.urgency.staff_words()),
        Row::new("Score", assessment.score.to_string()),
        Row::new("Protocol", assessment.protocol_version.clone()),
    ]
}

/// One measurement, whole. `stands`: it is the one that counts.
pub fn measured(teller: &Teller<'_>, kept: &KeptMeasurement, stands: bool) -> Vec<String> {
    let found = &kept.measurement;
    let by = match kept.author {
        Author::Program => "the program".to_owned(),
        Author::Staff(id) => teller.name(id),
    };
    let (_, standing) = measure_words::standing(found.standing, found.family);
    let which = if stands { "Measurement that stands" } else { "Earlier measurement" };
    let mut lines =
        vec![format!("{which}: by {by}, {}, method {}. {standing}", teller.time(kept.made), found.method)];
    if let Some(size) = &found.size {
        lines.push(format!(
            "Area {}; length {}; width {}; outer edge {}",
            measure_words::area_with_range(&size.area_mm2),
            measure_words::length_with_range(&size.length_mm),
            measure_words::length_with_range(&size.width_mm),
            measure_words::length_with_range(&size.perimeter_mm)
        ));
    }
    lines.push(format!("Redness: {}", measure_words::redness(&found.redness, found.family)));
    if let Some(bed) = &found.bed {
        let [red, yellow, dark] =
            [&bed.granulation, &bed.yellow, &bed.dark].map(measure_words::share_with_range);
        lines.push(format!("Bed: red {red}; yellow {yellow}; dark {dark}"));
    }
    lines.extend(found.probed.depth_mm.map(|mm| format!("Depth {}", measure_words::length(mm))));
    lines.extend(found.probed.undermining_mm.map(|mm| format!("Undermining {}", measure_words::length(mm))));
    lines.extend(measure_words::reasons(found).into_iter().map(str::to_owned));
    lines
}

/// What goes with a decision and is for staff.
pub fn decided(teller: &Teller<'_>, review: &Review) -> Vec<Row> {
    vec![
        Row::new("Note for staff", review.note.to_string()),
        Row::new("Class shown", review.urgency_shown.staff_words()),
        Row::new("Answer was due", teller.time_maybe(review.due_shown)),
        Row::new("Judged by the surgeon as", review.urgency_judged.map_or("", Urgency::staff_words)),
        Row::new("Call was due", teller.time_maybe(review.call_due)),
    ]
}
