//! The *Sent* page: the receipt, by when an answer comes, and what to do if it gets worse.

use crate::words::messages;

messages! {
    /// What a patient reads once the check is safe with the practice.
    pub struct SentWords;

    title() { en: "Sent", es: "Enviado" }
    have_it() { en: "We have your wound check.", es: "Tenemos su revisión." }
    receipt_label() { en: "Your receipt", es: "Su recibo" }
    receipt_hint() { en: "Say this code if you call us.", es: "Diga este código si nos llama." }
    received(when: &str) { en: "Received: {when}", es: "Recibido: {when}" }
    photos_one() { en: "With 1 photo.", es: "Con 1 foto." }
    photos_many(count: usize) { en: "With {count} photos.", es: "Con {count} fotos." }
    photos_none() { en: "Without a photo.", es: "Sin foto." }

    answer_by_label() { en: "You get an answer by", es: "Le contestamos a más tardar" }
    answer_after(when: &str) { en: "Nobody is watching now. We read it from: {when}", es: "Nadie está pendiente ahora. Lo leemos a partir de: {when}" }
    answer_unknown(phone: &str) { en: "Nobody is watching now. Please call {phone}.", es: "Nadie está pendiente ahora. Llame al {phone}, por favor." }
    answer_late() { en: "This time has passed. Please call us.", es: "Esta hora ya pasó. Llámenos, por favor." }
    next_heading() { en: "What happens next", es: "Qué sigue" }
    next_reads() { en: "A person at the practice reads your answers and looks at the photos.", es: "Una persona del consultorio lee sus respuestas y mira las fotos." }
    next_answer() { en: "The answer shows up here under “Answers”. You need your PIN.", es: "La respuesta aparece aquí en “Respuestas”. Necesita su PIN." }
    next_ring() { en: "We may also call you. Keep your phone near.", es: "También podemos llamarle. Tenga cerca su teléfono." }

    state_heading() { en: "Where it stands", es: "Cómo va" }
    state_waiting() { en: "Nobody has opened it yet.", es: "Nadie la ha abierto todavía." }
    state_open() { en: "A person has opened it.", es: "Una persona la abrió." }
    state_part() { en: "A person has opened it. What you sent after that, nobody has opened yet.", es: "Una persona la abrió. Lo que envió después, nadie lo ha abierto todavía." }
    state_call() { en: "A person has read it. We will call you.", es: "Una persona la leyó. Le vamos a llamar." }
    state_call_again() { en: "A person has read it. We will call you again.", es: "Una persona la leyó. Le vamos a llamar otra vez." }
    state_call_part() { en: "A person has read it. We will call you. What you sent after that, nobody has opened yet.", es: "Una persona la leyó. Le vamos a llamar. Lo que envió después, nadie lo ha abierto todavía." }
    state_called(when: &str) { en: "You can call us too. We tried to call: {when}", es: "También puede llamarnos. Intentamos llamar: {when}" }
    state_spoke(when: &str) { en: "We spoke on the phone: {when}", es: "Hablamos por teléfono: {when}" }
    state_done() { en: "A person has dealt with it. Look under “Answers”.", es: "Una persona la atendió. Mire en “Respuestas”." }
    state_reload() { en: "Look again", es: "Ver otra vez" }

    go_heading(emergency: &str) { en: "Call {emergency} now", es: "Llame ya al {emergency}" }
    go_why() { en: "What you told us can't wait for our answer.", es: "Lo que nos dijo no puede esperar nuestra respuesta." }
    go_how() { en: "Or have someone take you to the nearest emergency room. Do not drive yourself.", es: "O que alguien le lleve a emergencias. No maneje usted." }
    go_take() { en: "Take your pill list and this phone with you.", es: "Lleve su lista de pastillas y este teléfono." }
    ring_heading(when: &str) { en: "We call you by {when}", es: "Le llamamos a más tardar: {when}" }
    ring_near() { en: "Keep your phone near and its sound on.", es: "Tenga cerca su teléfono, con sonido." }
    ring_else(phone: &str) { en: "No call by then? Call {phone}. Nobody there? Go to the emergency room.", es: "¿No le llamamos? Llame al {phone}. ¿Nadie contesta? Vaya a emergencias." }
    ring_closed_heading(phone: &str) { en: "Do not wait for us. Call {phone} now", es: "No nos espere. Llame ya al {phone}" }
    ring_closed() { en: "Nobody is here to call you right now. Nobody answers? Go to the emergency room.", es: "No hay nadie para llamarle ahora. ¿Nadie contesta? Vaya a emergencias." }

    worse_heading() { en: "If it gets worse", es: "Si empeora" }
    worse_emergency(emergency: &str) { en: "Heavy bleeding, fainting, hard to breathe, or dark skin? Call {emergency}.", es: "¿Mucha sangre, desmayo, le falta el aire o piel oscura? Llame al {emergency}." }
    worse_again() { en: "Fever, more pain, or the red grows? Send a new check and call us.", es: "¿Fiebre, más dolor o crece lo rojo? Envíe otra revisión y llámenos." }
    sugar_low_heading() { en: "Your sugar was low", es: "Su azúcar estaba bajo" }
    photos_heading() { en: "Your photos", es: "Sus fotos" }
    change() { en: "Send a new wound check", es: "Enviar otra revisión" }
    back_today() { en: "Back to Today", es: "Volver a Hoy" }
}
