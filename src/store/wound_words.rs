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

/// What staff read in place of an antibiotic's name that came while the words could not be opened, and so could not be put
/// among them.
const NAMED_WITH_ITS_COURSE: &str = "named where its course is noted, on the patient’s page";

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

/// How the words of a wound's row stand there.
enum Words {
    /// Sealed, or as an older program left them.
    Open(Typed),
    /// They cannot be opened.
    Shut(SealedText),
    /// They lie there unsealed when everything is sealed.
    Strange(Typed),
}

impl Words {
    fn shown(self, risk: &RiskFactors) -> Typed {
        match self {
            Words::Open(typed) => typed,
            Words::Shut(_) | Words::Strange(_) => Typed::unreadable(risk),
        }
    }
}

fn words(
    row: &AnyRow,
    texts: &Texts,
    id: WoundId,
    operation: &mut Operation,
    risk: &mut RiskFactors,
) -> Stored<Words> {
    let left = take(operation, risk);
    let plain = if left == Typed::default() { String::new() } else { to_json(&left)? };
    let words = texts.opened(row.bytes_maybe("typed_sealed")?, plain, &WOUND_TYPED, id);
    Ok(match (words.read(), words.shut()) {
        (Some(""), _) => Words::Open(Typed::default()),
        (Some(words), _) => Words::Open(serde_json::from_str(words).map_err(|fault| {
            StoreError::Unreadable { column: "typed_sealed", because: fault.to_string() }
        })?),
        (None, Some(sealed)) => Words::Shut(sealed),
        (None, None) => Words::Strange(left),
    })
}

/// Whether the words of the row name another antibiotic than it tells of.
fn is_named_with_its_course(risk: &RiskFactors) -> bool {
    risk.antibiotic.as_ref().is_some_and(|antibiotic| antibiotic.drug == NAMED_WITH_ITS_COURSE)
}

fn name_with_its_course(risk: &mut RiskFactors) {
    if let Some(antibiotic) = &mut risk.antibiotic {
        antibiotic.drug = NAMED_WITH_ITS_COURSE.to_owned();
    }
}

/// The operation and the risk factors of a wound's row, with what was typed.
pub(in crate::store) fn read(row: &AnyRow, texts: &Texts, id: WoundId) -> Stored<(Operation, RiskFactors)> {
    let (mut operation, mut risk): (Operation, RiskFactors) =
        (row.json("operation")?, row.json("risk_factors")?);
    let is_named_elsewhere = is_named_with_its_course(&risk);
    let words = words(row, texts, id, &mut operation, &mut risk)?;
    words.shown(&risk).put_back(&mut operation, &mut risk);
    if is_named_elsewhere {
        name_with_its_course(&mut risk);
    }
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

/// The row again with other risk factors. Words that cannot be opened stay as they lie there, and an antibiotic that they do
/// not name says so.
pub(in crate::store) fn with_risk(
    row: &AnyRow,
    risk: &RiskFactors,
    texts: &Texts,
    id: WoundId,
) -> Stored<Apart> {
    let (mut operation, mut before): (Operation, RiskFactors) =
        (row.json("operation")?, row.json("risk_factors")?);
    let words = words(row, texts, id, &mut operation, &mut before)?;
    let mut risk = risk.clone();
    let is_named_anew = risk.antibiotic.as_ref().is_some_and(|antibiotic| antibiotic.drug != CANNOT_BE_READ);
    let typed = match words {
        Words::Open(typed) => {
            operation.procedure = typed.procedure;
            // Read while they could not be opened, and written when they can.
            if risk.allergies.as_deref() == Some(CANNOT_BE_READ) {
                risk.allergies = typed.allergies;
            }
            return apart(&operation, &risk, texts, id);
        }
        Words::Shut(sealed) => {
            take(&mut operation, &mut risk);
            Some(sealed)
        }
        Words::Strange(left) => {
            left.put_back(&mut operation, &mut risk);
            None
        }
    };
    if is_named_anew {
        name_with_its_course(&mut risk);
    }
    Ok(Apart { operation: to_json(&operation)?, risk: to_json(&risk)?, typed })
}
