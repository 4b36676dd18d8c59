//! What a calendar shows of the plan, and the page where its address is made. A calendar may lie open on a shared
//! screen: no body part, no complaint, no picture is ever named in it.

use crate::words::messages;

messages! {
    /// Calendar entries.
    pub struct CalendarWords;

    calendar_name() { en: "Closewatch", es: "Closewatch" }
    step() { en: "Closewatch: today's step", es: "Closewatch: el paso de hoy" }
    visit() { en: "Closewatch: appointment", es: "Closewatch: cita" }
    open_page() { en: "Open your link to see it.", es: "Abra su enlace para verlo." }
}

messages! {
    /// The page about the calendar.
    pub struct CalendarPageWords;

    title() { en: "Dates in your calendar", es: "Fechas en su calendario" }
    lead() { en: "Your calendar can show your dates. It says only \"today's step\".", es: "Su calendario puede mostrar sus fechas. Dice solo \"el paso de hoy\"." }
    make() { en: "Make an address for my calendar", es: "Crear una dirección para mi calendario" }
    make_again() { en: "Make a new address", es: "Crear una dirección nueva" }
    made(when: &str) { en: "You have an address. Made: {when}", es: "Ya tiene una dirección. Creada: {when}" }
    once() { en: "We show it only once. A new one ends the old one.", es: "La mostramos una sola vez. Una nueva termina la anterior." }
    address() { en: "Your calendar's address", es: "La dirección para su calendario" }
    how() { en: "Copy it. In your calendar, choose: add by address.", es: "Cópiela. En su calendario elija: agregar por dirección." }
    secret() { en: "Whoever has it can see your dates. Nothing else.", es: "Quien la tenga puede ver sus fechas. Nada más." }
    end() { en: "End this address", es: "Terminar esta dirección" }
    no_answers() { en: "Your calendar cannot remind us. Nobody reads it.", es: "Su calendario no nos avisa. Nadie lo lee." }
    one_by_one() { en: "Or add one date at a time:", es: "O agregue una fecha a la vez:" }
    add_one() { en: "Add to calendar", es: "Agregar al calendario" }
    back_today() { en: "Back to Today", es: "Volver a Hoy" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_calendar_names_no_body_part_no_complaint_and_no_picture() {
        let clinical = [
            "wound",
            "herida",
            "photo",
            "foto",
            "strip",
            "tira",
            "gauze",
            "gasa",
            "pain",
            "dolor",
            "wash",
            "lav",
            "surg",
            "ciruj",
            "check",
            "revisión",
            "pill",
            "pastilla",
            "bleed",
            "sangr",
            "infect",
        ];
        for (name, english, spanish) in CalendarWords::ALL {
            for text in [english, spanish] {
                let low = text.to_lowercase();
                assert!(clinical.iter().all(|word| !low.contains(word)), "{name}: {text}");
            }
        }
    }
}
