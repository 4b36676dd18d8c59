//! What the *Today* page says: the day, what to do now and next, and when to call for help.

use crate::words::messages;

messages! {
    /// The *Today* page.
    pub struct TodayWords;

    day(day: i64) { en: "Day {day}", es: "Día {day}" }
    day_of_operation() { en: "Today is the day of your operation.", es: "Hoy es el día de su operación." }
    since(operated: &str) { en: "Your operation was on {operated}.", es: "Su operación fue el {operated}." }

    send_button() { en: "Send a wound check", es: "Enviar una revisión" }
    send_hint() { en: "A photo and a few taps. About 2 minutes.", es: "Una foto y unos toques. Unos 2 minutos." }
    go_on(when: &str) { en: "Go on with the check you began: {when}", es: "Siga con la revisión que empezó: {when}" }
    unread_one() { en: "You have 1 new answer", es: "Tiene 1 respuesta nueva" }
    unread_many(count: usize) { en: "You have {count} new answers", es: "Tiene {count} respuestas nuevas" }
    read_answers() { en: "Answers from your surgeon", es: "Respuestas de su cirujano(a)" }
    missed_call(when: &str) { en: "We tried to call: {when}", es: "Intentamos llamar: {when}" }
    call_back() { en: "Please call us back.", es: "Llámenos, por favor." }
    last_check(when: &str) { en: "Last sent: {when}", es: "Último envío: {when}" }

    now_heading() { en: "Do now", es: "Haga ahora" }
    next_heading() { en: "Next", es: "Después" }
    nothing_now() { en: "Nothing is due right now.", es: "No hay nada pendiente ahora." }

    strip_leave_title() { en: "Leave the gauze strip in", es: "Deje la tira de gasa adentro" }
    strip_leave_until(when: &str) { en: "It comes out: {when}", es: "Se saca: {when}" }
    strip_due_by(when: &str) { en: "Due: {when}", es: "Para: {when}" }
    strip_overdue_title() { en: "The gauze strip is late: take it out now", es: "La tira de gasa va tarde: sáquela ya" }
    strip_overdue_by(when: &str) { en: "It was due: {when}", es: "Tocaba: {when}" }
    strip_overdue_call() { en: "Can't get it out, or not all of it? Call us today.", es: "¿No sale, o no sale toda? Llámenos hoy." }

    wash_next_title() { en: "Start to wash the wound", es: "Empiece a lavar la herida" }
    wash_next_packed() { en: "Right after the strip is out.", es: "Justo después de sacar la tira." }
    from(when: &str) { en: "From: {when}", es: "Desde: {when}" }
    photo_by(when: &str) { en: "Best before: {when}", es: "De preferencia antes de: {when}" }
    photo_late() { en: "It is not too late. Send it now.", es: "No es tarde. Envíela ahora." }
    photo_done() { en: "Today's wound check is sent", es: "La revisión de hoy ya se envió" }
    photo_next_title() { en: "Next wound check", es: "Próxima revisión" }
    visit_ask(when: &str) { en: "Can you come: {when}?", es: "¿Puede venir: {when}?" }
    visit_yes() { en: "Yes, I will come", es: "Sí, voy a ir" }
    visit_no() { en: "I cannot come then", es: "No puedo a esa hora" }
    visit_no_hint() { en: "Then we call you and find another time.", es: "Entonces le llamamos y buscamos otra hora." }
    visit_at(when: &str) { en: "When: {when}", es: "Cuándo: {when}" }
    until(when: &str) { en: "Until: {when}", es: "Hasta: {when}" }
    paused_title() { en: "Your plan has a break", es: "Su plan está en pausa" }
    paused_until(when: &str) { en: "It goes on: {when}", es: "Sigue: {when}" }
    paused_still() { en: "Worried? You can still send a check or call us.", es: "¿Le preocupa algo? Puede enviar una revisión o llamarnos." }
    add_to_calendar() { en: "Add to calendar", es: "Agregar al calendario" }
    calendar_page() { en: "Put my dates in my calendar", es: "Poner mis fechas en mi calendario" }
    wound_closed_title() { en: "Your surgeon has closed this plan", es: "Su cirujano(a) cerró este plan" }
    wound_closed() { en: "Worried? You can still send a check or call us.", es: "¿Le preocupa algo? Puede enviar una revisión o llamarnos." }
    surgeon_first() { en: "Did your surgeon tell you something else? Then do that.", es: "¿Su cirujano(a) le dijo otra cosa? Entonces haga eso." }

    help_heading() { en: "When to call for help now", es: "Cuándo pedir ayuda ya" }
    help_emergency_heading(emergency: &str) { en: "Call {emergency} now if:", es: "Llame ya al {emergency} si:" }
    help_practice_heading() { en: "Call us today if:", es: "Llámenos hoy si:" }
    help_redness() { en: "The red, dark or hard area grows.", es: "La zona roja, oscura o dura crece." }
    help_fever() { en: "You have a fever of 38.0 °C (100.4 °F) or more, or chills.", es: "Tiene fiebre de 38.0 °C (100.4 °F) o más, o escalofríos." }
    help_pain() { en: "The pain gets worse from day to day.", es: "El dolor empeora de un día a otro." }
    help_blood() { en: "Blood soaks a gauze pad within one hour.", es: "La sangre empapa una gasa en una hora." }
    help_fluid() { en: "Gray or bad-smelling fluid comes out.", es: "Sale líquido gris o con mal olor." }
    help_strip() { en: "The strip is stuck or torn.", es: "La tira está atorada o rota." }
    help_nobody() { en: "Nobody answers? Feel worse? Go to the emergency room.", es: "¿Nadie contesta? ¿Se siente peor? Vaya a emergencias." }
}
