//! The discharge sheet in plain words: short sentences, easy reading, every blank in both languages.

use std::collections::BTreeSet;

use closewatch::words::sheet::SheetWords;

/// Longest sentence and hardest English school grade of the sheet (house rule of the patient texts; printed patient
/// texts at or below grade 5 to 6: American Family Physician 2015).
const MOST_WORDS: usize = 15;
const HARDEST_GRADE: f64 = 6.0;

/// Readings of 80 and more count as easy, about sixth grade (Fernández Huerta 1959; from memory).
const LEAST_SPANISH_EASE: f64 = 80.0;

fn sentences(text: &str) -> Vec<String> {
    let marked = text.replace(". ", ".\n").replace("? ", "?\n").replace(": ", ":\n");
    marked.lines().map(str::to_owned).collect()
}

fn words(sentence: &str) -> Vec<&str> {
    sentence.split_whitespace().filter(|word| word.chars().any(|letter| letter.is_alphabetic())).collect()
}

fn syllables(word: &str) -> usize {
    let mut count = 0;
    let mut in_vowels = false;
    for letter in word.to_lowercase().chars() {
        let vowel = "aeiouyáéíóúü".contains(letter);
        count += usize::from(vowel && !in_vowels);
        in_vowels = vowel;
    }
    count.max(1)
}

/// Words per sentence and syllables per word over all sentences.
fn averages<'a>(texts: impl Iterator<Item = &'a str>) -> (f64, f64) {
    let (mut sentence_count, mut word_count, mut syllable_count) = (0, 0, 0);
    for sentence in texts.flat_map(sentences) {
        let words = words(&sentence);
        sentence_count += usize::from(!words.is_empty());
        word_count += words.len();
        syllable_count += words.iter().map(|word| syllables(word)).sum::<usize>();
    }
    (word_count as f64 / sentence_count as f64, syllable_count as f64 / word_count as f64)
}

fn blanks(sentence: &str) -> BTreeSet<&str> {
    sentence.split('{').skip(1).filter_map(|rest| rest.split('}').next()).collect()
}

#[test]
fn no_sentence_is_longer_than_fifteen_words() {
    for (name, english, spanish) in SheetWords::ALL {
        for sentence in sentences(english).into_iter().chain(sentences(spanish)) {
            let count = sentence.split_whitespace().filter(|word| *word != "·").count();
            assert!(count <= MOST_WORDS, "{name}: {count} words: {sentence}");
        }
    }
}

#[test]
fn the_english_reads_at_sixth_grade_or_easier() {
    // Flesch-Kincaid grade level (Kincaid and others 1975), syllables counted as groups of vowels.
    let (per_sentence, per_word) = averages(SheetWords::ALL.iter().map(|line| line.1));
    let grade = 0.39 * per_sentence + 11.8 * per_word - 15.59;
    println!("English grade {grade:.1}: {per_sentence:.1} words a sentence, {per_word:.2} syllables a word");
    assert!(grade <= HARDEST_GRADE, "{grade}");
}

#[test]
fn the_spanish_reads_easily() {
    let (per_sentence, per_word) = averages(SheetWords::ALL.iter().map(|line| line.2));
    let ease = 206.84 - 60.0 * per_word - 1.02 * per_sentence;
    println!("Spanish ease {ease:.1}: {per_sentence:.1} words a sentence, {per_word:.2} syllables a word");
    assert!(ease >= LEAST_SPANISH_EASE, "{ease}");
}

#[test]
fn both_languages_have_the_same_blanks_and_neither_is_empty() {
    for (name, english, spanish) in SheetWords::ALL {
        assert_eq!(blanks(english), blanks(spanish), "{name}");
        assert!(!english.trim().is_empty() && !spanish.trim().is_empty(), "{name}");
    }
}

#[test]
fn only_the_same_few_sentences_are_alike_in_both_languages() {
    let alike: Vec<&str> =
        SheetWords::ALL.iter().filter(|line| line.1 == line.2).map(|line| line.0).collect();
    assert_eq!(alike, ["pin_heading"]);
}
