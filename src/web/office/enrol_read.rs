//! An enrolment form, read: what can stand, or every field that cannot.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::care::Fault;
use crate::care::enrol::Enrolment;
use crate::care::enrol::NewPatient;
use crate::ids::StaffId;
use crate::plan::Antibiotic;
use crate::plan::Operation;
use crate::plan::Packing;
use crate::plan::RiskFactors;
use crate::plan::Side;
use crate::plan::Site;
use crate::plan::WoundSize;
use crate::web::local_time;
use crate::web::office::enrol_form::EnrolForm;
use crate::words::Language;

/// By definition.
const CM_PER_INCH: f64 = 2.54;

/// Reads the form in the practice's zone. The faults name every field that cannot be read; what was read but cannot be
/// true is found by the care room.
pub fn read(form: &EnrolForm, zone: &TimeZone) -> Result<Enrolment, Vec<Fault>> {
    let mut reader = Reader { zone, faults: Vec::new() };
    let patient = reader.patient(form);
    let operation = reader.operation(form);
    let risk = reader.risk(form);
    let surgeon = reader.parsed::<StaffId>("surgeon", &form.surgeon, "Choose the surgeon who operated.");
    match (patient, operation, surgeon) {
        (Some(patient), Some(operation), Some(surgeon)) if reader.faults.is_empty() => {
            Ok(Enrolment { enrol_key: form.enrol_key.clone(), patient, surgeon, operation, risk })
        }
        _ => Err(reader.faults),
    }
}

struct Reader<'a> {
    zone: &'a TimeZone,
    faults: Vec<Fault>,
}

impl Reader<'_> {
    fn patient(&mut self, form: &EnrolForm) -> Option<NewPatient> {
        if form.name.trim().is_empty() {
            self.faults.push(Fault::new("name", "Enter the patient's name."));
        }
        let born = self.parsed::<Date>("born", &form.born, "Enter the date of birth: year, month and day.");
        if form.phone.trim().is_empty() {
            self.faults.push(Fault::new("phone", "Enter a phone number the office can ring."));
        }
        let language =
            self.parsed::<Language>("language", &form.language, "Choose the language the patient reads.");
        Some(NewPatient {
            name: form.name.clone(),
            born: born?,
            phone: form.phone.clone(),
            language: language?,
            helper_name: filled(&form.helper_name),
            helper_phone: filled(&form.helper_phone),
        })
    }

    fn operation(&mut self, form: &EnrolForm) -> Option<Operation> {
        let site = self.parsed::<Site>("site", &form.site, "Choose where on the body the wound is.");
        let side = self.parsed::<Side>("side", &form.side, "Choose the side, or middle.");
        let operated = self.time("operated", &form.operated);
        if operated.is_none() && form.operated.trim().is_empty() {
            self.faults.push(Fault::new("operated", "Enter when the operation was."));
        }
        let size = self.size(form);
        let packing = self.packing(form, operated);
        let pen_line = self.pen_line(form, operated);
        Some(Operation {
            site: site?,
            side: side?,
            procedure: form.procedure.trim().to_owned(),
            operated: operated?,
            size,
            packing,
            pen_line,
        })
    }

    fn size(&mut self, form: &EnrolForm) -> Option<WoundSize> {
        let length_mm = self.number("length_mm", &form.length_mm);
        let width_mm = self.number("width_mm", &form.width_mm);
        let depth_mm = self.number("depth_mm", &form.depth_mm);
        match (length_mm, width_mm) {
            (Some(length_mm), Some(width_mm)) => Some(WoundSize { length_mm, width_mm, depth_mm }),
            (None, None) if depth_mm.is_none() => None,
            _ => {
                let words = "Enter length and width together, or leave all three empty.";
                self.faults.push(Fault::new("length_mm", words));
                None
            }
        }
    }

    fn packing(&mut self, form: &EnrolForm, operated: Option<Timestamp>) -> Option<Packing> {
        match form.strips.as_str() {
            "none" => return None,
            "placed" => {}
            _ => {
                self.faults.push(Fault::new("strips", "Say whether a gauze strip was left in the wound."));
                return None;
            }
        }
        let pieces =
            self.parsed::<u8>("strip_pieces", &form.strip_pieces, "Enter the number of strips, 1 to 10.");
        let length = self.number("strip_length", &form.strip_length);
        let length_cm = match (length, form.strip_unit.as_str()) {
            (None, _) => None,
            (Some(cm), "cm") => Some(cm),
            // Two decimals, so that what is read back is what was typed.
            (Some(inches), "in") => Some((inches * CM_PER_INCH * 100.0).round() / 100.0),
            (Some(_), _) => {
                self.faults.push(Fault::new("strip_length", "Choose centimetres or inches."));
                None
            }
        };
        let placed = self.time("strip_placed", &form.strip_placed).or(operated);
        Some(Packing { pieces: pieces?, length_cm, placed: placed? })
    }

    fn pen_line(&mut self, form: &EnrolForm, operated: Option<Timestamp>) -> Option<Timestamp> {
        match form.line.as_str() {
            "drawn" => self.time("pen_line", &form.pen_line).or(operated),
            _ => None,
        }
    }

    fn risk(&mut self, form: &EnrolForm) -> RiskFactors {
        let drug = filled(&form.antibiotic_drug);
        let takes_antibiotic = yes_no(&form.takes_antibiotic);
        if drug.is_some() && takes_antibiotic == Some(false) {
            let words = "You named an antibiotic and said there is none. Correct one of the two.";
            self.faults.push(Fault::new("antibiotic_drug", words));
        }
        let started = self.time("antibiotic_started", &form.antibiotic_started);
        RiskFactors {
            diabetes: form.diabetes.parse().ok(),
            sglt2: yes_no(&form.sglt2),
            ketone_strips: yes_no(&form.ketone_strips),
            immunity: form.immunity.parse().ok(),
            blood_thinner: yes_no(&form.blood_thinner),
            pregnant: yes_no(&form.pregnant),
            heart_valve: yes_no(&form.heart_valve),
            poor_circulation: yes_no(&form.poor_circulation),
            mrsa_before: yes_no(&form.mrsa_before),
            injects_drugs: yes_no(&form.injects_drugs),
            beta_blocker: yes_no(&form.beta_blocker),
            opioid_pain_pill: yes_no(&form.opioid_pain_pill),
            redness_hard_to_see: yes_no(&form.redness_hard_to_see),
            lives_alone: yes_no(&form.lives_alone),
            takes_antibiotic: takes_antibiotic.or(drug.as_ref().map(|_| true)),
            antibiotic: drug.map(|drug| Antibiotic { drug, started }),
            allergies: filled(&form.allergies),
        }
    }

    fn parsed<T: std::str::FromStr>(&mut self, field: &'static str, typed: &str, words: &str) -> Option<T> {
        let read = typed.trim().parse().ok();
        if read.is_none() {
            self.faults.push(Fault::new(field, words));
        }
        read
    }

    /// A number, with a point or a comma; nothing typed is `None`.
    fn number(&mut self, field: &'static str, typed: &str) -> Option<f64> {
        let typed = typed.trim().replace(',', ".");
        if typed.is_empty() {
            return None;
        }
        let read = typed.parse::<f64>().ok().filter(|number| number.is_finite());
        if read.is_none() {
            self.faults.push(Fault::new(field, "Enter a number, such as 12 or 7.5."));
        }
        read
    }

    fn time(&mut self, field: &'static str, typed: &str) -> Option<Timestamp> {
        match local_time::read(typed, self.zone) {
            Ok(time) => time,
            Err(wrong) => {
                self.faults.push(Fault::new(field, wrong.words()));
                None
            }
        }
    }
}

fn filled(typed: &str) -> Option<String> {
    let typed = typed.trim();
    (!typed.is_empty()).then(|| typed.to_owned())
}

/// Nothing chosen is unknown, never "no".
fn yes_no(typed: &str) -> Option<bool> {
    match typed {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed() -> EnrolForm {
        EnrolForm {
            enrol_key: "k".to_owned(),
            name: "Ana Example".to_owned(),
            born: "1980-02-03".to_owned(),
            phone: "202-555-0143".to_owned(),
            language: "es".to_owned(),
            site: "thigh".to_owned(),
            side: "left".to_owned(),
            procedure: "abscess drained".to_owned(),
            surgeon: "018f0000-0000-7000-8000-000000000000".to_owned(),
            operated: "2026-05-04T14:30".to_owned(),
            strips: "placed".to_owned(),
            strip_pieces: "1".to_owned(),
            strip_length: "12".to_owned(),
            strip_unit: "in".to_owned(),
            ..EnrolForm::default()
        }
    }

    fn new_york() -> TimeZone {
        TimeZone::get("America/New_York").unwrap()
    }

    fn fields(form: &EnrolForm) -> Vec<&'static str> {
        read(form, &new_york()).unwrap_err().into_iter().map(|fault| fault.field).collect()
    }

    #[test]
    fn inches_become_centimetres_and_an_empty_strip_time_is_the_operations() {
        let packing = read(&typed(), &new_york()).unwrap().operation.packing.unwrap();
        assert_eq!(packing.length_cm, Some(30.48));
        assert_eq!(packing.placed, "2026-05-04T18:30:00Z".parse().unwrap());
    }

    #[test]
    fn what_nobody_asked_stays_unknown() {
        let risk = read(&typed(), &new_york()).unwrap().risk;
        assert_eq!(risk, RiskFactors::default());
        let asked = EnrolForm { pregnant: "no".to_owned(), ..typed() };
        assert_eq!(read(&asked, &new_york()).unwrap().risk.pregnant, Some(false));
    }

    #[test]
    fn every_wrong_field_is_named_at_once() {
        assert_eq!(
            fields(&EnrolForm::default()),
            vec!["name", "born", "phone", "language", "site", "side", "operated", "strips", "surgeon"]
        );
        assert_eq!(fields(&EnrolForm { length_mm: "40".to_owned(), ..typed() }), vec!["length_mm"]);
        assert_eq!(fields(&EnrolForm { strip_unit: String::new(), ..typed() }), vec!["strip_length"]);
        assert_eq!(
            fields(&EnrolForm { operated: "2026-03-08T02:30".to_owned(), ..typed() }),
            vec!["operated"]
        );
        let contradiction = EnrolForm {
            takes_antibiotic: "no".to_owned(),
            antibiotic_drug: "cephalexin".to_owned(),
            ..typed()
        };
        assert_eq!(fields(&contradiction), vec!["antibiotic_drug"]);
    }

    #[test]
    fn a_decimal_comma_is_a_point() {
        let form = EnrolForm { length_mm: "40,5".to_owned(), width_mm: "20".to_owned(), ..typed() };
        assert_eq!(read(&form, &new_york()).unwrap().operation.size.unwrap().length_mm, 40.5);
    }
}
