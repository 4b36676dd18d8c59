//! What a well patient answers to the questions everybody meets, for tests to begin from. Temperature and strip are left
//! to each test, which says what they are there.

const WELL: &[(&str, &str)] = &[
    ("danger", "none"),
    ("better", "better"),
    ("chills", "no"),
    ("edge", "thin"),
    ("edge_move", "same"),
    ("warm_hard", "none"),
    ("pain", "2"),
    ("pain_trend", "better"),
    ("drain", "clear"),
    ("drain_amount", "less"),
    ("smell", "no"),
    ("bleed", "spots"),
    ("wash", "2"),
    ("gauze_changed", "yes"),
];

/// The same, with more answers.
pub(super) fn well_and(more: &[(&'static str, &'static str)]) -> Vec<(&'static str, &'static str)> {
    WELL.iter().chain(more).copied().collect()
}
