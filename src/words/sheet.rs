//! What the printed discharge sheet says, in plain English and Spanish.
//!
//! Sentences have at most 15 words and a reading grade of at most 6 (a test counts). The Spanish is a draft until a
//! qualified human translator has read it.

use crate::words::messages;

messages! {
    /// The sentences of the discharge sheet. `emergency` is the local emergency number, `phone` the practice's.
    pub struct SheetWords;

    title() { en: "Caring for your open wound at home", es: "Cómo cuidar su herida abierta en casa" }
    file_title() { en: "Wound care sheet", es: "Hoja de cuidado de la herida" }
    sheet_for(patient: &str) { en: "For {patient}", es: "Para {patient}" }
    wound_line(wound: &str, procedure: &str) { en: "Wound: {wound}, {procedure}", es: "Herida: {wound}, {procedure}" }
    surgeon_line(surgeon: &str, operated: &str) { en: "Surgeon: {surgeon}, {operated}", es: "Cirujano(a): {surgeon}, {operated}" }

    danger_heading(emergency: &str) { en: "Call {emergency} now if:", es: "Llame ya al {emergency} si:" }
    danger_spurting() { en: "Blood spurts or pours out of the wound.", es: "La sangre sale a chorros de la herida." }
    danger_ten_minutes() { en: "It still bleeds after you press hard for 10 minutes.", es: "Todavía sangra después de apretar fuerte 10 minutos." }
    danger_mind() { en: "You faint, feel confused, or are very hard to wake.", es: "Se desmaya, está confundido(a) o cuesta mucho despertarle." }
    danger_breath() { en: "You must stop for breath in a sentence, or your chest hurts.", es: "Tiene que parar a respirar al hablar, o le duele el pecho." }
    danger_swelling() { en: "Your face, lips, tongue or throat swells.", es: "Se le hincha la cara, los labios, la lengua o la garganta." }
    danger_skin() { en: "Skin near the wound is black, purple or gray, or has dark blisters.", es: "La piel cercana está negra, morada o gris, o tiene ampollas oscuras." }
    danger_crackle() { en: "The skin crackles when you touch it.", es: "La piel cruje al tocarla." }
    danger_pain() { en: "Pain grows each hour, far beyond how the wound looks, in spite of pills.", es: "El dolor crece cada hora, mucho más que la herida, aunque tome pastillas." }
    danger_numb() { en: "You are numb between your legs.", es: "Siente adormecida la zona entre las piernas." }
    danger_private_parts() { en: "Your private parts swell up fast.", es: "Las partes íntimas se hinchan rápido." }
    danger_eye() { en: "An eye is swollen shut, or you see double.", es: "Un ojo está cerrado por la hinchazón, o ve doble." }
    danger_throat() { en: "Your neck is stiff, or you can't swallow your spit.", es: "Tiene el cuello rígido, o no puede tragar saliva." }
    danger_do_not_wait() { en: "Do not wait for our answer.", es: "No espere nuestra respuesta." }
    danger_do_not_drive() { en: "Do not drive if you feel faint or bleed.", es: "No maneje si se siente débil o sangra." }
    danger_press() { en: "Bleeding? Press hard with a clean cloth and do not peek.", es: "¿Sangra? Apriete fuerte con un paño limpio y no mire." }
    danger_sugar() { en: "Diabetes and sugar under 70 mg/dL (3.9 mmol/L)? If you can swallow, take sugar now.", es: "¿Diabetes y azúcar menos de 70 mg/dL (3.9 mmol/L)? Si puede tragar, tome azúcar ya." }

    nobody_heading() { en: "Nobody watches your messages all the time", es: "Nadie vigila sus mensajes todo el tiempo" }
    nobody_reader(practice: &str) { en: "The team at {practice} reads them.", es: "Los lee el equipo de {practice}." }
    nobody_program() { en: "A program helps to sort them.", es: "Un programa ayuda a ordenarlos." }
    nobody_person() { en: "A person writes or checks each answer about your wound.", es: "Una persona escribe o revisa cada respuesta sobre su herida." }
    nobody_answer_time() { en: "After you send, the page shows when to expect our answer.", es: "Después de enviar, la página muestra cuándo esperar la respuesta." }
    nobody_cannot_wait(phone: &str) { en: "Can't wait? Call {phone}.", es: "¿No puede esperar? Llame al {phone}." }

    help_heading(phone: &str) { en: "Call us right away: {phone}", es: "Llámenos de inmediato: {phone}" }
    help_redness() { en: "The red area grows or goes past the pen line.", es: "La zona roja crece o pasa la línea de bolígrafo." }
    help_hard_to_see() { en: "Redness is hard to see on some skin. Feel for hot, hard or swollen skin.", es: "En algunas pieles el rojo se ve poco. Toque: ¿está caliente, dura o hinchada?" }
    help_fever() { en: "Fever of 38.0 °C (100.4 °F) or more, or you shake with chills.", es: "Fiebre de 38.0 °C (100.4 °F) o más, o escalofríos con temblor." }
    help_pain() { en: "Pain gets worse from day to day.", es: "El dolor empeora de un día a otro." }
    help_bleeding() { en: "Blood soaks a gauze pad within one hour.", es: "La sangre empapa una gasa en una hora." }
    help_drain() { en: "Gray or bad-smelling fluid, or red lines on the skin.", es: "Líquido gris o con mal olor, o líneas rojas en la piel." }
    help_strip() { en: "The strip is stuck, torn, or only part came out.", es: "La tira está atorada, rota, o salió solo una parte." }
    help_pills() { en: "You throw up your pills, or get a rash from them.", es: "Vomita las pastillas, o le dan sarpullido." }
    help_no_answer() { en: "No answer in one hour? If you feel ill or worse, go to the emergency room.", es: "¿Sin respuesta en una hora? Si se siente mal o peor, vaya a emergencias." }

    send_heading() { en: "Send us a photo and answers", es: "Envíenos una foto y respuestas" }
    send_scan() { en: "Scan this code with your phone camera.", es: "Escanee este código con la cámara del teléfono." }
    send_or_type() { en: "Or open this page in your browser:", es: "O abra esta página en su navegador:" }
    send_code() { en: "and type this code:", es: "y escriba este código:" }
    send_photo_optional() { en: "No photo? Send your answers without it.", es: "¿Sin foto? Envíe sus respuestas sin ella." }
    pin_heading() { en: "PIN", es: "PIN" }
    pin_needed() { en: "You need it to read our answers. You do not need it to send.", es: "Lo necesita para leer las respuestas. No lo necesita para enviar." }
    link_for(name: &str) { en: "This code is for: {name}", es: "Este código es para: {name}" }
    link_private() { en: "Keep this sheet where others can't read it.", es: "Guarde esta hoja donde otros no la lean." }
    link_until(day: &str) { en: "Works until {day}.", es: "Sirve hasta el {day}." }
    notes_heading() { en: "Your notes", es: "Sus notas" }
    notes_hint() { en: "Fever, pain, what you want to ask", es: "Fiebre, dolor, lo que quiere preguntar" }

    plan_heading() { en: "Your plan", es: "Su plan" }
    strip_out_label() { en: "Strip out", es: "Sacar la tira" }
    strip_out_when(when: &str) { en: "About {when}.", es: "El {when}, más o menos." }
    strip_one() { en: "You have 1 strip in the wound.", es: "Tiene 1 tira en la herida." }
    strip_many(pieces: u8) { en: "You have {pieces} strips in the wound.", es: "Tiene {pieces} tiras en la herida." }
    strip_length(cm: i64, inches: i64) { en: "All together: about {cm} cm ({inches} in).", es: "En total: unos {cm} cm ({inches} pulgadas)." }
    strip_pill() { en: "Take your pain pill 30 to 45 minutes before.", es: "Tome su pastilla para el dolor 30 a 45 minutos antes." }
    strip_soak() { en: "Soak the strip in the shower for 20 to 30 minutes.", es: "Moje la tira en la ducha por 20 a 30 minutos." }
    strip_pull() { en: "Pull it out in one slow, steady pull.", es: "Sáquela de un solo tirón lento y parejo." }
    strip_blood() { en: "A little blood is normal. Press with clean gauze until it stops.", es: "Un poco de sangre es normal. Apriete con gasa limpia hasta que pare." }
    strip_all_out() { en: "Check that all of it is out.", es: "Revise que salió toda." }
    wash_label() { en: "Wash", es: "Lavar" }
    wash_twice(from: &str, to: &str) { en: "Twice a day: {from} to {to}.", es: "Dos veces al día: del {from} al {to}." }
    wash_once(from: &str) { en: "Once a day: from {from} until the skin has closed.", es: "Una vez al día: desde el {from} hasta que cierre la piel." }
    wash_how() { en: "Rinse in the shower for 5 minutes. Then put on clean gauze.", es: "Enjuague en la ducha por 5 minutos. Luego ponga gasa limpia." }
    photo_label() { en: "Photos", es: "Fotos" }
    photo_when() { en: "Send a photo and answers on these days. Tick each one off.", es: "Envíe foto y respuestas estos días. Marque cada uno." }
    end_label() { en: "Still open?", es: "¿Sigue abierta?" }
    end_when(day: &str) { en: "Wound still open on {day}? Call us for a visit.", es: "¿La herida sigue abierta el {day}? Llámenos para una cita." }
    surgeon_first() { en: "Did your surgeon tell you something else? Then do that.", es: "¿Su cirujano(a) le dijo otra cosa? Entonces haga eso." }

    take_heading() { en: "How to take the photo", es: "Cómo tomar la foto" }
    take_wash() { en: "Wash your hands and the wound. Dry the skin around it.", es: "Lávese las manos y la herida. Seque la piel de alrededor." }
    take_light() { en: "Use good light: a window or a bright lamp. No shadow, no flash.", es: "Busque buena luz: ventana o lámpara fuerte. Sin sombra y sin flash." }
    take_card() { en: "Lay the card flat beside the wound. It must not touch the wound.", es: "Ponga la tarjeta plana junto a la herida. No debe tocar la herida." }
    take_above() { en: "Hold the phone straight above, about 30 cm (12 in) away.", es: "Sostenga el teléfono justo arriba, a unos 30 cm (12 pulgadas)." }
    take_frame() { en: "Get the whole wound and the whole card in the picture.", es: "Que salgan toda la herida y toda la tarjeta." }
    take_picture() { en: "Like this", es: "Así" }
    take_no_card() { en: "No card? Send the photo without it.", es: "¿No tiene tarjeta? Envíe la foto sin ella." }

    card_heading() { en: "Your scale card", es: "Su tarjeta de escala" }
    card_cut() { en: "Cut along the dashed line.", es: "Corte por la línea punteada." }
    card_clean() { en: "Keep it dry, flat and clean. Dirty? Ask us for a new one.", es: "Guárdela seca, plana y limpia. ¿Se ensució? Pídanos otra." }
    ruler_measure() { en: "Measure this line.", es: "Mida esta línea." }
    ruler_again() { en: "If it is not 100 mm, print again at 100 % / actual size.", es: "Si no mide 100 mm, imprima otra vez al 100 % / tamaño real." }

    footer(printed: &str) { en: "Printed {printed}", es: "Impreso el {printed}" }
    page(number: usize, of: usize) { en: "Page {number} of {of}", es: "Página {number} de {of}" }
}
