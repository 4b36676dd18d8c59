//! `closewatch protocol`: check a protocol's file, show it as a surgeon reads it, say what differs between two.

use crate::cli::BadInput;
use crate::cli::Failure;
use crate::triage::Protocol;

#[derive(Debug, clap::Subcommand)]
pub enum Command {
    /// Check a protocol's file whole; every mistake is named by rule and column.
    Check {
        /// The file.
        file: String,
    },
    /// Print a protocol as a surgeon reads it.
    Show {
        /// The file; without it, the protocol the program comes with.
        file: Option<String>,
        /// Print the file itself instead, to start a change from.
        #[arg(long)]
        json: bool,
    },
    /// Say what differs between two protocols.
    Diff {
        /// The earlier file, or `built-in`.
        before: String,
        /// The later file, or `built-in`.
        after: String,
    },
}

/// The name of the program's own protocol on the command line.
const BUILT_IN: &str = "built-in";

pub fn run(command: &Command) -> Result<(), Failure> {
    match command {
        Command::Check { file } => {
            let protocol = from_file(file)?;
            let (rules, limits) = (protocol.rules().len(), protocol.limits().all().len());
            println!("{file}: protocol {} stands: {rules} rules, {limits} limits.", protocol.version());
        }
        Command::Show { file, json } => {
            let protocol = match file {
                Some(file) => named(file)?,
                None => Protocol::built_in().clone(),
            };
            if *json { println!("{}", protocol.to_json()) } else { print!("{}", protocol.as_text()) }
        }
        Command::Diff { before, after } => print!("{}", difference(&named(before)?, &named(after)?)),
    }
    Ok(())
}

/// Reads and checks a protocol's file.
pub fn from_file(file: &str) -> Result<Protocol, Failure> {
    let text = std::fs::read_to_string(file)
        .map_err(|fault| BadInput(format!("{file}: cannot be read: {fault}")))?;
    let in_words = |fault: crate::triage::ProtocolFault| {
        let count = fault.faults.len();
        let mistakes = if count == 1 { "mistake" } else { "mistakes" };
        BadInput(format!("{file}: {count} {mistakes}:\n  {}", fault.faults.join("\n  ")))
    };
    Ok(Protocol::parse(&text).map_err(in_words)?)
}

fn named(file: &str) -> Result<Protocol, Failure> {
    if file == BUILT_IN { Ok(Protocol::built_in().clone()) } else { from_file(file) }
}

fn difference(before: &Protocol, after: &Protocol) -> String {
    let (from, to) = (before.version(), after.version());
    let found = before.differences(after);
    if found.is_empty() {
        return format!("protocol {from} and protocol {to}: no difference\n");
    }
    let mut text = format!("protocol {from} → protocol {to}\n");
    for one in found {
        let was = if one.was.is_empty() { "(not there)" } else { &one.was };
        let is = if one.is.is_empty() { "(gone)" } else { &one.is };
        text.push_str(&format!("\n{}\n  - {was}\n  + {is}\n", one.what));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::Edits;

    #[test]
    fn a_difference_is_told_with_before_and_after() {
        let built_in = Protocol::built_in();
        let edits = Edits { limits: vec![("pain_rest".to_owned(), 6.0)], classes: Vec::new() };
        let later = built_in.edited(&edits, "2.1").unwrap();
        let text = difference(built_in, &later);
        assert!(
            text.starts_with("protocol 2 → protocol 2.1\n\nlimit pain_rest, value\n  - 7\n  + 6\n"),
            "{text}"
        );
        assert_eq!(difference(built_in, built_in), "protocol 2 and protocol 2: no difference\n");
    }
}
