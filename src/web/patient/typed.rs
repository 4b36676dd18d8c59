//! What somebody typed into a form, in order, so that nothing of it is lost when the page comes back.

/// Names and values as sent; names may repeat.
#[derive(Clone, Debug, Default)]
pub struct Typed(Vec<(String, String)>);

/// Codes a text field's name also takes from a box beside it.
const BOXES: &[&str] = &["none", "not_sure", "lo", "hi"];

impl Typed {
    /// Takes the fields over. A zero byte is no letter anybody types, and not every database keeps one.
    pub fn new(fields: Vec<(String, String)>) -> Typed {
        Typed(fields.into_iter().map(|(name, value)| (name, value.replace('\0', ""))).collect())
    }

    pub fn fields(&self) -> &[(String, String)] {
        &self.0
    }

    pub fn add(&mut self, name: &str, value: String) {
        self.0.push((name.to_owned(), value));
    }

    pub fn form_key(&self) -> &str {
        self.text("form_key")
    }

    fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.0.iter().filter(move |(field, _)| field == name).map(|(_, value)| value.as_str())
    }

    /// Whether this value was chosen.
    pub fn has(&self, name: &str, value: &str) -> bool {
        self.all(name).any(|chosen| chosen.trim() == value)
    }

    /// What was typed into a text field; empty when nothing was.
    pub fn text<'a>(&'a self, name: &'a str) -> &'a str {
        self.all(name).find(|value| !value.trim().is_empty() && !BOXES.contains(&value.trim())).unwrap_or("")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_box_beside_a_text_field_is_not_its_text() {
        let fields = [("temp", ""), ("temp", "38,2"), ("temp", "none")];
        let typed = Typed::new(fields.map(|(name, value)| (name.to_owned(), value.to_owned())).to_vec());
        assert_eq!(typed.text("temp"), "38,2");
        assert!(typed.has("temp", "none"));
        assert_eq!(typed.text("sugar"), "");
    }
}
