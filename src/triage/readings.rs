//! Numbers as people type them: decimal commas, two scales of temperature, two units of sugar.

use crate::triage::answers::TakenTemperature;
use crate::triage::answers::TempUnit;
use crate::triage::form::FaultKind;
use crate::triage::special_answers::MeterReading;
use crate::triage::special_answers::SugarUnit;

/// Glucose: mg/dL for one mmol/L (molar mass 180.156 g/mol).
const MG_DL_PER_MMOL_L: f64 = 18.0156;

/// A plain decimal number, with a point or a comma, of at most nine digits; a unit behind it is allowed and not
/// read. `None`: it is no such number.
pub(super) fn number(typed: &str) -> Option<f64> {
    let plain = typed.trim().replace(',', ".");
    let end = plain.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(plain.len());
    let (figures, unit) = plain.split_at(end);
    let known_units = [
        "", "c", "f", "°", "°c", "°f", "ºc", "ºf", "mg/dl", "mmol/l", "mm", "cm", "h", "bpm", "/min", "mmhg",
    ];
    let digits = figures.chars().filter(char::is_ascii_digit).count();
    if !known_units.contains(&unit.trim().to_lowercase().as_str()) || !(1..=9).contains(&digits) {
        return None;
    }
    figures.parse().ok()
}

/// A body temperature. 30–45 is Celsius and 86–113 is Fahrenheit, whatever the unit says; `None`: it is neither, or
/// outside 30.0–43.0 °C. Rounded to 0.1 °C, once.
pub(super) fn temperature(typed: &str, number: f64) -> Option<TakenTemperature> {
    let (unit, celsius) = if (30.0..=45.0).contains(&number) {
        (TempUnit::Celsius, number)
    } else if (86.0..=113.0).contains(&number) {
        (TempUnit::Fahrenheit, (number - 32.0) * 5.0 / 9.0)
    } else {
        return None;
    };
    let tenths_c = (celsius * 10.0).round() as u16;
    (300..=430).contains(&tenths_c).then(|| TakenTemperature { entered: typed.to_owned(), unit, tenths_c })
}

/// A meter reading: LO, HI, 20–600 mg/dL or 1.1–33.3 mmol/L. A number that could be of the other unit is asked
/// about, until `checked` confirms its unit. Converted to mg/dL and rounded to a whole number, once.
pub(super) fn meter(
    typed: &str,
    unit: Option<SugarUnit>,
    checked: Option<SugarUnit>,
) -> Result<MeterReading, FaultKind> {
    match typed.to_lowercase().as_str() {
        "lo" | "low" => return Ok(MeterReading::Low),
        "hi" | "high" => return Ok(MeterReading::High),
        _ => {}
    }
    let number = number(typed).ok_or(FaultKind::NotANumber)?;
    let unit = match (checked, unit) {
        (Some(checked), _) => checked,
        (None, Some(SugarUnit::MgDl)) if number < 34.0 => return Err(FaultKind::WhichUnit),
        (None, Some(SugarUnit::MmolL)) if number > 33.3 => return Err(FaultKind::WhichUnit),
        (None, Some(unit)) => unit,
        // Only mmol/L goes below 20, only mg/dL above 33.3; between them it could be either.
        (None, None) if number < 20.0 => SugarUnit::MmolL,
        (None, None) if number > 33.3 => SugarUnit::MgDl,
        (None, None) => return Err(FaultKind::WhichUnit),
    };
    let (in_range, mg_dl) = match unit {
        SugarUnit::MgDl => ((20.0..=600.0).contains(&number), number),
        SugarUnit::MmolL => ((1.1..=33.3).contains(&number), number * MG_DL_PER_MMOL_L),
    };
    if !in_range {
        return Err(FaultKind::OutOfRange);
    }
    Ok(MeterReading::Measured { entered: typed.to_owned(), unit, mg_dl: mg_dl.round() as u16 })
}

/// A telephone number in the international form of ITU-T E.164: a plus sign, the country, at most 15 digits in all. A
/// number of the North American plan (ten digits, or eleven with a leading 1) is completed. `None`: it is no whole
/// number. At least 8 digits is our own limit; the plan's areas and exchanges begin with 2–9.
pub(super) fn phone(typed: &str) -> Option<String> {
    let plain: String =
        typed.trim().chars().filter(|sign| !matches!(sign, ' ' | '-' | '.' | '(' | ')' | '/')).collect();
    let digits = plain.strip_prefix('+').or_else(|| plain.strip_prefix("00")).unwrap_or(&plain);
    let is_abroad = digits.len() < plain.len();
    if digits.is_empty() || !digits.chars().all(|sign| sign.is_ascii_digit()) {
        return None;
    }
    let local = digits.strip_prefix('1').unwrap_or(digits);
    let from_2 = |place: usize| local.as_bytes().get(place).is_some_and(|digit| *digit >= b'2');
    let is_north_american = local.len() == 10 && from_2(0) && from_2(3);
    match (is_abroad, digits.starts_with('1')) {
        (true, true) | (false, _) => is_north_american.then(|| format!("+1{local}")),
        (true, false) => {
            let is_whole = (8..=15).contains(&digits.len()) && !digits.starts_with('0');
            is_whole.then(|| format!("+{digits}"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tenths_c(typed: &str) -> Option<u16> {
        temperature(typed, number(typed)?).map(|taken| taken.tenths_c)
    }

    fn mg_dl(typed: &str, unit: SugarUnit) -> u16 {
        match meter(typed, Some(unit), None) {
            Ok(MeterReading::Measured { mg_dl, .. }) => mg_dl,
            other => panic!("{typed}: {other:?}"),
        }
    }

    #[test]
    fn fahrenheit_is_converted_and_rounded_once() {
        // C = (F - 32) * 5/9; pairs computed in tenths.
        for (fahrenheit, tenths) in [
            ("95.0", 350),
            ("96.8", 360),
            ("100.0", 378),
            ("100.4", 380),
            ("100.3", 379),
            ("101.0", 383),
            ("101.3", 385),
            ("102.2", 390),
        ] {
            assert_eq!(tenths_c(fahrenheit), Some(tenths), "{fahrenheit}");
        }
    }

    #[test]
    fn a_comma_is_a_decimal_point_and_a_unit_may_stand_behind() {
        assert_eq!(tenths_c("38,2"), Some(382));
        assert_eq!(tenths_c("38.2 °C"), Some(382));
        assert_eq!(tenths_c("100.4F"), Some(380));
        for odd in ["", "38.2.1", "thirty", "-38", "1e2", "38..2", "٣٨", "38 kg", "9999999999"] {
            assert_eq!(tenths_c(odd), None, "{odd}");
        }
    }

    #[test]
    fn a_local_number_is_completed_and_a_foreign_one_needs_its_country() {
        for typed in
            ["202-555-0143", "(202) 555 0143", "1 202.555.0143", "+1 202 555 0143", "001 202-555-0143"]
        {
            assert_eq!(phone(typed).as_deref(), Some("+12025550143"), "{typed}");
        }
        // A United Kingdom number for drama (Ofcom: 020 7946 0000 to 0999).
        assert_eq!(phone("+44 20 7946 0123").as_deref(), Some("+442079460123"));
        // The longest and one digit more; the shortest and one less.
        assert!(phone("+442079460123000").is_some() && phone("+4420794601230001").is_none());
        assert!(phone("+44207946").is_some() && phone("+4420794").is_none());
        for no_number in
            ["", "555-0143", "20255501431", "102-555-0143", "202-155-0143", "my wife", "+", "+020794601"]
        {
            assert_eq!(phone(no_number), None, "{no_number}");
        }
    }

    #[test]
    fn a_temperature_outside_what_a_body_has_is_refused() {
        for refused in ["29.9", "43.1", "45", "60", "85.9", "109.6", "113", "113.1"] {
            assert_eq!(tenths_c(refused), None, "{refused}");
        }
        for taken in ["30.0", "43.0", "86", "109.4"] {
            assert!(tenths_c(taken).is_some(), "{taken}");
        }
    }

    #[test]
    fn millimoles_are_converted_to_whole_milligrams() {
        // mmol/L = mg/dL / 18.0156, published pairs; 3.9 and 3.0 round to 70 and 54, not below.
        for (mmol_l, mg) in
            [("3.0", 54), ("3.9", 70), ("8.33", 150), ("9.99", 180), ("11.10", 200), ("13.88", 250)]
        {
            assert_eq!(mg_dl(mmol_l, SugarUnit::MmolL), mg, "{mmol_l}");
        }
        for (mmol_l, mg) in [("16.65", 300), ("22.20", 400), ("33.3", 600), ("1.1", 20)] {
            assert_eq!(mg_dl(mmol_l, SugarUnit::MmolL), mg, "{mmol_l}");
        }
        assert_eq!(mg_dl("120", SugarUnit::MgDl), 120);
    }

    #[test]
    fn a_sugar_that_does_not_go_with_its_unit_is_asked_about_until_the_unit_is_confirmed() {
        let mg = Some(SugarUnit::MgDl);
        let mmol = Some(SugarUnit::MmolL);
        assert_eq!(meter("33.9", mg, None), Err(FaultKind::WhichUnit));
        assert_eq!(mg_dl("34", SugarUnit::MgDl), 34);
        assert_eq!(meter("33.4", mmol, None), Err(FaultKind::WhichUnit));
        assert_eq!(meter("25", None, None), Err(FaultKind::WhichUnit));
        assert!(matches!(meter("25", mg, mg), Ok(MeterReading::Measured { mg_dl: 25, .. })));
        assert!(matches!(meter("25", mg, mmol), Ok(MeterReading::Measured { mg_dl: 450, .. })));
        assert_eq!(meter("5.6", mg, mg), Err(FaultKind::OutOfRange));
        assert_eq!(meter("601", mg, None), Err(FaultKind::OutOfRange));
        assert_eq!(meter("1.0", mmol, None), Err(FaultKind::OutOfRange));
        assert!(matches!(meter("5.6", None, None), Ok(MeterReading::Measured { mg_dl: 101, .. })));
        assert!(matches!(meter("180", None, None), Ok(MeterReading::Measured { mg_dl: 180, .. })));
        assert_eq!(meter("HI", None, None), Ok(MeterReading::High));
        assert_eq!(meter("lo", mg, None), Ok(MeterReading::Low));
    }
}
