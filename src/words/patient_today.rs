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
    last_check(when: &str) { en: "Last sent: {when}", es: "Último envío: {when}" }

    now_heading() { en: "Do now", es: "Haga ahora" }
    next_heading() { en: "Next", es: "Después" }
    nothing_now() { en: "Nothing is due right now.", es: "No hay nada pendiente ahora." }

    strip_leave_title() { en: "Leave the gauze strip in", es: "Deje la tira de gasa adentro" }
    strip_leave_until(when: &str) { en: "It comes out: {when}", es: "Se saca: {when}" }
    strip_due_title() { en: "Take the gauze strip out", es: "Saque la tira de gasa" }
    strip_due_by(when: &str) { en: "Due: {when}", es: "Para: {when}" }
    strip_overdue_title() { en: "The gauze strip is late: take it out now", es: "La tira de gasa va tarde: sáquela ya" }
    strip_overdue_by(when: &str) { en: "It was due: {when}", es: "Tocaba: {when}" }
    strip_overdue_call() { en: "Can't get it out, or not all of it? Call us today.", es: "¿No sale, o no sale toda? Llámenos hoy." }

    steps_heading() { en: "How to take it out", es: "Cómo sacarla" }
    step_pill() { en: "Take your pain pill. Then wait 30 to 45 minutes.", es: "Tome su pastilla para el dolor. Luego espere 30 a 45 minutos." }
    step_soak() { en: "Soak the strip in the shower for 20 to 30 minutes.", es: "Moje la tira en la ducha por 20 a 30 minutos." }
    step_pull() { en: "Still in the shower: pull it out. One slow, steady pull.", es: "Aún en la ducha: sáquela. Un solo tirón lento y parejo." }
    step_pull_hurts() { en: "It can hurt for 3 to 4 minutes. A little blood is normal.", es: "Puede doler 3 a 4 minutos. Un poco de sangre es normal." }
    step_press() { en: "Bleeding? Press hard with clean gauze for 10 minutes. Do not peek.", es: "¿Sangra? Apriete fuerte con gasa limpia 10 minutos. No mire." }
    step_count_one() { en: "Count: 1 strip went in. Is all of it out?", es: "Cuente: entró 1 tira. ¿Salió toda?" }
    step_count_many(pieces: u8) { en: "Count: {pieces} strips went in. Are all of them out?", es: "Cuente: entraron {pieces} tiras. ¿Salieron todas?" }
    step_length(cm: i64, inches: i64) { en: "All together about {cm} cm ({inches} in) long.", es: "En total unos {cm} cm ({inches} pulgadas) de largo." }
    step_tell() { en: "Send a wound check and tell us it is out.", es: "Envíe una revisión y díganos que ya salió." }
    timer_start(minutes: i64) { en: "Start {minutes}-minute timer", es: "Iniciar {minutes} minutos" }
    timer_left() { en: "left", es: "faltan" }
    timer_done() { en: "Time is up. Go to the next step.", es: "Ya es hora. Siga con el próximo paso." }
    timer_stop() { en: "Stop", es: "Parar" }

    wash_title_twice() { en: "Wash the wound 2 times today", es: "Lave la herida 2 veces hoy" }
    wash_title_once() { en: "Wash the wound once today", es: "Lave la herida 1 vez hoy" }
    wash_how() { en: "Rinse in the shower for 5 minutes. Then put on clean gauze.", es: "Enjuague en la ducha 5 minutos. Luego ponga gasa limpia." }
    wash_next_title() { en: "Start to wash the wound", es: "Empiece a lavar la herida" }
    wash_next_packed() { en: "Right after the strip is out.", es: "Justo después de sacar la tira." }
    from(when: &str) { en: "From: {when}", es: "Desde: {when}" }
    photo_title() { en: "Send a wound check today", es: "Envíe una revisión hoy" }
    photo_by(when: &str) { en: "Best before: {when}", es: "De preferencia antes de: {when}" }
    photo_late() { en: "It is not too late. Send it now.", es: "No es tarde. Envíela ahora." }
    photo_done() { en: "Today's wound check is sent", es: "La revisión de hoy ya se envió" }
    photo_next_title() { en: "Next wound check", es: "Próxima revisión" }
    plan_end() { en: "Is the wound still open? Call us for a visit.", es: "¿La herida sigue abierta? Llámenos para una cita." }
    plan_end_title() { en: "The plan has come to its end", es: "El plan llegó a su fin" }
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
