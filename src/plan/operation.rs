//! What was done at surgery: where, when, how big the hole is, and what was packed into it.

use jiff::Timestamp;
use serde::Deserialize;
use serde::Serialize;

use crate::plan::coded;

coded! {
    /// Where on the body the wound is.
    pub enum Site {
        Face = "face", Scalp = "scalp", Neck = "neck", Axilla = "axilla", Breast = "breast", Trunk = "trunk",
        Arm = "arm", Hand = "hand", Groin = "groin", Genital = "genital", Buttock = "buttock",
        Pilonidal = "pilonidal", Perianal = "perianal", Thigh = "thigh", Leg = "leg", Foot = "foot",
    }
}

impl Site {
    /// Near the bottom, groin or private parts: the danger screen asks two more things there.
    pub fn is_low(self) -> bool {
        matches!(self, Site::Perianal | Site::Pilonidal | Site::Buttock | Site::Groin | Site::Genital)
    }

    /// On the face, scalp or neck: the danger screen asks about eyes and throat there.
    pub fn is_head_or_neck(self) -> bool {
        matches!(self, Site::Face | Site::Scalp | Site::Neck)
    }
}

coded! {
    /// Side of the body.
    pub enum Side { Left = "left", Right = "right", Middle = "middle" }
}

/// Longest length, width at right angles to it, and depth at surgery, in millimetres. `depth_mm` may be unmeasured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct WoundSize {
    pub length_mm: f64,
    pub width_mm: f64,
    pub depth_mm: Option<f64>,
}

/// The gauze strips left in the wound.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Packing {
    /// Number of pieces, 1–10. What comes out is counted against it.
    pub pieces: u8,
    /// All pieces together, in centimetres, 1–300; strips can be about three feet (common practice, no source).
    pub length_cm: Option<f64>,
    pub placed: Timestamp,
}

/// One operation, as enrolled.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Operation {
    pub site: Site,
    pub side: Side,
    /// In the surgeon's own words, such as "abscess drained".
    pub procedure: String,
    pub operated: Timestamp,
    pub size: Option<WoundSize>,
    /// `None`: no strip was placed.
    pub packing: Option<Packing>,
    /// When a pen line was drawn round the redness; `None`: no line.
    pub pen_line: Option<Timestamp>,
}

/// What is wrong with an operation as entered; the words say what to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WrongOperation {
    #[error("Say what was done, for example: abscess drained.")]
    NoProcedure,
    #[error("The operation time lies in the future. Check the date and the time.")]
    InTheFuture,
    #[error("The operation was more than a year ago. Check the date.")]
    TooLongAgo,
    #[error("Length, width and depth are in millimetres, from 1 to 500.")]
    Size,
    #[error("Number of strips is from 1 to 10.")]
    Pieces,
    #[error("Strip length is in centimetres, all pieces together, from 1 to 300.")]
    StripLength,
    #[error("A strip cannot have been placed before the operation or in the future.")]
    StripTime,
    #[error("The pen line cannot have been drawn before the operation's day or in the future.")]
    PenLine,
}

impl Operation {
    /// Everything about this operation that cannot be right, seen from `now`; empty when it can stand.
    pub fn faults(&self, now: Timestamp) -> Vec<WrongOperation> {
        let hours_before_now = |then: Timestamp| now.duration_since(then).as_secs_f64() / 3600.0;
        // Clocks on two desks differ by minutes.
        let in_future = |then: Timestamp| hours_before_now(then) < -0.25;
        let before_operation_h = |then: Timestamp| self.operated.duration_since(then).as_secs_f64() / 3600.0;
        let mut faults = Vec::new();
        if self.procedure.trim().is_empty() {
            faults.push(WrongOperation::NoProcedure);
        }
        if in_future(self.operated) {
            faults.push(WrongOperation::InTheFuture);
        } else if hours_before_now(self.operated) > 366.0 * 24.0 {
            faults.push(WrongOperation::TooLongAgo);
        }
        if let Some(size) = self.size {
            let sane = |mm: f64| (1.0..=500.0).contains(&mm);
            if !sane(size.length_mm) || !sane(size.width_mm) || !size.depth_mm.is_none_or(sane) {
                faults.push(WrongOperation::Size);
            }
        }
        if let Some(packing) = self.packing {
            if !(1..=10).contains(&packing.pieces) {
                faults.push(WrongOperation::Pieces);
            }
            if !packing.length_cm.is_none_or(|cm| (1.0..=300.0).contains(&cm)) {
                faults.push(WrongOperation::StripLength);
            }
            if in_future(packing.placed) || before_operation_h(packing.placed) > 1.0 {
                faults.push(WrongOperation::StripTime);
            }
        }
        if let Some(drawn) = self.pen_line
            && (in_future(drawn) || before_operation_h(drawn) > 24.0)
        {
            faults.push(WrongOperation::PenLine);
        }
        faults
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn drained() -> Operation {
        Operation {
            site: Site::Thigh,
            side: Side::Left,
            procedure: "abscess drained".to_owned(),
            operated: at("2026-03-02T14:00:00Z"),
            size: Some(WoundSize { length_mm: 40.0, width_mm: 20.0, depth_mm: None }),
            packing: Some(Packing { pieces: 1, length_cm: Some(60.0), placed: at("2026-03-02T14:20:00Z") }),
            pen_line: None,
        }
    }

    #[test]
    fn an_ordinary_operation_can_stand() {
        assert_eq!(drained().faults(at("2026-03-02T16:00:00Z")), vec![]);
    }

    #[test]
    fn each_fault_is_named() {
        let now = at("2026-03-02T16:00:00Z");
        let mut wrong = drained();
        wrong.procedure = "  ".to_owned();
        wrong.operated = at("2026-03-03T14:00:00Z");
        wrong.size = Some(WoundSize { length_mm: 4000.0, width_mm: 20.0, depth_mm: None });
        wrong.packing = Some(Packing { pieces: 0, length_cm: Some(0.0), placed: at("2026-03-01T14:20:00Z") });
        wrong.pen_line = Some(at("2026-02-20T14:20:00Z"));
        assert_eq!(
            wrong.faults(now),
            vec![
                WrongOperation::NoProcedure,
                WrongOperation::InTheFuture,
                WrongOperation::Size,
                WrongOperation::Pieces,
                WrongOperation::StripLength,
                WrongOperation::StripTime,
                WrongOperation::PenLine,
            ]
        );
        wrong.operated = at("2024-03-03T14:00:00Z");
        assert!(wrong.faults(now).contains(&WrongOperation::TooLongAgo));
    }
}
