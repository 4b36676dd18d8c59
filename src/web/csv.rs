//! Tables to take home: comma-separated as RFC 4180 says, and safe to open in a spreadsheet.

/// Who takes a table home, and when: at the end of every row, for rows are copied on without what stands above them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TakenBy {
    pub name: String,
    /// Such as `2026-03-10T11:05`, in the practice's own clock.
    pub local_time: String,
}

/// A table under construction.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Csv {
    text: String,
    taken: TakenBy,
}

/// What a spreadsheet may take for the beginning of a formula (OWASP, CSV injection), and their full-width twins.
const STARTS_A_FORMULA: [char; 11] = ['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];

impl Csv {
    /// A table with this header row: names with their units.
    pub fn with_header(names: &[&str], taken: &TakenBy) -> Csv {
        let mut csv = Csv { text: String::new(), taken: taken.clone() };
        csv.write(names.iter().copied().chain(["exported_by", "exported_local_time"]));
        csv
    }

    /// Adds a row.
    pub fn row<T: AsRef<str>>(&mut self, cells: &[T]) {
        let TakenBy { name, local_time } = self.taken.clone();
        self.write(cells.iter().map(AsRef::as_ref).chain([name.as_str(), &local_time]));
    }

    fn write<'a>(&mut self, cells: impl Iterator<Item = &'a str>) {
        let cells: Vec<String> = cells.map(cell).collect();
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

    fn taken() -> TakenBy {
        TakenBy { name: "Park, Lee".to_owned(), local_time: "2026-03-10T11:05".to_owned() }
    }

    #[test]
    fn rows_end_as_the_standard_says_and_only_what_must_be_is_quoted() {
        let mut csv = Csv::with_header(&["class", "checks"], &taken());
        csv.row(&["Ring, within \"the hour\"", "12"]);
        assert_eq!(
            csv.into_text(),
            "class,checks,exported_by,exported_local_time\r\n\
             \"Ring, within \"\"the hour\"\"\",12,\"Park, Lee\",2026-03-10T11:05\r\n"
        );
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
            let mut csv = Csv { text: String::new(), taken: taken() };
            csv.row(&cells);
            let mut back = read(&csv.into_text());
            prop_assert_eq!(back.split_off(cells.len()), ["Park, Lee", "2026-03-10T11:05"]);
            for (was, is) in cells.iter().zip(&back) {
                prop_assert!(!is.starts_with(STARTS_A_FORMULA));
                let guarded = format!("'{was}");
                prop_assert!(is == was || *is == guarded);
            }
        }
    }
}
