//! The patient's own copy of everything that was sent, said and done about one wound.

use crate::words::messages;

messages! {
    /// The copy. What is in braces at the end of a sentence is a time or a name: no full stop follows it.
    pub struct ExportWords;

    title() { en: "Your wound: a copy of your record", es: "Su herida: copia de su expediente" }
    made(name: &str, practice: &str, when: &str) { en: "Copy made by {name}, {practice}: {when}", es: "Copia hecha por {name}, {practice}: {when}" }
    made_agreed(name: &str, agreed: &str) { en: "Asked for by {name}, agreed by {agreed}", es: "Lo pidió {name}, de acuerdo: {agreed}" }
    photo_made(receipt: &str, position: i64) { en: "Wound check {receipt}, photo {position}", es: "Revisión {receipt}, foto {position}" }
    yours() { en: "This copy is yours. Keep it safe. It tells a lot about you.", es: "Esta copia es suya. Guárdela bien. Dice mucho de usted." }
    not_advice() { en: "It is no new advice. Worse, or worried? Call us.", es: "No es un consejo nuevo. ¿Empeora o le preocupa? Llámenos." }
    cannot_be_read(phone: &str) {
        en: "These words cannot be shown right now. Please call {phone} and ask.",
        es: "Ahora no se pueden mostrar estas palabras. Llame al {phone} y pregunte.",
    }
    phones(phone: &str, emergency: &str) { en: "Our number is {phone}. In an emergency call {emergency}.", es: "Nuestro número es {phone}. En una emergencia llame al {emergency}." }
    wrong() { en: "Is something wrong in it? Tell us. We add a note beside it.", es: "¿Hay algo mal? Díganos. Ponemos una nota al lado." }

    patient() { en: "Patient", es: "Paciente" }
    born() { en: "Born", es: "Nacimiento" }
    phone() { en: "Phone", es: "Teléfono" }
    helper() { en: "Who helps at home", es: "Quién ayuda en casa" }
    place() { en: "Wound", es: "Herida" }
    procedure() { en: "Operation", es: "Operación" }
    operated() { en: "Day of the operation", es: "Día de la operación" }
    surgeon() { en: "Surgeon", es: "Cirujano(a)" }
    strips(pieces: u8) { en: "Gauze strips put in: {pieces}", es: "Tiras de gasa puestas: {pieces}" }
    strip_length(cm: &str) { en: "All together: {cm} cm", es: "En total: {cm} cm" }
    strip_out() { en: "Strip reported out", es: "Tira reportada afuera" }
    plan_ended() { en: "Plan ended", es: "Fin del plan" }
    ended_healed() { en: "The skin has closed.", es: "La piel se cerró." }
    ended_transferred() { en: "Someone else looks after the wound now.", es: "Ahora otra persona cuida la herida." }
    ended_lost() { en: "We could not reach you any more.", es: "Ya no pudimos comunicarnos con usted." }

    plan() { en: "Your care plan, and what came of it", es: "Su plan de cuidado y qué pasó" }
    step() { en: "Step", es: "Paso" }
    when() { en: "When", es: "Cuándo" }
    became() { en: "What came of it", es: "Qué pasó" }
    from_to(from: &str, to: &str) { en: "{from} to {to}", es: "{from} a {to}" }
    done(when: &str) { en: "Done: {when}", es: "Hecho: {when}" }
    dropped(when: &str) { en: "Taken out of the plan: {when}", es: "Se quitó del plan: {when}" }
    still_open() { en: "Not reported yet", es: "Aún sin reporte" }
    goes_on() { en: "Each day", es: "Cada día" }
    changes() { en: "Changes of the plan", es: "Cambios del plan" }
    change_moved(was: &str, becomes: &str) { en: "Moved from {was} to {becomes}", es: "Se pasó de {was} a {becomes}" }
    change_done() { en: "Noted as done", es: "Se anotó como hecho" }
    change_paused(until: &str) { en: "Break until {until}", es: "Pausa hasta {until}" }
    change_resumed() { en: "The break is over", es: "Terminó la pausa" }
    change_wash_twice() { en: "Wash 2 times a day", es: "Lavar 2 veces al día" }
    change_wash_once() { en: "Wash once a day", es: "Lavar una vez al día" }
    change_visit(when: &str) { en: "Visit set: {when}", es: "Visita fijada: {when}" }
    change_ended() { en: "The plan has ended", es: "El plan terminó" }
    tries() { en: "Taking the strip out", es: "Sacar la tira" }
    try_began(when: &str) { en: "You began: {when}", es: "Empezó: {when}" }
    try_counted(pieces: u8) { en: "Pieces you counted: {pieces}", es: "Piezas que contó: {pieces}" }
    try_length(cm: u16) { en: "Length you measured: {cm} cm", es: "Largo que midió: {cm} cm" }

    checks() { en: "Your wound checks", es: "Sus revisiones" }
    no_checks() { en: "No wound check was sent.", es: "No se envió ninguna revisión." }
    check(day: i64, when: &str) { en: "Day {day}: {when}", es: "Día {day}: {when}" }
    receipt(code: &str) { en: "Number of this check: {code}", es: "Número de esta revisión: {code}" }
    question() { en: "Question", es: "Pregunta" }
    answer() { en: "Your answer", es: "Su respuesta" }
    danger() { en: "Danger signs", es: "Señales de peligro" }
    sent_again(when: &str) { en: "You sent more: {when}", es: "Envió más: {when}" }
    before_that(when: &str) { en: "What you had sent before: {when}", es: "Lo que envió antes: {when}" }
    no_photo() { en: "No photo came with this check.", es: "Esta revisión llegó sin foto." }
    photo(position: i64) { en: "Photo {position}", es: "Foto {position}" }
    photo_unreadable() { en: "This photo could not be read.", es: "Esta foto no se pudo leer." }
    photo_lost() { en: "This photo could not be put in the copy. Ask us for it.", es: "Esta foto no se pudo copiar. Pídanosla." }
    photo_open() { en: "The whole photo", es: "La foto completa" }

    measured_by_program() { en: "Measured by the program. It can be wrong.", es: "Medida por el programa. Puede fallar." }
    measured_by(name: &str) { en: "Drawn by hand: {name}", es: "Trazada a mano: {name}" }
    area(value: &str) { en: "Size of the wound: {value}", es: "Tamaño de la herida: {value}" }
    length_width(length: &str, width: &str) { en: "Length {length}, width {width}", es: "Largo {length}, ancho {width}" }
    redness(value: &str) { en: "Red skin past the edge: {value}", es: "Piel roja más allá del borde: {value}" }
    redness_unclear() { en: "How far the red skin goes can't be told from this photo.", es: "En esta foto no se ve hasta dónde llega lo rojo." }
    bed(red: &str, yellow: &str, dark: &str) { en: "Colors inside: red {red}, yellow {yellow}, dark {dark}", es: "Colores adentro: rojo {red}, amarillo {yellow}, oscuro {dark}" }
    depth(value: &str) { en: "Depth: {value}", es: "Hondo: {value}" }
    undermining(value: &str) { en: "Space under the skin: {value}", es: "Hueco bajo la piel: {value}" }
    ranges() { en: "The numbers in brackets say how far off it can be.", es: "Los números entre paréntesis dicen cuánto puede variar." }
    not_sure() { en: "The program is not sure of the edge. No number counts.", es: "El programa no ve claro el borde. Ningún número cuenta." }
    not_measured() { en: "This photo was not measured.", es: "Esta foto no se midió." }

    decided(name: &str, when: &str) { en: "What {name} said: {when}", es: "Lo que dijo {name}: {when}" }
    decision_healing() { en: "It heals as it should.", es: "Sana como debe." }
    decision_home_care() { en: "Change the care at home.", es: "Cambiar el cuidado en casa." }
    decision_antibiotic() { en: "Start or change an antibiotic.", es: "Empezar o cambiar un antibiótico." }
    decision_come_in() { en: "Come in to see us.", es: "Venir a vernos." }
    decision_call() { en: "The office calls you.", es: "La oficina le llama." }
    decision_emergency() { en: "Go to the emergency room now.", es: "Ir a emergencias ya." }
    decision_photo() { en: "Send another photo.", es: "Enviar otra foto." }
    come_in_at(when: &str) { en: "When to come: {when}", es: "Cuándo venir: {when}" }
    come_in_yes() { en: "You said: I will come.", es: "Usted dijo: voy a ir." }
    come_in_no() { en: "You said: I cannot come then.", es: "Usted dijo: no puedo a esa hora." }
    not_decided() { en: "No answer yet.", es: "Todavía no hay respuesta." }
    corrected(name: &str, when: &str) { en: "Corrected by {name}: {when}", es: "Corregido por {name}: {when}" }

    messages_heading() { en: "Messages", es: "Mensajes" }
    no_messages() { en: "There are no messages.", es: "No hay mensajes." }
    from_you() { en: "From you", es: "De usted" }
    from_practice() { en: "From the practice", es: "Del consultorio" }
    read_at(when: &str) { en: "You read it: {when}", es: "Lo leyó: {when}" }
    knocks() { en: "Words you left at a closed link", es: "Lo que dejó escrito en un enlace cerrado" }

    calls() { en: "Calls", es: "Llamadas" }
    no_calls() { en: "We made no calls.", es: "No hicimos llamadas." }
    call_to_you() { en: "We called you.", es: "Le llamamos." }
    call_to_helper() { en: "We called who helps you.", es: "Llamamos a quien le ayuda." }
    call_elsewhere() { en: "We called someone else about you.", es: "Llamamos a otra persona por usted." }
    call_no_answer() { en: "No answer.", es: "Nadie contestó." }
    call_message() { en: "We left a message.", es: "Dejamos un mensaje." }
    call_spoke() { en: "We spoke.", es: "Hablamos." }
    call_spoke_with(name: &str) { en: "On the phone: {name}", es: "En el teléfono: {name}" }
    call_why_missing() { en: "Something was due from you and did not come.", es: "Esperábamos algo de usted y no llegó." }
    call_told() { en: "What we told or asked you", es: "Lo que le dijimos o preguntamos" }
    outcome() { en: "How it ended", es: "Cómo terminó" }
    outcome_follows() { en: "You will do as you were told.", es: "Hará lo que se le dijo." }
    outcome_visit(when: &str) { en: "A visit was set: {when}", es: "Se fijó una visita: {when}" }
    outcome_emergency(place: &str) { en: "You went to the emergency room: {place}", es: "Fue a emergencias: {place}" }
    outcome_not_reached() { en: "We could not reach you.", es: "No pudimos comunicarnos." }

    antibiotics() { en: "Antibiotics", es: "Antibióticos" }
    doses(times: i64) { en: "{times} times a day", es: "{times} veces al día" }
    days(days: i64) { en: "For {days} days", es: "Por {days} días" }
    started(when: &str) { en: "From {when}", es: "Desde {when}" }
    stopped(when: &str) { en: "Stopped: {when}", es: "Se suspendió: {when}" }
    culture_sent() { en: "A test of the wound was sent to the lab.", es: "Se mandó una prueba de la herida al laboratorio." }
    end() { en: "End of the copy", es: "Fin de la copia" }
}
