//! What the program is built from: its bill of materials against the lock file, and the crates that hold C or much `unsafe` against
//! the list in DEVELOPERS.md.

#[path = "../examples/sbom.rs"]
#[allow(dead_code, reason = "its main is another program's")]
mod sbom;

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;

use serde_json::Value;

use sbom::Part;

const TARGET: &str = "x86_64-unknown-linux-gnu";

/// From so many uses of the word on, a crate has much `unsafe` (ours: a dozen crates; below lie small, settled ones).
const MUCH_UNSAFE: usize = 300;

/// What a build script that compiles something else than Rust builds with.
const COMPILERS: &[&str] = &["cc", "cmake", "nasm-rs", "autotools", "bindgen", "meson-next"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn bill() -> Value {
    let lock = fs::read_to_string(root().join("Cargo.lock")).unwrap();
    let built = sbom::built(root(), TARGET).unwrap();
    sbom::document(&built, &sbom::checksums(&lock), "closewatch").unwrap()
}

/// Everything cargo knows of the packages on this machine.
fn packages() -> Vec<Value> {
    let out = Command::new(env!("CARGO"))
        .current_dir(root())
        .args(["metadata", "--locked", "--offline", "--format-version", "1", "--filter-platform", TARGET])
        .output()
        .unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let all: Value = serde_json::from_slice(&out.stdout).unwrap();
    all["packages"].as_array().unwrap().clone()
}

fn part(value: &Value) -> Part {
    let text = |key: &str| value[key].as_str().unwrap().to_owned();
    (text("name"), text("version"))
}

#[test]
fn the_bill_of_materials_names_crates_of_the_lock_file_with_its_checksums_and_none_of_the_tests() {
    let bill = bill();
    let lock = fs::read_to_string(root().join("Cargo.lock")).unwrap();
    let components = bill["components"].as_array().unwrap();
    let mut named = BTreeSet::new();
    for component in components {
        let (name, version) = part(component);
        let sum = component["hashes"][0]["content"].as_str().unwrap();
        let entry = format!(
            "name = \"{name}\"\nversion = \"{version}\"\nsource = \"registry+https://github.com/rust-lang/crates.io-index\"\n\
             checksum = \"{sum}\"\n"
        );
        assert!(lock.contains(&entry), "{name} {version} is not in the lock file with {sum}");
        assert!(component["licenses"][0]["expression"].is_string(), "{name} {version} names no licence");
        assert!(named.insert((name, version)), "named twice");
    }
    let names: BTreeSet<&str> = named.iter().map(|(name, _)| name.as_str()).collect();
    for needed in ["axum", "sqlx-sqlite", "libsqlite3-sys", "ring", "askama_derive", "cc", "zune-heic"] {
        assert!(names.contains(needed), "{needed} is missing");
    }
    for of_tests in ["proptest", "stateright", "rcgen", "sqlx-mysql", "windows-sys"] {
        assert!(!names.contains(of_tests), "{of_tests} is no part of what is built");
    }
}

#[test]
fn who_needs_whom_reaches_every_part_from_the_program() {
    let bill = bill();
    let needs: BTreeMap<&str, Vec<&str>> = bill["dependencies"]
        .as_array()
        .unwrap()
        .iter()
        .map(|entry| {
            let needed = entry["dependsOn"].as_array().unwrap();
            (entry["ref"].as_str().unwrap(), needed.iter().map(|one| one.as_str().unwrap()).collect())
        })
        .collect();
    let mut reached = BTreeSet::new();
    let mut left = vec![bill["metadata"]["component"]["bom-ref"].as_str().unwrap()];
    while let Some(one) = left.pop() {
        if reached.insert(one) {
            left.extend(&needs[one]);
        }
    }
    let parts: BTreeSet<&str> =
        bill["components"].as_array().unwrap().iter().map(|one| one["bom-ref"].as_str().unwrap()).collect();
    assert_eq!(reached.len(), parts.len() + 1);
    assert!(parts.is_subset(&reached));
}

/// How often the word stands in a crate's own sources, comments not counted.
fn unsafe_uses(folder: &Path) -> usize {
    let Ok(entries) = fs::read_dir(folder) else { return 0 };
    let uses = |path: &Path| {
        let text = String::from_utf8_lossy(&fs::read(path).unwrap()).into_owned();
        let code = text.lines().filter(|line| !line.trim_start().starts_with("//"));
        let words =
            code.flat_map(|line| line.split(|letter: char| !letter.is_alphanumeric() && letter != '_'));
        words.filter(|word| *word == "unsafe").count()
    };
    entries
        .map(|entry| entry.unwrap().path())
        .map(|path| match path.extension() {
            _ if path.is_dir() => unsafe_uses(&path),
            Some(ending) if ending == "rs" => uses(&path),
            Some(_) | None => 0,
        })
        .sum()
}

/// Crates of the program that link or compile something that is not Rust, and those with much `unsafe`.
fn risky() -> BTreeMap<String, &'static str> {
    let built = sbom::built(root(), TARGET).unwrap();
    let mut risky = BTreeMap::new();
    for package in packages() {
        let (name, version) = part(&package);
        if name == "closewatch" || !built.licences.contains_key(&(name.clone(), version)) {
            continue;
        }
        let folder: PathBuf = Path::new(package["manifest_path"].as_str().unwrap()).parent().unwrap().into();
        let builds_with =
            |one: &Value| one["kind"] == "build" && COMPILERS.contains(&one["name"].as_str().unwrap());
        let compiles = package["dependencies"].as_array().unwrap().iter().any(builds_with);
        if compiles || package["links"].is_string() {
            risky.insert(name, "C");
        } else if unsafe_uses(&folder.join("src")) >= MUCH_UNSAFE {
            risky.insert(name, "unsafe");
        }
    }
    risky
}

/// The rows of the table in DEVELOPERS.md: crate, C or unsafe, why it is there.
fn listed() -> BTreeMap<String, String> {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let (_, rest) = text.split_once("## Risky components").expect("the list has its heading");
    let rows = rest.split("\n## ").next().unwrap().lines().filter(|line| line.starts_with("| `"));
    rows.flat_map(|row| {
        let cells: Vec<&str> = row.trim_matches('|').split('|').map(str::trim).collect();
        assert!(cells.len() == 3 && !cells[2].is_empty(), "crate, what, why: {row}");
        let names = cells[0].split(", ").map(|name| name.trim_matches('`').to_owned());
        names.map(|name| (name, cells[1].to_owned())).collect::<Vec<_>>()
    })
    .collect()
}

#[test]
fn every_crate_with_c_or_much_unsafe_is_on_the_list_and_the_list_has_no_other() {
    let risky: BTreeMap<String, String> =
        risky().into_iter().map(|(name, what)| (name, what.to_owned())).collect();
    assert!(risky.get("libsqlite3-sys").is_some_and(|what| what == "C"), "SQLite is C: {risky:?}");
    assert_eq!(risky, listed(), "left: what is so; right: \"Risky components\" in DEVELOPERS.md");
}

#[test]
fn our_own_crates_forbid_unsafe() {
    for file in ["src/lib.rs", "src/main.rs"] {
        let text = fs::read_to_string(root().join(file)).unwrap();
        assert!(text.contains("#![forbid(unsafe_code)]"), "{file}");
    }
}
