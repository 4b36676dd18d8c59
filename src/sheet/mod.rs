//! STANDIN
crate::plan::coded! { pub enum Paper { A4 = "a4", Letter = "letter" } }
