//! The *Answers* page: the PIN, the surgeon's reply, and asking back.

use crate::words::messages;

messages! {
    /// Reading and asking.
    pub struct AnswersWords;

    title() { en: "Answers", es: "Respuestas" }
    for_patient(name: &str) { en: "For {name}", es: "Para {name}" }

    pin_title() { en: "Type your PIN to read", es: "Escriba su PIN para leer" }
    pin_label() { en: "PIN", es: "PIN" }
    pin_hint() { en: "6 numbers from your sheet.", es: "6 números de su hoja." }
    pin_button() { en: "Show the answers", es: "Ver las respuestas" }
    pin_wrong() { en: "That PIN did not fit. Look at your sheet and try again.", es: "Ese PIN no es. Mire su hoja y pruebe otra vez." }
    pin_wait(when: &str) { en: "Too many tries. Try again after: {when}", es: "Demasiados intentos. Pruebe otra vez después de: {when}" }
    not_here(phone: &str) { en: "This is not your phone, so no answer is shown on it. We call you. Our number is {phone}.", es: "Este teléfono no es suyo: aquí no se muestra ninguna respuesta. Le llamamos. Nuestro número es {phone}." }
    pin_off(phone: &str) { en: "Reading is off for this link. Call {phone} for a new one.", es: "La lectura está cerrada en este enlace. Pida otro al {phone}." }
    pin_not_to_send() { en: "You never need the PIN to send.", es: "Para enviar nunca necesita el PIN." }
    pin_lost(phone: &str) { en: "Lost it? Call {phone}.", es: "¿Lo perdió? Llame al {phone}." }

    none_yet() { en: "No answer yet.", es: "Todavía no hay respuesta." }
    none_hint() { en: "Answers to your wound checks show up here.", es: "Aquí aparecen las respuestas a sus revisiones." }
    from_surgeon(name: &str) { en: "From {name}", es: "De {name}" }
    from_practice() { en: "From the practice", es: "Del consultorio" }
    from_you() { en: "You asked", es: "Usted preguntó" }
    cannot_be_read(phone: &str) {
        en: "These words cannot be shown right now. Please call {phone} and ask.",
        es: "Ahora no se pueden mostrar estas palabras. Llame al {phone} y pregunte.",
    }
    new_mark() { en: "New", es: "Nueva" }
    mark_read() { en: "I have read this", es: "Ya lo leí" }
    read_at(when: &str) { en: "You read it: {when}", es: "Lo leyó: {when}" }
    corrections() { en: "Corrections", es: "Correcciones" }
    /// `sent`: the day of the check.
    corrected_check(sent: &str, name: &str, when: &str) {
        en: "About your wound check of {sent}. Corrected by {name}: {when}",
        es: "Sobre su revisión del {sent}. Corregido por {name}: {when}",
    }
    corrected_answer(sent: &str, name: &str, when: &str) {
        en: "About the answer to your wound check of {sent}. Corrected by {name}: {when}",
        es: "Sobre la respuesta a su revisión del {sent}. Corregido por {name}: {when}",
    }
    worse(emergency: &str, phone: &str) {
        en: "Got worse since? Call {phone}. An emergency? Call {emergency}.",
        es: "¿Empeoró desde entonces? Llame al {phone}. ¿Emergencia? Llame al {emergency}.",
    }

    ask_title() { en: "Ask back", es: "Pregunte" }
    ask_label() { en: "Your question", es: "Su pregunta" }
    ask_hint() { en: "Up to 1000 letters. Something new with the wound? Send a wound check instead.", es: "Hasta 1000 letras. ¿Algo nuevo en la herida? Mejor envíe una revisión." }
    ask_button() { en: "Send the question", es: "Enviar la pregunta" }
    ask_sent() { en: "Sent. A person reads it.", es: "Enviada. Una persona la lee." }
    ask_empty() { en: "Type your question first.", es: "Escriba primero su pregunta." }
    ask_too_long() { en: "Please make it shorter: 1000 letters at most.", es: "Hágala más corta: 1000 letras como máximo." }
    ask_no_check() { en: "Send a wound check first. Then we can answer with it in view.", es: "Envíe primero una revisión. Así contestamos con ella a la vista." }
}
