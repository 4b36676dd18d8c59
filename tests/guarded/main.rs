//! Who gets in, what is shut, sealed and left unsaid; one program, for all of them stand on the same helpers.

#[path = "../support/mod.rs"]
mod support;

mod doors;
mod downtime_list;
mod envelope;
mod hostile_texts;
mod nothing_else;
mod other_patients;
mod pins;
mod record_tour;
mod restored;
mod sealed_texts;
mod second_step;
mod set_up;
mod uploads;
