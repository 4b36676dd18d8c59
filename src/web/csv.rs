//! Tables to take home: comma-separated as RFC 4180 says, and safe to open in a spreadsheet.

/// A table under construction.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Csv {
    text: String,
}

/// What a spreadsheet may take for the beginning of a formula (OWASP, CSV injection), and their full-width twins.
const STARTS_A_FORMULA: [char; 11] = ['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];

impl Csv {
    /// A table with this header row: names with their units.
    pub fn with_header(names: &[&str]) -> Csv {
        let mut csv = Csv { text: String::new() };
        csv.row(names);
        csv
    }

    /// Adds a row.
    pub fn row<T: AsRef<str>>(&mut self, cells: &[T]) {
        let cells: Vec<String> = cells.iter().map(|text| cell(text.as_ref())).collect();
        self.text.push_str(&cells.join(","));
        self.text.push_str("\r\n");
    }

    /// The whole file.
    pub fn into_text(self) -> String {
        self.text
    }
}

/// One cell: what would start a formula gets an apostrophe in front, what holds a mark of the format is quoted.
fn cell(text: &str) -> String {
    let guarded = if text.starts_with(STARTS_A_FORMULA) { format!("'{text}") } else { text.to_owned() };
    if guarded.contains([',', '"', '\r', '\n']) {
        format!("\"{}\"", guarded.replace('"', "\"\""))
    } else {
        guarded
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn rows_end_as_the_standard_says_and_only_what_must_be_is_quoted() {
        let mut csv = Csv::with_header(&["class", "checks"]);
        csv.row(&["Ring, within \"the hour\"", "12"]);
        assert_eq!(csv.into_text(), "class,checks\r\n\"Ring, within \"\"the hour\"\"\",12\r\n");
    }

    #[test]
    fn nothing_that_looks_like_a_formula_reaches_a_spreadsheet_as_one() {
        for formula in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1", "＠a"] {
            let written = cell(formula);
            assert!(written.trim_start_matches('"').starts_with('\''), "{written}");
        }
        assert_eq!(cell("5 - 3"), "5 - 3");
        assert_eq!(cell(""), "");
    }

    /// Reads one row back as the standard says.
    fn read(row: &str) -> Vec<String> {
        let (mut cells, mut cell, mut quoted) = (Vec::new(), String::new(), false);
        let mut letters = row.strip_suffix("\r\n").unwrap().chars().peekable();
        while let Some(letter) = letters.next() {
            match (letter, quoted) {
                ('"', true) if letters.peek() == Some(&'"') => cell.extend(letters.next()),
                ('"', _) => quoted = !quoted,
                (',', false) => cells.push(std::mem::take(&mut cell)),
                (other, _) => cell.push(other),
            }
        }
        cells.push(cell);
        cells
    }

    proptest! {
        #[test]
        fn every_row_reads_back_as_it_was_but_for_the_guard(
            cells in prop::collection::vec("[-=+@,\"\r\n\ta-z0-9 é]{0,8}", 1..6),
        ) {
            let mut csv = Csv { text: String::new() };
            csv.row(&cells);
            let back = read(&csv.into_text());
            prop_assert_eq!(back.len(), cells.len());
            for (was, is) in cells.iter().zip(&back) {
                prop_assert!(!is.starts_with(STARTS_A_FORMULA));
                let guarded = format!("'{was}");
                prop_assert!(is == was || *is == guarded);
            }
        }
    }
}
