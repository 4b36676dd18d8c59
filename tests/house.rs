//! The house: imports go downhill only, each room keeps to its trade, and no file says what must not be said.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::path::PathBuf;

use closewatch::store::text_columns;

/// What each room may import from. A room not listed imports nothing of ours.
const DOWNHILL: &[(&str, &[&str])] = &[
    ("guards", &[]),
    ("ids", &[]),
    ("config", &[]),
    ("telemetry", &[]),
    ("words", &[]),
    ("photo", &["ids"]),
    ("plan", &["ids"]),
    ("duty", &["plan", "ids"]),
    ("wound", &["photo", "ids"]),
    ("triage", &["wound", "duty", "plan", "ids"]),
    ("sheet", &["plan", "words", "ids", "photo"]),
    ("store", &["photo", "wound", "plan", "duty", "triage", "sheet", "words", "ids", "guards"]),
    ("notify", &["plan", "ids", "config"]),
    ("care", &["store", "photo", "wound", "plan", "duty", "triage", "sheet", "words", "ids", "guards"]),
    (
        "jobs",
        &["care", "notify", "store", "photo", "wound", "plan", "duty", "triage", "words", "ids", "guards"],
    ),
    (
        "web",
        &[
            "care", "notify", "store", "photo", "wound", "plan", "duty", "triage", "sheet", "words", "ids",
            "config",
        ],
    ),
    (
        "cli",
        &[
            "web",
            "jobs",
            "notify",
            "care",
            "store",
            "photo",
            "wound",
            "plan",
            "duty",
            "triage",
            "sheet",
            "words",
            "ids",
            "config",
            "telemetry",
        ],
    ),
    ("main", &["cli", "telemetry"]),
];

/// Rooms without clock, database, network or chance of their own.
const PURE: &[&str] = &["ids", "photo", "wound", "plan", "duty", "triage", "sheet", "words"];

/// Files that are allowed to be longer than the house likes, with the reason.
const LONGEST_LINES: usize = 450;

struct Source {
    path: String,
    room: String,
    text: String,
    /// A file of tests: its `mod` line stands behind `#[cfg(test)]`.
    only_tests: bool,
}

impl Source {
    /// Lines with their numbers, without tests and comments.
    fn code(&self) -> impl Iterator<Item = (usize, &str)> {
        let end = self.text.find("#[cfg(test)]\nmod tests {").unwrap_or(self.text.len());
        let end = if self.only_tests { 0 } else { end };
        self.text[..end]
            .lines()
            .enumerate()
            .map(|(number, line)| (number + 1, line))
            .filter(|(_, line)| !line.trim_start().starts_with("//"))
    }
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn files(folder: &Path, endings: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let Ok(entries) = fs::read_dir(folder) else { return found };
    for entry in entries {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() && !["target", ".git", "node_modules"].contains(&name.as_str()) {
            found.extend(files(&path, endings));
        } else if endings.iter().any(|ending| name.ends_with(ending)) {
            found.push(path);
        }
    }
    found.sort();
    found
}

fn sources() -> Vec<Source> {
    let found = files(&root().join("src"), &[".rs"]);
    assert!(found.len() > 50, "the sources were not found");
    let mut all: Vec<Source> = found.iter().map(|path| read(path)).collect();
    let marked: Vec<String> = all
        .iter()
        .flat_map(|source| {
            let folder = source.path.rsplit_once('/').unwrap().0.to_owned();
            let tests = source.text.split("#[cfg(test)]\nmod ").skip(1);
            let names = tests.filter_map(|rest| rest.split_once(';').map(|(name, _)| name.to_owned()));
            names.map(move |name| format!("{folder}/{name}.rs")).collect::<Vec<_>>()
        })
        .collect();
    for source in &mut all {
        source.only_tests = marked.contains(&source.path);
    }
    all
}

fn read(path: &Path) -> Source {
    let inside = path.strip_prefix(root()).unwrap().to_string_lossy().into_owned();
    let room = inside.trim_start_matches("src/").split(['/', '.']).next().unwrap().to_owned();
    Source { text: fs::read_to_string(path).unwrap(), path: inside, room, only_tests: false }
}

fn none(faults: Vec<String>) {
    assert!(faults.is_empty(), "\n{}\n", faults.join("\n"));
}

/// The rooms that one line names by `crate::`, or by the crate's name in `main.rs`.
fn rooms_named(line: &str) -> Vec<String> {
    let mut rooms = Vec::new();
    for prefix in ["crate::", "closewatch::"] {
        for rest in line.split(prefix).skip(1) {
            let name: String =
                rest.chars().take_while(|letter| letter.is_ascii_alphanumeric() || *letter == '_').collect();
            rooms.push(name);
        }
    }
    rooms
}

#[test]
fn imports_go_downhill_only() {
    let allowed: BTreeMap<&str, &[&str]> = DOWNHILL.iter().copied().collect();
    let mut faults = Vec::new();
    for source in sources().iter().filter(|source| source.room != "lib") {
        let Some(below) = allowed.get(source.room.as_str()) else {
            faults.push(format!("{}: the room `{}` has no row in DOWNHILL", source.path, source.room));
            continue;
        };
        for (number, line) in source.code() {
            for named in rooms_named(line) {
                let is_room = allowed.contains_key(named.as_str());
                if is_room && named != source.room && !below.contains(&named.as_str()) {
                    faults.push(format!("{}:{number}: {} must not import {named}", source.path, source.room));
                }
            }
        }
    }
    none(faults);
}

#[test]
fn the_table_of_rooms_itself_goes_downhill_and_names_every_room() {
    let order: Vec<&str> = DOWNHILL.iter().map(|(room, _)| *room).collect();
    for (place, (room, below)) in DOWNHILL.iter().enumerate() {
        for lower in *below {
            assert!(order[..place].contains(lower), "{room} stands before {lower}");
        }
    }
    let lib = fs::read_to_string(root().join("src/lib.rs")).unwrap();
    let rooms: Vec<&str> =
        lib.lines().filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';')).collect();
    assert!(rooms.len() > 8);
    for room in rooms {
        assert!(order.contains(&room), "{room}");
    }
}

#[test]
fn sql_is_spoken_in_the_store_and_http_on_the_web_and_at_the_command_line() {
    let mut faults = Vec::new();
    for source in sources() {
        for (number, line) in source.code() {
            let place = format!("{}:{number}", source.path);
            if line.contains("sqlx::") && source.room != "store" {
                faults.push(format!("{place}: sqlx outside the store"));
            }
            if line.contains("object_store::") && source.room != "store" {
                faults.push(format!("{place}: object_store outside the store"));
            }
            if line.contains("axum") && !["web", "cli"].contains(&source.room.as_str()) {
                faults.push(format!("{place}: axum outside web and cli"));
            }
            if line.contains("argon2::") && source.room != "care" {
                faults.push(format!("{place}: argon2 outside care"));
            }
        }
    }
    none(faults);
}

#[test]
fn pure_rooms_ask_for_no_time_no_chance_no_file_and_no_network() {
    let forbidden =
        ["tokio", "std::fs", "std::net", "std::env", "::now()", "SysRng", "std::process", "std::thread"];
    let mut faults = Vec::new();
    for source in sources().iter().filter(|source| PURE.contains(&source.room.as_str())) {
        for (number, line) in source.code() {
            // The operating system's chance is drawn in ids, and nowhere else.
            let drawn_here = source.room == "ids" && line.contains("SysRng");
            for word in forbidden.iter().filter(|word| line.contains(**word) && !drawn_here) {
                faults.push(format!("{}:{number}: {word} in a pure room", source.path));
            }
        }
    }
    none(faults);
}

#[test]
fn there_is_one_use_line_for_each_room_and_nobody_climbs_with_super() {
    let mut faults = Vec::new();
    for source in sources() {
        for (number, line) in source.text.lines().enumerate() {
            let place = format!("{}:{}", source.path, number + 1);
            if line.trim_start().starts_with("use crate::{") {
                faults.push(format!("{place}: a grouped use across rooms"));
            }
            if line.contains("super::super") {
                faults.push(format!("{place}: super::super"));
            }
        }
    }
    none(faults);
}

#[test]
fn queries_are_fixed_text_with_their_values_bound() {
    let mut faults = Vec::new();
    for source in sources().iter().filter(|source| source.room == "store") {
        for (number, line) in source.code() {
            // A back-up is written in with the columns of its day; each was found in the catalogue of the books here.
            let of_the_catalogue = source.path == "src/store/books.rs" && line.contains("AssertSqlSafe(");
            if !of_the_catalogue && (line.contains("AssertSqlSafe(") || line.contains("query(&format!")) {
                faults.push(format!("{}:{number}: a query made of text at run time", source.path));
            }
        }
    }
    none(faults);
}

#[test]
fn every_query_of_the_store_names_the_practice_or_a_secret() {
    // Tables found by a secret's hash, or holding no practice's rows.
    let by_secret = [
        "token_sha256",
        "phone_sha256",
        "code_locator",
        "sign_in_name = $1",
        "set_up",
        "unknown_name",
        "pg_trigger",
        "pg_stat_database",
        "server_state",
        "link_id = $1",
        "check_id = $1",
    ];
    let mut faults = Vec::new();
    for source in sources().iter().filter(|source| source.path.starts_with("src/store/")) {
        for sql in statements(&source.text) {
            let reads = sql.contains(" FROM ") || sql.starts_with("UPDATE ") || sql.starts_with("DELETE ");
            let about_practice = sql.contains("practice_id") || sql.contains("practice WHERE id = $1");
            let named = about_practice || by_secret.iter().any(|secret| sql.contains(secret));
            // The runner serves every practice in turn, and the clock is one for all.
            let every_practice = sql
                == "SELECT * FROM practice WHERE purpose = 'care' ORDER BY created_ms, id"
                || sql == "SELECT id FROM practice WHERE purpose = 'canary'"
                || (source.path == "src/store/jobs.rs" && sql.starts_with("UPDATE job SET lease = $2"))
                || source.path == "src/store/clock.rs"
                // Its macro puts the practice behind it.
                || (source.path == "src/store/purge.rs" && sql == "DELETE FROM")
                // A back-up holds what every practice has.
                || source.path == "src/store/books.rs"
                // Rows are summed whoever's they are.
                || source.path == "src/store/row_sums.rs";
            // Ids of rows found by a secret in the same step.
            let same_step = sql.starts_with("UPDATE staff SET failed_sign_ins")
                || sql.starts_with("SELECT staff.failed_sign_ins")
                || sql.starts_with("UPDATE patient_link SET first_used_ms")
                || sql.starts_with("UPDATE practice SET ");
            if reads && !named && !every_practice && !same_step {
                faults.push(format!("{}: {sql}", source.path));
            }
        }
    }
    none(faults);
}

/// The SQL statements in a file's string literals, with line breaks taken out.
fn statements(text: &str) -> Vec<String> {
    let joined = text.replace("\\\n", " ");
    joined
        .split('"')
        .skip(1)
        .step_by(2)
        .map(|literal| literal.split_whitespace().collect::<Vec<_>>().join(" "))
        .filter(|sql| ["SELECT ", "UPDATE ", "DELETE ", "INSERT "].iter().any(|verb| sql.starts_with(verb)))
        .collect()
}

#[test]
fn no_query_writes_what_was_typed_into_a_column_that_is_not_sealed() {
    let (mut faults, mut looked_at) = (Vec::new(), 0);
    for source in sources().iter().filter(|source| source.path.starts_with("src/store/")) {
        // There what an older program wrote is taken out.
        if source.path == "src/store/text_columns.rs" {
            continue;
        }
        for sql in statements(&source.text) {
            for column in text_columns::ALL {
                let (table, column) = column.name.split_once('.').unwrap();
                for value in written(&sql, table, column) {
                    looked_at += 1;
                    if value != "''" && !leaves_as_it_is(&value, column) {
                        faults.push(format!("{}: {table}.{column} = {value} in {sql}", source.path));
                    }
                }
            }
        }
    }
    // Eighteen columns of their own, most of them written in one place.
    assert!(looked_at >= 18, "only {looked_at} were seen");
    assert_eq!(
        written("UPDATE message SET sent_ms = $1, body = $2 WHERE id = $3", "message", "body"),
        ["$2"]
    );
    assert!(leaves_as_it_is("CASE WHEN $9 = 1 THEN body ELSE '' END", "body"));
    assert!(!leaves_as_it_is("CASE WHEN $9 = 1 THEN other ELSE '' END", "body"));
    assert!(!leaves_as_it_is("CASE WHEN $9 = 1 THEN body ELSE $3 END", "body"));
    let insert = "INSERT INTO message (id, body) VALUES ($1, $2) ON CONFLICT (id) DO UPDATE SET body = $2";
    assert_eq!(written(insert, "message", "body"), ["$2", "$2"]);
    none(faults);
}

/// Whether such a value is nothing, or what lies in the column already.
fn leaves_as_it_is(value: &str, column: &str) -> bool {
    value.starts_with("CASE WHEN $") && value.ends_with(&format!(" = 1 THEN {column} ELSE '' END"))
}

/// What a statement writes into a column of a table.
fn written(sql: &str, table: &str, column: &str) -> Vec<String> {
    let mut values = Vec::new();
    let begins = [format!("INSERT INTO {table} ("), format!("UPDATE {table} SET ")];
    if let Some(rest) = sql.strip_prefix(&begins[0]) {
        let (names, rest) = rest.split_once(')').unwrap();
        let rest = rest.trim_start().trim_start_matches("VALUES (").trim_start_matches("SELECT ");
        let place = names.split(',').position(|name| name.trim() == column);
        values.extend(place.and_then(|place| parts(rest).get(place).cloned()));
    }
    let updated = match sql.split_once("DO UPDATE SET ") {
        Some((insert, set)) if insert.starts_with(&begins[0]) => Some(set),
        _ => sql.strip_prefix(&begins[1]),
    };
    for one in parts(updated.unwrap_or_default()) {
        values.extend(
            one.split_once(" = ").filter(|(name, _)| *name == column).map(|(_, value)| value.to_owned()),
        );
    }
    values
}

/// What stands between commas, those within brackets set aside, up to the end of the list.
fn parts(list: &str) -> Vec<String> {
    let list = list.split(" WHERE ").next().unwrap().split(" FROM ").next().unwrap();
    let (mut parts, mut depth) = (vec![String::new()], 0);
    for sign in list.chars() {
        match sign {
            '(' => depth += 1,
            ')' if depth == 0 => break,
            ')' => depth -= 1,
            ',' if depth == 0 => {
                parts.push(String::new());
                continue;
            }
            _ => {}
        }
        parts.last_mut().unwrap().push(sign);
    }
    parts.into_iter().map(|part| part.trim().to_owned()).collect()
}

#[test]
fn nothing_is_unsafe_and_errors_are_expected_with_a_reason() {
    let lib = fs::read_to_string(root().join("src/lib.rs")).unwrap();
    assert!(lib.contains("#![forbid(unsafe_code)]"));
    let mut faults = Vec::new();
    for source in sources() {
        for (number, line) in source.code() {
            let place = format!("{}:{number}", source.path);
            if line.contains(".unwrap()") || line.contains(".expect(\"\")") {
                faults.push(format!("{place}: unwrap outside tests"));
            }
            if ["todo!(", "unimplemented!(", "dbg!("].iter().any(|left| line.contains(left)) {
                faults.push(format!("{place}: left over"));
            }
            if line.contains("#[allow(") || line.contains("#![allow(") {
                let macro_made = source.path == "src/words/mod.rs";
                if !macro_made {
                    faults.push(format!("{place}: allow; use expect with a reason"));
                }
            }
        }
    }
    none(faults);
}

#[test]
fn every_file_opens_with_a_sentence_about_itself() {
    let mut faults = Vec::new();
    for source in sources() {
        let first = source.text.lines().next().unwrap_or("");
        if !first.starts_with("//! ") || first.len() < 20 {
            faults.push(format!("{}: {first}", source.path));
        }
        if source.text.contains("STANDIN") {
            faults.push(format!("{}: a stand-in is still there", source.path));
        }
    }
    none(faults);
}

#[test]
fn public_items_of_pure_rooms_are_documented() {
    let mut faults = Vec::new();
    for source in sources().iter().filter(|source| PURE.contains(&source.room.as_str())) {
        let lines: Vec<&str> = source.text.lines().collect();
        for (at, line) in lines.iter().enumerate() {
            if line.starts_with("#[cfg(test)]") {
                break;
            }
            let public = ["pub fn ", "pub struct ", "pub enum ", "pub trait "];
            if !public.iter().any(|item| line.starts_with(item)) {
                continue;
            }
            if !is_documented(&lines[..at]) {
                faults.push(format!("{}:{}: {line}", source.path, at + 1));
            }
        }
    }
    none(faults);
}

/// Whether the lines above an item end in a doc comment, attributes between them set aside.
fn is_documented(above: &[&str]) -> bool {
    let mut inside_attribute = false;
    for line in above.iter().rev() {
        let starts = line.starts_with("#[");
        if starts || inside_attribute || line.ends_with(")]") {
            inside_attribute = !starts;
            continue;
        }
        return line.starts_with("///");
    }
    false
}

#[test]
fn no_room_is_a_drawer_for_the_rest() {
    let drawers = ["util", "utils", "common", "helpers", "types", "models", "services", "manager", "core"];
    for source in sources() {
        for part in source.path.split(['/', '.']) {
            assert!(!drawers.contains(&part), "{}", source.path);
        }
    }
}

#[test]
fn nothing_names_the_machine_it_was_written_on() {
    let mut faults = Vec::new();
    let endings = [
        ".rs", ".html", ".css", ".js", ".mjs", ".py", ".sh", ".md", ".toml", ".sql", ".json", ".txt", ".yml",
    ];
    // Put together here, so that this file does not hold them.
    let forbidden =
        [["/wo", "rk/"], ["/ro", "ot/"], ["/ho", "me/"], ["loc", "alhost:3128"]].map(|parts| parts.concat());
    for path in files(&root(), &endings) {
        let Ok(text) = fs::read_to_string(&path) else { continue };
        for (number, line) in text.lines().enumerate() {
            for word in forbidden.iter().filter(|word| line.contains(word.as_str())) {
                faults.push(format!("{}:{}: {word}", path.display(), number + 1));
            }
        }
    }
    none(faults);
}

#[test]
fn templates_hold_no_inline_style_or_script_and_never_switch_escaping_off() {
    let found = files(&root().join("templates"), &[".html", ".txt", ".svg"]);
    assert!(found.len() >= 5);
    let mut faults = Vec::new();
    for path in found {
        let text = fs::read_to_string(&path).unwrap();
        let name = path.strip_prefix(root()).unwrap().display().to_string();
        let shrunk = text.replace([' ', '\n'], "");
        if shrunk.contains("|safe") || text.contains("escape(\"none\")") {
            faults.push(format!("{name}: escaping is off"));
        }
        for tag in text.split('<').skip(1).filter_map(|rest| rest.split('>').next()) {
            let words: Vec<&str> = tag.split_whitespace().collect();
            let handler = |word: &&str| word.starts_with("on") && word.contains('=');
            if words.iter().any(|word| word.starts_with("style=")) || words.iter().any(handler) {
                faults.push(format!("{name}: <{tag}>"));
            }
            if words.first() == Some(&"style") || words.first() == Some(&"script") && !tag.contains(" src=") {
                faults.push(format!("{name}: <{tag}>"));
            }
            let elsewhere = ["src=\"http", "href=\"http", "src=\"//"];
            if elsewhere.iter().any(|address| tag.contains(address)) {
                faults.push(format!("{name}: something from elsewhere: <{tag}>"));
            }
        }
    }
    none(faults);
}

#[test]
fn files_stay_short_enough_to_be_read() {
    let mut lengths: Vec<(usize, String)> =
        sources().into_iter().map(|source| (source.text.lines().count(), source.path)).collect();
    lengths.sort();
    let median = lengths[lengths.len() / 2].0;
    println!("{} files, median {median} lines; the longest:", lengths.len());
    for (lines, path) in lengths.iter().rev().take(10) {
        println!("{lines:5} {path}");
    }
    assert!(median <= 200, "the median file has {median} lines");
    let too_long: Vec<String> = lengths
        .iter()
        .filter(|(lines, _)| *lines > LONGEST_LINES)
        .map(|(lines, path)| format!("{path}: {lines} lines"))
        .collect();
    none(too_long);
}
