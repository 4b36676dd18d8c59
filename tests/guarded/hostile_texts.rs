//! Texts that mean something to a browser, a template, a query or a terminal are typed into every field of every form, and come
//! back as text wherever they are shown: nothing is run, and nothing is lost but NUL, which is no letter.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::support;
use crate::support::FormsMet;
use crate::support::Page;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Tour;
use crate::support::everybody;
use crate::support::rows_of;

/// Together no longer than a name may be.
const HOSTILE: [&[&str]; 3] = [
    &[
        "<script>alert(1)</script>",
        "\"'`><img src=x onerror=alert(1)>",
        "&lt;b&gt;&amp;&#0;",
        "</textarea><!--",
    ],
    &[
        "\u{202e}gpj.exe\u{202c}",
        "\u{200f}שלום",
        "a\0b",
        "😀𝒳\u{1f1e8}\u{1f1ed}",
        "e\u{301}",
        "\u{feff}",
        "\\u003cscript\\u003e",
    ],
    &[
        "{{7*7}}{% raw %}${7*7}<%= 7 %>",
        "'; DROP TABLE patient; --",
        "%s%n%00",
        "../../etc/passwd",
        "javascript:alert(1)",
    ],
];

/// Longer than any field of a name or a reason.
const VERY_LONG: usize = 5_000;

fn typed(number: usize, hostile: &str) -> String {
    format!("Zq{number:04}{hostile}qZ")
}

/// What stands between the marks of each typed text on a page, as the browser is sent it.
fn shown(html: &str) -> Vec<(usize, String)> {
    let pieces = html.split("Zq").skip(1).filter_map(|rest| {
        let (number, rest) = rest.split_at_checked(4)?;
        Some((number.parse().ok()?, rest.split("qZ").next()?.to_owned()))
    });
    pieces.collect()
}

/// As a person reads it: entities read, and what an address spells with percent signs.
fn read(piece: &str) -> String {
    let text = support::words_exactly(piece);
    if !text.contains("%3C") && !text.contains("%27") && !text.contains("%22") && !text.contains("%C3") {
        return text;
    }
    let fields: Vec<(String, String)> = serde_urlencoded::from_str(&format!("piece={text}")).unwrap();
    fields[0].1.clone()
}

/// What was typed, by its number; and how many came back.
struct Round {
    texts: BTreeMap<usize, (String, String)>,
    back: BTreeSet<usize>,
}

impl Round {
    fn looks_at(&mut self, path: &str, page: &Page) {
        assert!(!page.status.is_server_error(), "{path}: {}", page.status);
        for (number, piece) in shown(&page.html()) {
            let Some((hostile, field)) = self.texts.get(&number) else { continue };
            let raw = ['<', '>', '"', '\''].iter().find(|sign| piece.contains(**sign));
            assert_eq!(raw, None, "{path} shows {field} as it was typed: {piece}");
            assert_eq!(read(&piece), hostile.replace('\0', ""), "{path} shows {field} otherwise");
            self.back.insert(number);
        }
    }
}

async fn types_everywhere(hostile: &str) -> Round {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (staff, phone) = everybody(&practice).await;
    let mut round = Round { texts: BTreeMap::new(), back: BTreeSet::new() };
    let texts = &mut round.texts;
    let answers = Tour::of_everybody(&practice, &staff, &phone, FormsMet::Sent, |field| {
        let number = texts.len();
        texts.insert(number, (hostile.to_owned(), field.to_owned()));
        typed(number, hostile)
    })
    .await;
    let tables = rows_of(&mut *practice.books().await, practice.id).await;
    assert!(!tables["patient"].is_empty(), "a table is gone");
    // What was kept is shown on pages that were read before it was typed.
    let later = Tour::of_everybody(&practice, &staff, &phone, FormsMet::LeftAlone, |_| String::new()).await;
    for (path, page) in answers.iter().chain(&later) {
        round.looks_at(path, page);
    }
    round
}

#[tokio::test]
async fn whatever_is_typed_into_any_field_comes_back_as_text_and_whole() {
    for hostile in HOSTILE {
        let round = types_everywhere(&hostile.concat()).await;
        println!("{} fields were typed into, {} came back", round.texts.len(), round.back.len());
        assert!(round.texts.len() >= 200, "only {} fields were typed into", round.texts.len());
        assert!(round.back.len() >= 40, "only {} came back", round.back.len());
    }
}

#[tokio::test]
async fn a_very_long_text_is_kept_whole_or_refused_with_all_of_it_still_in_the_form() {
    let round = types_everywhere(&"ñ<".repeat(VERY_LONG / 2)).await;
    println!("{} fields were typed into, {} came back", round.texts.len(), round.back.len());
    assert!(round.back.len() >= 30, "only {} came back", round.back.len());
}
