//! (triage: being written)
