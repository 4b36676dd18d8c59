//! The frame of the wound check: its steps, its button, and how sending stands.

use crate::words::messages;

messages! {
    /// The wound check form.
    pub struct CheckWords;

    title() { en: "Wound check", es: "Revisión de la herida" }
    lead() { en: "Answer what you can. Skip what you can't.", es: "Conteste lo que pueda. Salte lo que no." }
    by_steps() { en: "Go step by step", es: "Ir paso a paso" }
    next() { en: "Next", es: "Siguiente" }
    back() { en: "Back", es: "Atrás" }
    to_today() { en: "Back to Today", es: "Volver a Hoy" }
    go_on_anyway() { en: "Go on as it is", es: "Seguir así" }
    look_again() { en: "Please look at this once more:", es: "Mire esto otra vez, por favor:" }
    opened_more() { en: "We ask a little more after your answer.", es: "Preguntamos un poco más por su respuesta." }
    not_sent_by_steps() { en: "Nothing is sent before the last step.", es: "No se envía nada antes del último paso." }
    began(when: &str) { en: "You began this check: {when}", es: "Empezó esta revisión: {when}" }
    afresh() { en: "Start again from the top", es: "Empezar de nuevo" }
    one_page() { en: "All on one page", es: "Todo en una página" }
    danger_first() { en: "First the danger signs", es: "Primero las señales de peligro" }
    step(number: usize, of: usize) { en: "Step {number} of {of}", es: "Paso {number} de {of}" }
    step_danger() { en: "Danger", es: "Peligro" }
    step_photos() { en: "Photos", es: "Fotos" }
    step_questions() { en: "Questions", es: "Preguntas" }
    step_send() { en: "Send", es: "Enviar" }
    steps_label() { en: "Steps of this form", es: "Pasos de este formulario" }
    answered() { en: "answered", es: "contestadas" }
    questions_title() { en: "A few questions", es: "Unas preguntas" }
    send_title() { en: "Send it", es: "Envíelo" }
    send() { en: "Send to the practice", es: "Enviar al consultorio" }
    send_slow() { en: "Photos can take a minute. Wait for the page that says “Sent”.", es: "Las fotos pueden tardar un minuto. Espere la página que dice “Enviado”." }
    or_ring(phone: &str) { en: "It will not send? Call {phone}.", es: "¿No se envía? Llame al {phone}." }

    not_sent() { en: "NOT SENT YET", es: "AÚN NO ENVIADO" }
    not_sent_trying() { en: "Sending …", es: "Enviando …" }
    not_sent_no_line() { en: "No connection. We keep trying. Keep this page open.", es: "Sin conexión. Seguimos tratando. Deje abierta esta página." }
    next_try() { en: "Next try in seconds:", es: "Próximo intento en segundos:" }
    answers_in() { en: "Your answers are in.", es: "Sus respuestas llegaron." }
    photo_going() { en: "Photo", es: "Foto" }
    of() { en: "of", es: "de" }
    try_now() { en: "Try now", es: "Intentar ya" }
    without_photos() { en: "Go on without photos", es: "Seguir sin fotos" }
    link_ended(phone: &str) { en: "This link has ended. Nothing more can be sent. Call {phone}.", es: "Este enlace terminó. Ya no se puede enviar. Llame al {phone}." }
    failed(phone: &str) { en: "It did not go through. Your answers are still here. Call {phone}.", es: "No se pudo enviar. Sus respuestas siguen aquí. Llame al {phone}." }
    photo_failed() { en: "This photo could not be sent.", es: "Esta foto no se pudo enviar." }
    call_now_title() { en: "Your answers can't wait.", es: "Sus respuestas no pueden esperar." }
}
