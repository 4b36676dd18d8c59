//! The sealed envelope: a lead prints, and somebody opens it.

use closewatch::store::sealed_codes;
use closewatch::store::sealed_codes::Look;

use super::Page;
use super::Practice;
use super::Staff;
use super::presses;

/// Prints a new code and reads it off the sheet.
pub async fn prints_code(lead: &Staff) -> String {
    let sheet = lead.presses("/practice/envelope", &[]).await;
    let html = sheet.html();
    let code = html.split("<p class=\"code\"><strong>").nth(1).and_then(|rest| rest.split('<').next());
    code.unwrap_or_else(|| panic!("no code; the page says: {}", sheet.words())).to_owned()
}

/// Types a sealed code with a name and a reason.
pub async fn types_code(practice: &Practice, code: &str, name: &str) -> Page {
    let fields = [("code", code), ("name", name), ("reason", "the surgeons are cut off")];
    presses(practice, "/envelope", "", &fields).await
}

/// Prints a code and opens it: the cookie of the look.
pub async fn opens_envelope(practice: &Practice, lead: &Staff, name: &str) -> String {
    let code = prints_code(lead).await;
    let page = types_code(practice, &code, name).await;
    page.cookie().unwrap_or_else(|| panic!("no cookie; the page says: {}", page.words()))
}

/// Every look of a practice, the newest first.
pub async fn looks(practice: &Practice) -> Vec<Look> {
    sealed_codes::looks(&mut *practice.books().await, practice.id, 100).await.unwrap()
}
