//! The one page of a copy, as pieces that a template lays out: it works from a file, without a network and without scripts.

use askama::Template;
use data_encoding::BASE64;

/// A style sheet of its own inside the page's address of it: nothing is fetched.
const STYLE: &str = include_str!("../../../static/export.css");

/// A thing and what is said of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    pub label: String,
    pub words: String,
}

impl Row {
    pub fn new(label: impl Into<String>, words: impl Into<String>) -> Row {
        Row { label: label.into(), words: words.into() }
    }
}

/// A photo in the page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shown {
    pub caption: String,
    /// A small picture as a `data:` address; empty: there is none.
    pub small: String,
    /// Where the whole photo lies beside the page, and what the way there is called; empty: nowhere.
    pub file: String,
    pub open: String,
    pub lines: Vec<String>,
}

/// One piece of a section.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Block {
    /// A smaller heading.
    Head(String),
    Lines(Vec<String>),
    Rows(Vec<Row>),
    Table {
        head: Vec<String>,
        rows: Vec<Vec<String>>,
    },
    Photo(Shown),
    /// What somebody wrote, with who and when above it.
    Quote {
        above: String,
        body: String,
    },
}

/// A section with its heading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Section {
    pub heading: String,
    pub blocks: Vec<Block>,
}

impl Section {
    pub fn new(heading: impl Into<String>) -> Section {
        Section { heading: heading.into(), blocks: Vec::new() }
    }

    /// Adds lines, unless there are none.
    pub fn lines(&mut self, lines: Vec<String>) {
        if !lines.is_empty() {
            self.blocks.push(Block::Lines(lines));
        }
    }

    /// Adds lines under a smaller heading, unless there are none.
    pub fn list(&mut self, head: impl Into<String>, lines: Vec<String>) {
        if !lines.is_empty() {
            self.head(head);
            self.lines(lines);
        }
    }

    pub fn head(&mut self, words: impl Into<String>) {
        self.blocks.push(Block::Head(words.into()));
    }

    /// Adds rows, without those that say nothing.
    pub fn rows(&mut self, rows: Vec<Row>) {
        let rows: Vec<Row> = rows.into_iter().filter(|row| !row.words.is_empty()).collect();
        if !rows.is_empty() {
            self.blocks.push(Block::Rows(rows));
        }
    }

    pub fn table<const COLUMNS: usize>(&mut self, head: [String; COLUMNS], rows: Vec<[String; COLUMNS]>) {
        if !rows.is_empty() {
            let rows = rows.into_iter().map(Vec::from).collect();
            self.blocks.push(Block::Table { head: Vec::from(head), rows });
        }
    }

    pub fn quote(&mut self, above: impl Into<String>, body: &str) {
        if !body.trim().is_empty() {
            self.blocks.push(Block::Quote { above: above.into(), body: body.to_owned() });
        }
    }
}

/// The page.
#[derive(Template)]
#[template(path = "export/copy.html")]
pub struct Document {
    pub lang: &'static str,
    pub title: String,
    /// Who made it and when: at the head of every printed page.
    pub stamp: Vec<String>,
    pub opening: Vec<String>,
    pub sections: Vec<Section>,
    pub end: String,
}

impl Document {
    /// The style sheet's address, with the whole sheet in it.
    fn style(&self) -> String {
        format!("data:text/css;base64,{}", BASE64.encode(STYLE.as_bytes()))
    }
}

/// A JPEG as a `data:` address.
pub fn in_page(jpeg: &[u8]) -> String {
    format!("data:image/jpeg;base64,{}", BASE64.encode(jpeg))
}
