//! Prints how well photos are measured, on drawn pictures of known geometry.
//!
//! `cargo run --release --example measure_table` takes the pictures in `tests/phantoms`; a folder given as an argument is
//! taken instead. Every picture: `-- --each`.

use std::path::Path;
use std::path::PathBuf;

#[path = "../tests/drawn/score.rs"]
mod score;

use score::Scored;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let each = arguments.iter().any(|argument| argument == "--each");
    let own = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/phantoms");
    let folder = arguments.iter().find(|argument| !argument.starts_with('-')).map_or(own, PathBuf::from);
    let all = score::folder(&folder, "");
    let of =
        |wanted: &dyn Fn(&Scored) -> bool| all.iter().filter(|one| wanted(one)).collect::<Vec<&Scored>>();
    if each {
        for one in &all {
            println!("{}", line(one));
        }
    }
    let typical = of(&|one| !one.name.starts_with("hard") && !one.name.starts_with("big"));
    let tuned = of(&|one| one.name.starts_with("typ") && !one.held_out);
    let held_out = of(&|one| one.name.starts_with("typ") && one.held_out);
    let hard = of(&|one| one.name.starts_with("hard"));
    println!("{}", score::table("Ordinary photos", &typical));
    for (title, set) in [("Tuned on", &tuned), ("Held out", &held_out), ("Hard photos", &hard)] {
        if !set.is_empty() {
            println!("{}", score::table(title, set));
        }
    }
    println!("By class, ordinary and hard photos\n{}", score::by_class(&of(&|_| true)));
    println!("Why no number was counted\n{}", score::reasons(&of(&|_| true)));
}

fn line(one: &Scored) -> String {
    let percent =
        |off: Option<f64>| off.map_or_else(|| "–".to_owned(), |off| format!("{:+.1} %", 100.0 * off));
    let redness = one.redness_mm.map_or_else(|| "–".to_owned(), |off| format!("{off:+.1} mm"));
    format!(
        "{:<12}{} {:?} area {} length {} width {} redness {redness} of {:.1} {:?}",
        one.name,
        if one.card_is_missing { " (no card)" } else { "" },
        one.measurement.standing,
        percent(one.area),
        percent(one.length),
        percent(one.width),
        one.true_redness_mm,
        one.measurement.because
    )
}
