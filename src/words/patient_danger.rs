//! The danger screen: what it asks, and what to do at once for each item. Shown before anything is sent.
//!
//! First aid here is common teaching (press without a peek for 10 minutes; call, do not drive); no single source.

use crate::words::messages;

messages! {
    /// The danger screen. `emergency` is the local emergency number.
    pub struct DangerWords;

    title() { en: "Do you have any of these right now?", es: "¿Le pasa algo de esto ahora mismo?" }
    hint() { en: "Tap all that are true.", es: "Toque todo lo que sea cierto." }
    none() { en: "None of these", es: "Nada de esto" }
    not_sure() { en: "Not sure", es: "No estoy seguro(a)" }

    bleed() { en: "Blood spurts or pours. Or it still bleeds after you press hard for 10 minutes.", es: "La sangre sale a chorros. O todavía sangra después de apretar fuerte 10 minutos." }
    mind() { en: "You fainted, feel confused, or are very hard to wake.", es: "Se desmayó, está confundido(a) o es muy difícil despertarle." }
    breath() { en: "You must stop for breath in a sentence, or you have chest pain.", es: "Tiene que parar a respirar al hablar, o le duele el pecho." }
    swell() { en: "Your face, lips, tongue or throat is swelling.", es: "Se le hincha la cara, los labios, la lengua o la garganta." }
    skin() { en: "Skin near the wound is black, purple or gray. Or it has dark blisters, or crackles.", es: "La piel cerca de la herida está negra, morada o gris. O tiene ampollas oscuras, o cruje." }
    pain() { en: "All three: pain grows each hour, far beyond how the wound looks, and pills don't help.", es: "Las tres cosas: el dolor crece cada hora, mucho más que la herida, y las pastillas no ayudan." }
    low() { en: "You are numb between your legs. Or your private parts swell up fast.", es: "Siente adormecida la zona entre las piernas. O las partes íntimas se hinchan rápido." }
    face() { en: "An eye is swollen shut, you see double, or your neck is stiff. Or you can't swallow spit.", es: "Un ojo cerrado por la hinchazón, ve doble o cuello rígido. O no puede tragar saliva." }

    bleed_do() { en: "Press hard with a clean cloth. Do not peek. Lie down. Do not drive.", es: "Apriete fuerte con un paño limpio. No mire. Acuéstese. No maneje." }
    mind_do() { en: "Do not stay alone. Do not drive. Someone else should call.", es: "No se quede solo(a). No maneje. Que llame otra persona." }
    breath_do() { en: "Sit up. Do not walk around. Do not drive.", es: "Siéntese derecho(a). No camine. No maneje." }
    swell_do() { en: "Stop any new pill. Sit up. Do not drive.", es: "No tome más la pastilla nueva. Siéntese derecho(a). No maneje." }
    skin_do() { en: "This can't wait for a photo. Go to the emergency room. Do not drive alone.", es: "Esto no puede esperar una foto. Vaya ya a emergencias. No maneje solo(a)." }
    pain_do() { en: "This can't wait for our answer. Go to the emergency room. Do not drive yourself.", es: "Esto no puede esperar nuestra respuesta. Vaya ya a emergencias. No maneje usted." }
    low_do() { en: "This can't wait for our answer. Go to the emergency room. Do not drive yourself.", es: "Esto no puede esperar nuestra respuesta. Vaya ya a emergencias. No maneje usted." }
    face_do() { en: "Sit up. Do not eat or drink. Do not drive.", es: "Siéntese derecho(a). No coma ni beba. No maneje." }

    bleed_tell() { en: "My wound bleeds and does not stop.", es: "Mi herida sangra y no para." }
    mind_tell() { en: "I fainted or I am confused.", es: "Me desmayé o estoy confundido(a)." }
    breath_tell() { en: "It is hard to breathe, or my chest hurts.", es: "Me cuesta respirar o me duele el pecho." }
    swell_tell() { en: "My face or throat is swelling.", es: "Se me hincha la cara o la garganta." }
    skin_tell() { en: "The skin by the wound is turning dark.", es: "La piel junto a la herida se pone oscura." }
    pain_tell() { en: "The pain grows fast and pills do not help.", es: "El dolor crece rápido y las pastillas no ayudan." }
    low_tell() { en: "It is numb between my legs, or it swells fast.", es: "Está dormida la zona entre las piernas, o se hincha rápido." }
    face_tell() { en: "I can't see or swallow well.", es: "No veo o no trago bien." }
    tell_today(place: &str) { en: "I had an operation today. I have an open wound ({place}).", es: "Me operaron hoy. Tengo una herida abierta ({place})." }
    tell_yesterday(place: &str) { en: "I had an operation yesterday. I have an open wound ({place}).", es: "Me operaron ayer. Tengo una herida abierta ({place})." }
    tell_days(days: i64, place: &str) { en: "I had an operation {days} days ago. I have an open wound ({place}).", es: "Me operaron hace {days} días. Tengo una herida abierta ({place})." }
    tell_label() { en: "Tell them:", es: "Dígales:" }

    now_heading(emergency: &str) { en: "Call {emergency} now", es: "Llame ya al {emergency}" }
    now_do_not_wait() { en: "Do not wait for our answer.", es: "No espere nuestra respuesta." }
    now_or_emergency_room() { en: "Or have someone take you to the nearest emergency room.", es: "O que alguien le lleve a emergencias." }
    now_send() { en: "Send what I ticked", es: "Enviar lo que marqué" }
    now_send_hint() { en: "Call first. Then tell us with one tap, if you can.", es: "Llame primero. Luego avísenos con un toque, si puede." }
    now_telling() { en: "Telling the practice …", es: "Avisando al consultorio …" }
    now_told() { en: "The practice has this. Still call now.", es: "El consultorio ya lo tiene. Igual llame ya." }
    now_not_told() { en: "The practice does NOT have this yet. Call now.", es: "El consultorio aún NO lo tiene. Llame ya." }

    sugar_low() { en: "Sugar under 70 mg/dL (3.9 mmol/L)? Can you swallow? Take sugar or juice now.", es: "¿Azúcar menos de 70 mg/dL (3.9 mmol/L)? ¿Puede tragar? Tome azúcar o jugo ya." }
    sugar_very_low() { en: "Sugar under 54 mg/dL (3.0 mmol/L) is very low. Can you swallow? Take sugar or juice right now.", es: "Azúcar menos de 54 mg/dL (3.0 mmol/L) es muy bajo. ¿Puede tragar? Tome azúcar o jugo ahora mismo." }
    sugar_very_low_again(emergency: &str) { en: "Do not stay alone. Do not drive. Very sleepy, or not better in 15 minutes? Call {emergency}.", es: "No se quede solo(a). No maneje. ¿Mucho sueño, o no mejora en 15 minutos? Llame al {emergency}." }
    sugar_unclear() { en: "Look at the meter. Does it show mg/dL? Then this is very low: take sugar or juice now.", es: "Mire el medidor. ¿Muestra mg/dL? Entonces está muy bajo: tome azúcar o jugo ya." }
    sugar_unclear_again(emergency: &str) { en: "Does it show mmol/L? Then choose that unit. Can't swallow? Call {emergency}.", es: "¿Muestra mmol/L? Entonces elija esa unidad. ¿No puede tragar? Llame al {emergency}." }
    sugar_low_again(emergency: &str) { en: "Check again in 15 minutes. Can't swallow? Call {emergency}.", es: "Mida otra vez en 15 minutos. ¿No puede tragar? Llame al {emergency}." }
}
