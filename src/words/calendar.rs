//! Days and hours as patients read them, in both languages.

use jiff::civil::DateTime;

use crate::words::Language;

const DAYS_EN: [&str; 7] = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];
const DAYS_ES: [&str; 7] = ["lunes", "martes", "miércoles", "jueves", "viernes", "sábado", "domingo"];
const MONTHS_EN: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];
const MONTHS_ES: [&str; 12] = [
    "enero",
    "febrero",
    "marzo",
    "abril",
    "mayo",
    "junio",
    "julio",
    "agosto",
    "septiembre",
    "octubre",
    "noviembre",
    "diciembre",
];

fn weekday(language: Language, when: DateTime) -> &'static str {
    let index = usize::try_from(when.date().weekday().to_monday_zero_offset()).unwrap_or(0);
    match language {
        Language::English => DAYS_EN[index],
        Language::Spanish => DAYS_ES[index],
    }
}

fn month(language: Language, when: DateTime) -> &'static str {
    let index = usize::try_from(when.month() - 1).unwrap_or(0);
    match language {
        Language::English => MONTHS_EN[index],
        Language::Spanish => MONTHS_ES[index],
    }
}

/// A day in full: "Wednesday, March 4" or "miércoles 4 de marzo".
pub fn long_day(language: Language, when: DateTime) -> String {
    let (weekday, month) = (weekday(language, when), month(language, when));
    match language {
        Language::English => format!("{weekday}, {month} {}", when.day()),
        Language::Spanish => format!("{weekday} {} de {month}", when.day()),
    }
}

/// A day for a narrow box: "Wed Mar 4" or "mié 4 mar".
pub fn short_day(language: Language, when: DateTime) -> String {
    let first_three = |word: &str| word.chars().take(3).collect::<String>();
    let (weekday, month) = (first_three(weekday(language, when)), first_three(month(language, when)));
    match language {
        Language::English => format!("{weekday} {month} {}", when.day()),
        Language::Spanish => format!("{weekday} {} {month}", when.day()),
    }
}

/// A day with its year: "March 4, 2026" or "4 de marzo de 2026".
pub fn day_and_year(language: Language, when: DateTime) -> String {
    let month = month(language, when);
    match language {
        Language::English => format!("{month} {}, {}", when.day(), when.year()),
        Language::Spanish => format!("{} de {month} de {}", when.day(), when.year()),
    }
}

/// A day and an hour on the twelve-hour clock, which both languages' readers in the United States use:
/// "Wednesday, March 4, 1:00 pm" or "miércoles 4 de marzo, 1:00 p. m.".
pub fn day_and_hour(language: Language, when: DateTime) -> String {
    format!("{}, {}", long_day(language, when), clock_time(language, when))
}

/// An hour on that clock: "1:00 pm" or "1:00 p. m.".
pub fn clock_time(language: Language, when: DateTime) -> String {
    let hour = match when.hour() % 12 {
        0 => 12,
        hour => hour,
    };
    let half = match (language, when.hour() < 12) {
        (Language::English, true) => "am",
        (Language::English, false) => "pm",
        (Language::Spanish, true) => "a.\u{a0}m.",
        (Language::Spanish, false) => "p.\u{a0}m.",
    };
    format!("{hour}:{:02}\u{a0}{half}", when.minute())
}
