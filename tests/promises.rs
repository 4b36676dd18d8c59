//! The list of promises in DEVELOPERS.md: no number is left out, what is missing is said, and every test and truth it names exists.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::path::PathBuf;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// How many there are of each letter; H has one number twice.
const NUMBERS: [(&str, std::ops::RangeInclusive<u32>); 6] =
    [("A", 1..=36), ("H", 1..=16), ("C", 1..=14), ("U", 1..=16), ("D", 0..=13), ("B", 1..=12)];

struct Row {
    state: String,
    proven: String,
}

fn rows() -> BTreeMap<String, Row> {
    let text = fs::read_to_string(Path::new(ROOT).join("DEVELOPERS.md")).unwrap();
    let section = text.split("## The promises, and what proves them").nth(1).expect("the list of promises");
    let section = section.split("\n## ").next().unwrap();
    let cells = section.lines().filter(|line| line.starts_with("| ")).map(|line| {
        line.trim_matches('|').split(" | ").map(|cell| cell.trim().to_owned()).collect::<Vec<_>>()
    });
    let mut rows = BTreeMap::new();
    for cells in cells.filter(|cells| cells.len() >= 4 && cells[0].len() > 1) {
        let row = Row { state: cells[2].clone(), proven: cells[3..].join(" ") };
        assert!(rows.insert(cells[0].clone(), row).is_none(), "{} stands twice", cells[0]);
    }
    rows
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        match path.extension().and_then(|end| end.to_str()) {
            _ if path.is_dir() => sources(&path, found),
            Some("rs" | "mjs" | "py" | "txt") => found.push(path),
            _ => {}
        }
    }
}

#[test]
fn every_promise_stands_in_the_list_with_its_state() {
    let rows = rows();
    let mut wanted: Vec<String> = NUMBERS
        .into_iter()
        .flat_map(|(letter, numbers)| numbers.map(move |number| format!("{letter}{number}")))
        .collect();
    wanted.push("H8b".to_owned());
    for number in &wanted {
        let row = rows.get(number).unwrap_or_else(|| panic!("{number} is not in the list"));
        let is_kept = row.state.starts_with("kept");
        assert!(is_kept || row.state == "in part" || row.state == "missing", "{number}: {}", row.state);
        assert_eq!(row.state == "in part", row.proven.contains("missing: "), "{number}");
        assert!(!row.proven.is_empty(), "{number}: neither a test nor a reason");
    }
    assert_eq!(rows.len(), wanted.len(), "a number that no promise has");
}

#[test]
fn every_test_and_truth_the_list_names_exists() {
    let mut files = Vec::new();
    for folder in ["src", "tests", "benches"] {
        sources(&Path::new(ROOT).join(folder), &mut files);
    }
    let mut named = 0;
    for (number, row) in rows() {
        for quoted in row.proven.split('`').skip(1).step_by(2) {
            let (file, test) = quoted.split_once("::").unwrap_or((quoted, ""));
            let file =
                file.trim_start_matches("src/").trim_start_matches("tests/").trim_start_matches("benches/");
            let ours: Vec<&PathBuf> = files.iter().filter(|path| path.ends_with(file)).collect();
            assert!(!ours.is_empty(), "{number}: there is no {file}");
            let is_there =
                |path: &&PathBuf| fs::read_to_string(path).unwrap().contains(&format!("fn {test}("));
            assert!(test.is_empty() || ours.iter().any(is_there), "{number}: {file} has no test {test}");
            named += 1;
        }
    }
    assert!(named >= 100, "only {named} tests are named");
}
