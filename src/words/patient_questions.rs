//! The questions of the wound check: one title for each question id, hints, and when a question applies.

use crate::words::Language;
use crate::words::messages;

messages! {
    /// Titles are named by question id; `…_hint` stands under one, `…_only` says who should answer it.
    pub struct QuestionWords;

    last_time(answer: &str) { en: "Last time: {answer}", es: "La vez pasada: {answer}" }
    who() { en: "Who is filling this in?", es: "¿Quién llena esto?" }
    better() { en: "Since yesterday, how do you feel?", es: "Desde ayer, ¿cómo se siente?" }
    temp() { en: "What is your temperature?", es: "¿Qué temperatura tiene?" }
    temp_hint() { en: "In the mouth is best. 36.8 or 98.2, for example.", es: "En la boca es mejor. Por ejemplo 36.8 o 98.2." }
    temp_number() { en: "Temperature", es: "Temperatura" }
    temp_unit() { en: "Unit", es: "Unidad" }
    temp_again() { en: "Please measure once more. What is it now?", es: "Mida otra vez, por favor. ¿Cuánto marca ahora?" }
    feels_feverish() { en: "Do you feel as if you have a fever?", es: "¿Siente como si tuviera fiebre?" }
    feels_feverish_only() { en: "Only without a thermometer:", es: "Solo si no tiene termómetro:" }
    chills() { en: "Any chills in the last day?", es: "¿Escalofríos en el último día?" }
    fever_pill() { en: "Did you take a fever or pain pill in the last 6 hours?", es: "¿Tomó pastilla para fiebre o dolor en las últimas 6 horas?" }
    fever_pill_only() { en: "Only with fever, chills, or no thermometer:", es: "Solo con fiebre, escalofríos o sin termómetro:" }

    edge() { en: "How far does the red skin go from the edge of the wound?", es: "¿Hasta dónde llega la piel roja desde el borde de la herida?" }
    edge_hint() { en: "It can also be dark or shiny. Take the widest side.", es: "También puede ser oscura o brillante. Tome el lado más ancho." }
    edge_mm() { en: "Measured with a ruler? Millimeters (mm)", es: "¿La midió con regla? Milímetros (mm)" }
    edge_move() { en: "Since the last photo or the pen line, is that area bigger?", es: "Desde la última foto o la línea de bolígrafo, ¿esa zona creció?" }
    edge_hours() { en: "How far past the line did it grow, and how fast?", es: "¿Cuánto pasó de la línea, y en cuánto tiempo?" }
    edge_hours_only() { en: "Only if it got bigger:", es: "Solo si creció:" }
    edge_cm() { en: "Centimeters (1 inch is 2.5 cm)", es: "Centímetros (1 pulgada son 2.5 cm)" }
    edge_in_hours() { en: "In how many hours?", es: "¿En cuántas horas?" }
    warm_hard() { en: "Feel the skin beside the wound. Is it different from the other side?", es: "Toque la piel junto a la herida. ¿Es distinta al otro lado?" }
    warm_hard_hint() { en: "Use the back of your hand. Tap all that are true.", es: "Use el dorso de la mano. Toque todo lo que sea cierto." }
    warm_hard_trend() { en: "Is that area smaller, the same or bigger?", es: "¿Esa zona es más chica, igual o más grande?" }
    warm_hard_trend_only() { en: "Only if hot, hard or swollen:", es: "Solo si está caliente, dura o hinchada:" }
    streaks() { en: "Any red lines that run away from the wound?", es: "¿Hay líneas rojas que salen de la herida?" }
    streaks_only() { en: "Only if red, hot or hard:", es: "Solo si está roja, caliente o dura:" }

    pain() { en: "Pain right now while you rest?", es: "¿Dolor ahora en reposo?" }
    pain_hint() { en: "0 is no pain. 10 is the worst pain.", es: "0 es sin dolor. 10 es el peor dolor." }
    pain_trend() { en: "Is the pain better or worse than yesterday?", es: "¿El dolor es mejor o peor que ayer?" }
    pain_just_packed() { en: "Did you wash it or pull the strip in the last hour?", es: "¿La lavó o sacó la tira en la última hora?" }
    pain_just_packed_only() { en: "Only if the pain is 7 or more:", es: "Solo si el dolor es 7 o más:" }

    drain() { en: "What comes out after you wash it?", es: "¿Qué sale después de lavarla?" }
    drain_amount() { en: "How much, next to yesterday?", es: "¿Cuánto, comparado con ayer?" }
    drain_amount_only() { en: "Only if something comes out:", es: "Solo si sale algo:" }
    smell() { en: "Does it smell bad?", es: "¿Huele mal?" }
    bleed() { en: "Does the wound bleed?", es: "¿Sangra la herida?" }
    bleed_repeat() { en: "Did it bleed 2 times or more since yesterday?", es: "¿Sangró 2 veces o más desde ayer?" }
    bleed_repeat_only() { en: "Only if it bled:", es: "Solo si sangró:" }

    strip() { en: "Is the gauze strip out of the wound?", es: "¿Ya salió la tira de gasa de la herida?" }
    strip_one() { en: "1 strip went in.", es: "Entró 1 tira." }
    strip_many(pieces: u8) { en: "{pieces} strips went in.", es: "Entraron {pieces} tiras." }
    wash() { en: "How many times did you rinse the wound yesterday?", es: "¿Cuántas veces lavó la herida ayer?" }
    gauze_changed() { en: "Did you change the gauze?", es: "¿Cambió la gasa?" }
    lump_back() { en: "Is a lump filling up again?", es: "¿Se está llenando otra bolita?" }
    lump_back_only() { en: "Only if hot, hard, more pain or more fluid:", es: "Solo si está caliente, dura, duele más o sale más:" }
    closed_over() { en: "Did the skin close on top while it still hurts or drains?", es: "¿La piel se cerró arriba y todavía duele o sale líquido?" }
    closed_over_only() { en: "Only if hot, hard, more pain or more fluid:", es: "Solo si está caliente, dura, duele más o sale más:" }

    sugar() { en: "What was your last sugar reading?", es: "¿Cuál fue su último nivel de azúcar?" }
    sugar_number() { en: "Reading", es: "Nivel" }
    sugar_unit() { en: "Unit on the meter", es: "Unidad del medidor" }
    sugar_unit_checked() { en: "Which unit does your meter show? Look once more.", es: "¿Qué unidad muestra su medidor? Mire otra vez." }
    sugar_hours() { en: "How many hours ago?", es: "¿Hace cuántas horas?" }
    sugar_sick() { en: "Any of these?", es: "¿Algo de esto?" }
    sugar_sick_only() { en: "Only if your sugar is high, or you feel worse:", es: "Solo si el azúcar está alto, o se siente peor:" }
    ketones() { en: "Did you do a ketone test?", es: "¿Se hizo prueba de cetonas?" }
    ketones_only() { en: "Only if your sugar is high, or you feel worse:", es: "Solo si el azúcar está alto, o se siente peor:" }
    ketones_blood() { en: "Blood test (mmol/L)", es: "En sangre (mmol/L)" }
    ketones_urine() { en: "Urine strip", es: "Tira de orina" }

    pills_missed() { en: "How many doses of the antibiotic did you miss since your last check?", es: "¿Cuántas dosis del antibiótico se le olvidaron desde su última revisión?" }
    pills_missed_number() { en: "Doses missed", es: "Dosis olvidadas" }
    pills_vomited() { en: "How many doses did you throw up?", es: "¿Cuántas dosis vomitó?" }
    pills_vomited_number() { en: "Doses thrown up", es: "Dosis vomitadas" }
    rash() { en: "Do you have a new rash?", es: "¿Tiene un sarpullido nuevo?" }
    loose_stools() { en: "How many loose stools (runny poop) in one day?", es: "¿Cuántas evacuaciones sueltas (popó aguada) en un día?" }
    loose_stools_number() { en: "Loose stools", es: "Evacuaciones sueltas" }
    stool_blood() { en: "Is there blood in the stool?", es: "¿Hay sangre en la popó?" }
    stool_blood_only() { en: "Only with loose stools:", es: "Solo si tiene evacuaciones sueltas:" }

    pee() { en: "How many hours ago did you last pee?", es: "¿Hace cuántas horas orinó?" }
    pee_hint() { en: "0 means less than an hour.", es: "0 es menos de una hora." }
    pee_number() { en: "Hours", es: "Horas" }
    pee_signs() { en: "Any of these right now?", es: "¿Le pasa algo de esto ahora?" }
    finger() { en: "Is the finger stuck bent and fat all around, and does straightening it hurt?", es: "¿El dedo está doblado, hinchado todo alrededor, y duele al estirarlo?" }
    finger_hint() { en: "Only some of it is true? Tap “Not sure”.", es: "¿Solo una parte es cierta? Toque “No estoy seguro(a)”." }

    pulse() { en: "Heart beats in one minute?", es: "¿Latidos del corazón en un minuto?" }
    pulse_number() { en: "Pulse", es: "Pulso" }
    breaths() { en: "Breaths in one minute?", es: "¿Respiraciones en un minuto?" }
    breaths_number() { en: "Breaths", es: "Respiraciones" }
    pressure() { en: "Blood pressure, the top number?", es: "¿Presión, el número de arriba?" }
    pressure_number() { en: "Top number", es: "Número de arriba" }

    phone() { en: "Best phone number for the next 2 hours?", es: "¿Mejor teléfono para las próximas 2 horas?" }
    phone_hint() { en: "Leave it empty, and we call the number we have.", es: "Si lo deja vacío, llamamos al número que tenemos." }
    phone_number() { en: "Phone number", es: "Número de teléfono" }
    voicemail() { en: "May we leave a voice message there?", es: "¿Podemos dejar un mensaje de voz ahí?" }

    words() { en: "Anything else you want the surgeon to know?", es: "¿Algo más que quiera decirle al cirujano?" }
    words_hint() { en: "Up to 1000 letters. You can leave it empty.", es: "Hasta 1000 letras. Puede dejarlo vacío." }

    part_feel() { en: "How you feel", es: "Cómo se siente" }
    part_skin() { en: "The skin around it", es: "La piel de alrededor" }
    part_pain() { en: "Pain", es: "Dolor" }
    part_fluid() { en: "What comes out", es: "Lo que sale" }
    part_care() { en: "Washing and gauze", es: "Lavado y gasa" }
    part_sugar() { en: "Your sugar", es: "Su azúcar" }
    part_pills() { en: "Your antibiotic", es: "Su antibiótico" }
    part_site() { en: "Near the wound", es: "Cerca de la herida" }
    part_body() { en: "If you can measure it", es: "Si lo puede medir" }
    part_body_hint() { en: "You can skip this. Sit still for 5 minutes first.", es: "Puede saltarse esto. Primero siéntese quieto(a) 5 minutos." }
    part_words() { en: "In your own words", es: "Con sus palabras" }
}

/// The sentence of a set that has this name; `None` when there is none.
pub fn named(
    all: &'static [(&'static str, &'static str, &'static str)],
    name: &str,
    language: Language,
) -> Option<&'static str> {
    let (_, english, spanish) = all.iter().find(|(line, _, _)| *line == name)?;
    Some(match language {
        Language::English => english,
        Language::Spanish => spanish,
    })
}
