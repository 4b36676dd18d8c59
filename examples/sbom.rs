//! What the program is made of, as CycloneDX 1.5 (JSON): every crate that goes into it or into building it, with version, licence,
//! checksum, and who needs whom.
//!
//! `cargo run --example sbom -- TARGET [OUT]` asks `cargo tree` what is built for TARGET, such as `x86_64-unknown-linux-gnu`, and
//! writes to OUT or to standard output. The same sources give the same bytes.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::error::Error;
use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;
use serde_json::json;

/// One crate: name and version.
pub type Part = (String, String);

/// What is built: every crate with its licence (SPDX; empty: none is named), and which others each needs.
#[derive(Debug, Default)]
pub struct Built {
    pub licences: BTreeMap<Part, String>,
    pub needs: BTreeMap<Part, BTreeSet<Part>>,
}

/// Asks cargo for normal and build dependencies as its features resolve for `target`; nothing of tests, nothing from the network.
pub fn built(folder: &Path, target: &str) -> Result<Built, Box<dyn Error>> {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
    let out = Command::new(cargo)
        .current_dir(folder)
        .args(["tree", "--locked", "--offline", "--edges", "normal,build", "--target", target])
        .args(["--prefix", "depth", "--format", " {p}|{l}"])
        .output()?;
    if !out.status.success() {
        return Err(String::from_utf8_lossy(&out.stderr).into_owned().into());
    }
    let mut built = Built::default();
    let mut above: Vec<Part> = Vec::new();
    for line in std::str::from_utf8(&out.stdout)?.lines().filter(|line| !line.is_empty()) {
        let (depth, rest) = line.split_once(' ').ok_or("a line without depth")?;
        let depth: usize = depth.parse()?;
        let (named, licence) = rest.split_once('|').ok_or("a line without licence")?;
        let mut words = named.split(' ');
        let name = words.next().ok_or("a crate without name")?.to_owned();
        let version =
            words.next().and_then(|word| word.strip_prefix('v')).ok_or("a crate without version")?;
        let part = (name, version.to_owned());
        above.truncate(depth);
        if let Some(parent) = above.last() {
            built.needs.entry(parent.clone()).or_default().insert(part.clone());
        }
        let licence = licence.trim_end_matches(" (*)").replace(" / ", " OR ").replace('/', " OR ");
        built.licences.insert(part.clone(), licence);
        above.push(part);
    }
    Ok(built)
}

/// SHA-256 of each crate from the registry, as Cargo.lock has it.
pub fn checksums(lock: &str) -> BTreeMap<Part, String> {
    lock.split("[[package]]")
        .filter_map(|entry| {
            let value = |key: &str| {
                let line = entry.lines().find_map(|line| line.strip_prefix(key)?.strip_prefix(" = \""))?;
                Some(line.trim_end_matches('"').to_owned())
            };
            Some(((value("name")?, value("version")?), value("checksum")?))
        })
        .collect()
}

fn address((name, version): &Part) -> String {
    format!("pkg:cargo/{name}@{}", version.replace('+', "%2B"))
}

fn component(part: &Part, kind: &str, licence: &str, checksum: Option<&String>) -> Value {
    let mut component = json!({
        "type": kind,
        "bom-ref": address(part),
        "name": part.0,
        "version": part.1,
        "purl": address(part),
    });
    if !licence.is_empty() {
        component["licenses"] = json!([{ "expression": licence }]);
    }
    if let Some(checksum) = checksum {
        component["hashes"] = json!([{ "alg": "SHA-256", "content": checksum }]);
    }
    component
}

/// The whole document. An error when a crate has no checksum: it came from somewhere else than the registry.
pub fn document(
    built: &Built,
    checksums: &BTreeMap<Part, String>,
    program: &str,
) -> Result<Value, Box<dyn Error>> {
    let own: Vec<&Part> = built.licences.keys().filter(|part| part.0 == program).collect();
    let [own] = own.as_slice() else { return Err(format!("{program} is not built just once").into()) };
    let mut components = Vec::new();
    for (part, licence) in built.licences.iter().filter(|(part, _)| part != own) {
        let checksum = checksums.get(part).ok_or_else(|| format!("{} has no checksum", address(part)))?;
        components.push(component(part, "library", licence, Some(checksum)));
    }
    let needs = built.licences.keys().map(|part| {
        let needed = built.needs.get(part).into_iter().flatten();
        json!({ "ref": address(part), "dependsOn": needed.map(address).collect::<Vec<_>>() })
    });
    Ok(json!({
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "version": 1,
        "metadata": { "component": component(own, "application", &built.licences[*own], None) },
        "components": components,
        "dependencies": needs.collect::<Vec<_>>(),
    }))
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (target, out) = match arguments.as_slice() {
        [target] => (target, None),
        [target, out] => (target, Some(out)),
        _ => return Err("usage: sbom TARGET [OUT]".into()),
    };
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"));
    let checksums = checksums(&fs::read_to_string(folder.join("Cargo.lock"))?);
    let document = document(&built(folder, target)?, &checksums, env!("CARGO_PKG_NAME"))?;
    let text = serde_json::to_string_pretty(&document)? + "\n";
    match out {
        Some(out) => fs::write(out, text)?,
        None => print!("{text}"),
    }
    Ok(())
}
