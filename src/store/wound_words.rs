//! What was typed about a wound at its enrolment: sealed apart from the operation and the risk factors, whose dates, places and
//! numbers stay readable.

use serde::Deserialize;
use serde::Serialize;
use sqlx::any::AnyRow;

use crate::ids::WoundId;
use crate::plan::Operation;
use crate::plan::RiskFactors;
use crate::store::StoreError;
use crate::store::Stored;
use crate::store::free_text::CANNOT_BE_READ;
use crate::store::free_text::SealedText;
use crate::store::free_text::Texts;
use crate::store::row::Columns;
use crate::store::row::to_json;
use crate::store::text_columns::WOUND_TYPED;

/// The words of one wound.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
struct Typed {
    procedure: String,
    /// `None`: nobody asked.
    allergies: Option<String>,
    /// `None`: no antibiotic is named.
    drug: Option<String>,
}

/// Takes the words out.
fn take(operation: &mut Operation, risk: &mut RiskFactors) -> Typed {
    Typed {
        procedure: std::mem::take(&mut operation.procedure),
        allergies: risk.allergies.take(),
        drug: risk.antibiotic.as_mut().map(|antibiotic| std::mem::take(&mut antibiotic.drug)),
    }
}

impl Typed {
    /// What staff read where the words cannot be opened: nobody takes it for "none".
    fn unreadable(risk: &RiskFactors) -> Typed {
        let cannot = || CANNOT_BE_READ.to_owned();
        Typed {
            procedure: cannot(),
            allergies: Some(cannot()),
            drug: risk.antibiotic.as_ref().map(|_| cannot()),
        }
    }

    fn put_back(self, operation: &mut Operation, risk: &mut RiskFactors) {
        operation.procedure = self.procedure;
        risk.allergies = self.allergies;
        if let (Some(antibiotic), Some(drug)) = (&mut risk.antibiotic, self.drug) {
            antibiotic.drug = drug;
        }
    }
}

/// The words of a wound's row: sealed, or as an older program left them. `None`: they cannot be opened.
fn typed(
    row: &AnyRow,
    texts: &Texts,
    id: WoundId,
    operation: &mut Operation,
    risk: &mut RiskFactors,
) -> Stored<Option<Typed>> {
    let plain = take(operation, risk);
    let plain = if plain == Typed::default() { String::new() } else { to_json(&plain)? };
    let words = texts.opened(row.bytes_maybe("typed_sealed")?, plain, &WOUND_TYPED, id);
    match words.read() {
        Some("") => Ok(Some(Typed::default())),
        Some(words) => {
            let typed = serde_json::from_str(words);
            let unreadable = |fault: serde_json::Error| StoreError::Unreadable {
                column: "typed_sealed",
                because: fault.to_string(),
            };
            Ok(Some(typed.map_err(unreadable)?))
        }
        None => Ok(None),
    }
}

/// The operation and the risk factors of a wound's row, with what was typed.
pub(in crate::store) fn read(row: &AnyRow, texts: &Texts, id: WoundId) -> Stored<(Operation, RiskFactors)> {
    let (mut operation, mut risk): (Operation, RiskFactors) =
        (row.json("operation")?, row.json("risk_factors")?);
    let typed = typed(row, texts, id, &mut operation, &mut risk)?;
    typed.unwrap_or_else(|| Typed::unreadable(&risk)).put_back(&mut operation, &mut risk);
    Ok((operation, risk))
}

/// A wound as its row keeps it.
pub(in crate::store) struct Apart {
    /// JSON, without words.
    pub(in crate::store) operation: String,
    /// JSON, without words.
    pub(in crate::store) risk: String,
    pub(in crate::store) typed: Option<SealedText>,
}

/// Seals what was typed for its wound.
pub(in crate::store) fn apart(
    operation: &Operation,
    risk: &RiskFactors,
    texts: &Texts,
    id: WoundId,
) -> Stored<Apart> {
    let (mut operation, mut risk) = (operation.clone(), risk.clone());
    let typed = take(&mut operation, &mut risk);
    Ok(Apart {
        operation: to_json(&operation)?,
        risk: to_json(&risk)?,
        typed: texts.seal_words(&to_json(&typed)?, &WOUND_TYPED, id)?,
    })
}

/// The row again with other risk factors. Words that cannot be opened stay as they lie there.
pub(in crate::store) fn with_risk(
    row: &AnyRow,
    risk: &RiskFactors,
    texts: &Texts,
    id: WoundId,
) -> Stored<Apart> {
    let (mut operation, mut before): (Operation, RiskFactors) =
        (row.json("operation")?, row.json("risk_factors")?);
    let Some(typed) = typed(row, texts, id, &mut operation, &mut before)? else {
        let mut risk = risk.clone();
        take(&mut operation, &mut risk);
        let typed = row.bytes_maybe("typed_sealed")?.map(SealedText::of_column);
        return Ok(Apart { operation: to_json(&operation)?, risk: to_json(&risk)?, typed });
    };
    operation.procedure = typed.procedure;
    apart(&operation, risk, texts, id)
}
