//! What the pages say that lead through taking the strip out, part by part. They never say that all is well.

use crate::words::messages;

messages! {
    /// Taking the strip out. Minutes come from the practice's plan text.
    pub struct StripWords;

    title() { en: "Take the gauze strip out", es: "Sacar la tira de gasa" }
    part(part: usize, of: usize) { en: "Step {part} of {of}", es: "Paso {part} de {of}" }
    too_early(when: &str) { en: "It is early. Leave it in until: {when}", es: "Es temprano. Déjela adentro hasta: {when}" }
    goes_on(when: &str) { en: "Go on. You began: {when}", es: "Siga. Empezó: {when}" }
    begin() { en: "Take it out, step by step", es: "Sacarla, paso a paso" }

    pill_title() { en: "Take your pain pill", es: "Tome su pastilla para el dolor" }
    pill_when(least: u16, most: u16) { en: "Take it {least} to {most} minutes before you start.", es: "Tómela {least} a {most} minutos antes de empezar." }
    pill_need() { en: "Get ready: clean gauze, a towel, and this phone near you.", es: "Prepare: gasa limpia, una toalla y este teléfono cerca." }
    pill_helper() { en: "Is someone there to help? Good. Ask them to stay close.", es: "¿Hay alguien que ayude? Bien. Pídale que esté cerca." }
    pill_took() { en: "I took the pill", es: "Ya tomé la pastilla" }
    pill_none() { en: "I have no pill. Go on", es: "No tengo pastilla. Seguir" }

    wait_title() { en: "Wait for the pill to work", es: "Espere a que haga efecto" }
    wait_how() { en: "Sit down. Do not drive.", es: "Siéntese. No maneje." }
    not_before(when: &str) { en: "Not before: {when}", es: "No antes de: {when}" }
    best_by(when: &str) { en: "Best by: {when}", es: "Mejor antes de: {when}" }
    wait_next() { en: "I am in the shower. Soak now", es: "Estoy en la ducha. Remojar ya" }

    soak_title() { en: "Soak the strip", es: "Remoje la tira" }
    soak_how(least: u16, most: u16) { en: "Let warm water run over it for {least} to {most} minutes.", es: "Deje correr agua tibia por encima {least} a {most} minutos." }
    soak_faint() { en: "Feel faint? Sit down in the shower and call someone.", es: "¿Se marea? Siéntese en la ducha y llame a alguien." }
    soak_next() { en: "It is soft. Pull it now", es: "Ya está blanda. Jalarla ya" }

    pull_title() { en: "Pull it out", es: "Jálela" }
    pull_how() { en: "Stay in the shower. One slow, steady pull.", es: "Siga en la ducha. Un solo tirón lento y parejo." }
    pull_hurts() { en: "It can hurt for 3 to 4 minutes. A little blood is normal.", es: "Puede doler 3 a 4 minutos. Un poco de sangre es normal." }
    pull_never() { en: "Do not cut it. Do not dig in the wound.", es: "No la corte. No escarbe en la herida." }
    pull_next() { en: "It came out. Go on", es: "Salió. Seguir" }

    press_title() { en: "Press if it bleeds", es: "Apriete si sangra" }
    press_how(minutes: u16) { en: "Press hard with clean gauze for {minutes} minutes. Do not peek.", es: "Apriete fuerte con gasa limpia {minutes} minutos. No mire." }
    press_start(minutes: u16) { en: "It bleeds. Start {minutes} minutes", es: "Sangra. Empezar {minutes} minutos" }
    press_again(minutes: u16) { en: "Start {minutes} minutes again", es: "Empezar otra vez {minutes} minutos" }
    press_still(minutes: u16, emergency: &str) { en: "Pressed {minutes} minutes and it still bleeds? Call {emergency} now.", es: "¿Apretó {minutes} minutos y aún sangra? Llame ya al {emergency}." }
    press_next() { en: "It does not bleed now. Count", es: "Ya no sangra. Contar" }

    count_title() { en: "Count what came out", es: "Cuente lo que salió" }
    count_put_in_one() { en: "1 strip went in.", es: "Entró 1 tira." }
    count_put_in_many(pieces: u8) { en: "{pieces} strips went in.", es: "Entraron {pieces} tiras." }
    count_put_in_length(cm: i64, inches: i64) { en: "All together about {cm} cm ({inches} in) long.", es: "En total unos {cm} cm ({inches} pulgadas) de largo." }
    count_lay() { en: "Lay it flat. Count the pieces and look at both ends.", es: "Póngala plana. Cuente las piezas y mire las dos puntas." }
    count_pieces() { en: "How many pieces came out?", es: "¿Cuántas piezas salieron?" }
    count_pieces_missing() { en: "Type how many pieces came out: a number from 1 to 20.", es: "Escriba cuántas piezas salieron: un número de 1 a 20." }
    count_length() { en: "How long, all together? You can leave this empty.", es: "¿Qué largo, en total? Puede dejarlo vacío." }
    count_length_wrong() { en: "Type the length as a number, or leave it empty.", es: "Escriba el largo como número, o déjelo vacío." }
    count_unit() { en: "Unit", es: "Unidad" }
    unit_in() { en: "inches", es: "pulgadas" }
    unit_cm() { en: "centimeters", es: "centímetros" }
    count_all_out() { en: "All of it is out", es: "Salió toda" }
    back() { en: "One step back", es: "Un paso atrás" }

    help_title() { en: "It does not go well?", es: "¿No va bien?" }
    help_stuck() { en: "Help, it is stuck", es: "Ayuda, está atorada" }
    help_part() { en: "Only part of it is out", es: "Salió solo una parte" }
    help_what() { en: "We tell the practice at once. Then you can call.", es: "Avisamos al consultorio enseguida. Luego puede llamar." }

    told_stuck(when: &str) { en: "You told us it is stuck: {when}", es: "Nos dijo que está atorada: {when}" }
    told_part(when: &str) { en: "You told us part is out: {when}", es: "Nos dijo que salió una parte: {when}" }
    told_unsure(when: &str) { en: "Your count was not what went in: {when}", es: "Su cuenta no fue lo que entró: {when}" }
    told_out(when: &str) { en: "You told us all of it is out: {when}", es: "Nos dijo que salió toda: {when}" }
    told_kept() { en: "We keep this with your wound check.", es: "Lo guardamos con su revisión." }
    reported_out(when: &str) { en: "The strip was reported out: {when}", es: "Se informó que la tira salió: {when}" }
    sent_to_us() { en: "The practice has it. Call now if you can.", es: "El consultorio ya lo tiene. Llame ahora si puede." }
    stop_pulling() { en: "Stop pulling for now. Keep what is out on clean gauze.", es: "Por ahora no jale más. Ponga lo que salió en gasa limpia." }
    answer_more() { en: "Answer the questions and add a photo", es: "Contestar las preguntas y poner una foto" }
    see_when() { en: "When an answer comes", es: "Cuándo llega la respuesta" }
    try_again() { en: "Soaked longer? Try again", es: "¿La remojó más? Intente otra vez" }
    out_wash() { en: "Now rinse the wound. Then put on clean gauze.", es: "Ahora enjuague la herida. Luego ponga gasa limpia." }
    out_check() { en: "Send a wound check", es: "Enviar una revisión" }
    out_more() { en: "Did more come out later? Are you not sure? Tell us.", es: "¿Salió más después? ¿No está seguro(a)? Díganos." }

    left() { en: "left", es: "faltan" }
    time_is_up() { en: "The time is up. Go to the next step.", es: "Ya es hora. Siga con el próximo paso." }
}
