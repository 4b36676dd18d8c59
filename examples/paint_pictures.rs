//! Paints test pictures and writes each with its truth, for tuning and for looking at.
//!
//! `cargo run --release --example paint_pictures -- WHAT --seed 1 --count 60 --px 2048 --out DIRECTORY`, where WHAT is
//! `clean`, `typical`, `hard`, `awkward` (each case in turn) or `sweep-NAME` (`tilt`, `defocus`, `motion`, `exposure`,
//! `tone`, `area`, `redness`, `distance`; `--count` is the number for each level).

#[path = "../tests/paint/mod.rs"]
mod paint;

use std::error::Error;
use std::fs;
use std::path::Path;

use paint::Case;
use paint::Profile;
use paint::Wish;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (what, options) =
        arguments.split_first().ok_or("paint what? clean, typical, hard, awkward or sweep-NAME")?;
    let option = |name: &str| options.windows(2).find(|pair| pair[0] == name).map(|pair| pair[1].as_str());
    let number = |name: &str, otherwise: u64| option(name).map_or(Ok(otherwise), str::parse);
    let (seed, count, px) = (number("--seed", 1)?, number("--count", 12)?, number("--px", 2_048)?);
    let directory = Path::new(option("--out").ok_or("where to? --out DIRECTORY")?);
    fs::create_dir_all(directory)?;
    for (number, (level, wish)) in wishes(what, seed, count)?.into_iter().enumerate() {
        let mut painted = paint::paint(&wish, usize::try_from(px)?);
        painted.truth.index = number as u64;
        painted.truth.file = format!("{number:04}.jpg");
        let mut truth = serde_json::to_value(&painted.truth)?;
        truth["level"] = level.into();
        fs::write(directory.join(&painted.truth.file), painted.jpeg())?;
        fs::write(directory.join(format!("{number:04}.json")), serde_json::to_vec(&truth)?)?;
    }
    Ok(())
}

fn wishes(what: &str, seed: u64, count: u64) -> Result<Vec<(String, Wish)>, Box<dyn Error>> {
    let profile = match what {
        "clean" => Profile::Clean,
        "typical" => Profile::Typical,
        "hard" => Profile::Hard,
        "awkward" => {
            let case = |number: u64| Case::AWKWARD[(number % Case::AWKWARD.len() as u64) as usize];
            let one =
                |number: u64| (format!("{:?}", case(number)), paint::awkward(case(number), seed + number));
            return Ok((0..count).map(one).collect());
        }
        _ => {
            let name = what.strip_prefix("sweep-").unwrap_or(what);
            return paint::sweep(name, seed, count)
                .ok_or_else(|| format!("no sweep {name}; there are {:?}", paint::SWEEPS).into());
        }
    };
    Ok((seed..seed + count).map(|seed| (String::new(), Wish::draw(profile, seed))).collect())
}
