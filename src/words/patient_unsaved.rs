//! What a patient reads when what they sent could not be kept, or a page does not open.

use crate::words::messages;

messages! {
    /// Said plainly: nobody waits for an answer to something that nobody has.
    pub struct UnsavedWords;

    not_received() { en: "We did NOT get this", es: "NO recibimos esto" }
    nobody_has_it() { en: "What you sent was not saved. Nobody at the practice will see it.", es: "Lo que envió no se guardó. Nadie en el consultorio lo va a ver." }
    send_again() { en: "Go back and send it again. What you typed is still there.", es: "Regrese y envíelo otra vez. Lo que escribió sigue ahí." }
    not_open() { en: "This page does not open now", es: "Esta página no abre ahora" }
    open_again() { en: "What we have from you is safe. Try again in a minute.", es: "Lo que tenemos de usted está seguro. Pruebe otra vez en un minuto." }
    or_call() { en: "Does it not work again? Call us.", es: "¿Otra vez no funciona? Llámenos." }
    number_on_sheet() { en: "Our phone number is on your sheet.", es: "Nuestro teléfono está en su hoja." }
    reference() { en: "When you call, name this number:", es: "Al llamar, diga este número:" }
    just_sent() { en: "Did you just send something? We do NOT have it.", es: "¿Acaba de enviar algo? NO lo tenemos." }
    go_back() { en: "Go back in a minute and send it again. What you typed is still there.", es: "Regrese en un minuto y envíelo otra vez. Lo que escribió sigue ahí." }
    emergency() { en: "An emergency? Do not wait. Call:", es: "¿Una emergencia? No espere. Llame al:" }
    emergency_number() { en: "An emergency? Do not wait. Call the emergency number.", es: "¿Una emergencia? No espere. Llame al número de emergencias." }
}
