//! What whoever rings says, in the patient's language: first who they speak with, then why, then what to do meanwhile.
//! And the letter, when nobody could be reached. Nothing here says how the wound is.
//!
//! The Spanish is a draft until a qualified human translator has read it.

use crate::words::messages;

messages! {
    /// The call, sentence by sentence.
    pub struct ScriptWords;

    open(caller: &str, practice: &str) { en: "Hello. This is {caller} from {practice}.", es: "Hola. Le habla {caller} de {practice}." }
    who(patient: &str) { en: "May I speak with {patient}?", es: "¿Puedo hablar con {patient}?" }
    /// Before anything is said about the wound.
    born() { en: "To be sure it is you: what is your date of birth?", es: "Para estar seguros: ¿cuál es su fecha de nacimiento?" }
    interpreter() { en: "Do you want an interpreter? It costs you nothing.", es: "¿Quiere un intérprete? No le cuesta nada." }
    /// To whoever else answers: neither why nor what.
    others(phone: &str) { en: "It is nothing I can tell others. Please ask them to call {phone}.", es: "No lo puedo decir a otros. Pídale que llame al {phone}." }
    voicemail(practice: &str, phone: &str) { en: "This is {practice}. Please call us at {phone}.", es: "Le habla {practice}. Por favor llámenos al {phone}." }

    why_check() { en: "We have not had your wound check. How are you?", es: "No hemos recibido su revisión. ¿Cómo está?" }
    why_strip() { en: "The gauze strip should be out by now. Is all of it out?", es: "La tira de gasa ya debe estar afuera. ¿Salió toda?" }
    why_come_in(when: &str) { en: "We asked you to come in: {when}. Can you come?", es: "Le pedimos venir: {when}. ¿Puede venir?" }
    why_visit(when: &str) { en: "We missed you at your visit: {when}. Are you all right?", es: "No vino a su cita: {when}. ¿Está bien?" }
    why_reply() { en: "The surgeon wrote to you. May I read it to you now?", es: "El cirujano(a) le escribió. ¿Se lo leo ahora?" }
    why_arrival() { en: "You were on your way to the hospital. Did you get there?", es: "Usted iba al hospital. ¿Ya llegó?" }
    why_culture() { en: "We wait for the result of your wound swab.", es: "Esperamos el resultado de su muestra." }
    why_decision() { en: "The surgeon looked at your wound check and asked me to call.", es: "El cirujano(a) vio su revisión y me pidió llamarle." }

    ask_worse() { en: "Is the red part growing? Does it hurt more?", es: "¿Crece la parte roja? ¿Le duele más?" }
    ask_fever() { en: "Do you have a fever, or do you shake with cold?", es: "¿Tiene fiebre o tiembla de frío?" }
    ask_bleed() { en: "Does it bleed and not stop?", es: "¿Sangra y no para?" }
    ask_ill() { en: "Do you feel very ill, weak or confused?", es: "¿Se siente muy mal, débil o confundido(a)?" }
    /// Said at once when one of the questions was answered with yes.
    if_yes(emergency: &str) { en: "Then do not wait. Call {emergency}, or I do it with you.", es: "Entonces no espere. Llame al {emergency}, o lo hago con usted." }

    will_you() { en: "Can you send your wound check today?", es: "¿Puede enviar su revisión hoy?" }
    strip_how() { en: "Open your page. It leads you through it, step by step.", es: "Abra su página. Le lleva paso a paso." }
    say_back() { en: "Please tell me in your own words what you will do.", es: "Dígame con sus palabras qué va a hacer." }
    close(phone: &str, emergency: &str) { en: "Is it worse later? Call {phone}. An emergency? Call {emergency}.", es: "¿Empeora después? Llame al {phone}. ¿Emergencia? Llame al {emergency}." }

    letter_greeting(patient: &str) { en: "Dear {patient}", es: "Hola, {patient}" }
    letter_why(since: &str) { en: "We have not heard from you since {since}.", es: "No sabemos de usted desde: {since}." }
    letter_tried() { en: "We wrote to your phone and we called. Nobody answered.", es: "Escribimos a su teléfono y llamamos. Nadie contestó." }
    letter_do(phone: &str) { en: "Please call us: {phone}. Or open your page and send a check.", es: "Por favor llámenos: {phone}. O abra su página y envíe una revisión." }
    letter_strip() { en: "Is the gauze strip still in? Call us today.", es: "¿La tira de gasa sigue adentro? Llámenos hoy." }
    letter_lost_link() { en: "Lost your page? We print you a new sheet.", es: "¿Perdió su página? Le imprimimos otra hoja." }
    letter_danger(emergency: &str) { en: "Fever, spreading redness, or blood that does not stop? Call {emergency}.", es: "¿Fiebre, rojo que crece o sangre que no para? Llame al {emergency}." }
    letter_close() { en: "We want to know how you are.", es: "Queremos saber cómo está." }
}
