//! What a person reads who opens a patient link or types a code: both languages, since nobody is known yet.

use crate::words::messages;

messages! {
    /// Opening a link, and what is said when it cannot be opened.
    pub struct OpenWords;

    title() { en: "Your wound care page", es: "Su página de cuidado de la herida" }
    inert_lead() { en: "This opens your page on this phone.", es: "Esto abre su página en este teléfono." }
    inert_button() { en: "Continue", es: "Continuar" }
    inert_emergency() {
        en: "An emergency? Call your local emergency number now.",
        es: "¿Una emergencia? Llame ya al número de emergencias de su zona.",
    }
    inert_code() { en: "Have a printed code? Type it here", es: "¿Tiene un código impreso? Escríbalo aquí" }

    initials_label() { en: "First letters of the patient’s name", es: "Primeras letras del nombre del paciente" }
    initials_hint() { en: "You can leave this empty. Ana Ruiz types AR.", es: "Puede dejarlo vacío. Ana Ruiz escribe AR." }
    borrowed_label() { en: "This is not my phone", es: "Este teléfono no es mío" }
    borrowed_hint() { en: "It keeps nothing. The practice calls you with the answer.", es: "No guarda nada. El consultorio le llama con la respuesta." }

    late_label() { en: "Leave a few words", es: "Deje unas palabras" }
    late_hint() { en: "Someone calls you back, maybe only tomorrow. Getting worse? Call now.", es: "Alguien le llama, quizá solo mañana. ¿Está peor? Llame ya." }
    late_button() { en: "Leave my words", es: "Dejar mis palabras" }
    late_left() { en: "Your words are here. Someone from the practice will call you.", es: "Sus palabras llegaron. Alguien del consultorio le va a llamar." }

    closed_title() { en: "This link is closed", es: "Este enlace está cerrado" }
    closed_nobody() { en: "Nobody watches this link. No wound check can be sent from here.", es: "Nadie vigila este enlace. Desde aquí no se puede enviar una revisión." }
    closed_call(practice: &str) { en: "Need help with your wound? Call {practice}.", es: "¿Necesita ayuda con su herida? Llame a {practice}." }
    closed_emergency() { en: "An emergency? Do not wait. Call now.", es: "¿Una emergencia? No espere. Llame ya." }

    unknown_title() { en: "We do not know this link", es: "No conocemos este enlace" }
    unknown_why() { en: "Maybe a part is missing. Nothing is wrong with you.", es: "Quizá falta una parte. No es culpa suya." }
    unknown_scan() { en: "Scan the code on your sheet again.", es: "Escanee otra vez el código de su hoja." }
    unknown_type() { en: "Or type the code from your sheet.", es: "O escriba el código de su hoja." }
    unknown_ring() { en: "No luck? Call the practice. The number is on your sheet.", es: "¿No funciona? Llame al consultorio. El número está en su hoja." }

    code_title() { en: "Type your code", es: "Escriba su código" }
    code_label() { en: "Code from your sheet", es: "Código de su hoja" }
    code_hint() { en: "16 letters and numbers. Big or small letters, with or without dashes.", es: "16 letras y números. Mayúsculas o minúsculas, con o sin guiones." }
    code_button() { en: "Open my page", es: "Abrir mi página" }
    code_wrong() { en: "That code did not work. Check each letter and try again.", es: "Ese código no sirvió. Revise cada letra y pruebe otra vez." }
    code_wait() { en: "Too many codes were tried just now. Wait a minute and try again.", es: "Se probaron demasiados códigos. Espere un minuto y pruebe otra vez." }
    code_no_sheet() { en: "No sheet? Call the practice for a new code.", es: "¿No tiene la hoja? Pida un código nuevo al consultorio." }
    left() { en: "You have left. This phone shows nothing of you now.", es: "Ya salió. Este teléfono ya no muestra nada suyo." }
}
