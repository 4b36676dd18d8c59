//! What to put right in a wound check, next to the field: never a reason not to take the check.

use crate::words::messages;

messages! {
    /// One sentence for each kind of slip.
    pub struct FaultWords;

    heading() { en: "We have your check. Please look at this once more:", es: "Tenemos su revisión. Mire esto otra vez, por favor:" }
    cut_short() { en: "Not all of it came through. Please send it once more.", es: "No llegó todo. Envíelo otra vez, por favor." }
    nothing_lost() { en: "What you typed is still here.", es: "Lo que escribió sigue aquí." }
    photos_kept(count: usize) { en: "Photos we already have: {count}", es: "Fotos que ya tenemos: {count}" }
    send_fix() { en: "Send the fix", es: "Enviar lo corregido" }
    leave_as_is() { en: "Leave it as it is", es: "Dejarlo así" }

    temp_range() { en: "A body has 30 to 43 °C, or 86 to 109.4 °F. Look at the number again.", es: "Un cuerpo tiene 30 a 43 °C, u 86 a 109.4 °F. Mire otra vez el número." }
    temp_which_unit(typed: &str) { en: "Which unit? {typed} does not fit the one you chose.", es: "¿Qué unidad? {typed} no va con la que eligió." }
    temp_take_again(typed: &str) { en: "{typed} is unusual. Please measure once more.", es: "{typed} es raro. Mida otra vez, por favor." }
    sugar_range() { en: "A meter shows 20 to 600 mg/dL, or 1.1 to 33.3 mmol/L. Look again.", es: "Un medidor muestra 20 a 600 mg/dL, o 1.1 a 33.3 mmol/L. Mire otra vez." }
    sugar_which_unit(typed: &str) { en: "Which unit? {typed} could be mg/dL or mmol/L.", es: "¿Qué unidad? {typed} puede ser mg/dL o mmol/L." }
    ruler_range() { en: "The ruler number is from 0 to 300 mm.", es: "El número de la regla va de 0 a 300 mm." }
    hours_range() { en: "Hours are from 0 to 72.", es: "Las horas van de 0 a 72." }
    sugar_hours_range() { en: "Hours are from 0 to 720.", es: "Las horas van de 0 a 720." }
    cm_range() { en: "Centimeters are from 0 to 30.", es: "Los centímetros van de 0 a 30." }
    ketones_range() { en: "Blood ketones are from 0 to 8.0 mmol/L.", es: "Las cetonas en sangre van de 0 a 8.0 mmol/L." }
    whole_range(lowest: u16, highest: u16) { en: "Type a number from {lowest} to {highest}.", es: "Escriba un número de {lowest} a {highest}." }
    not_a_phone(typed: &str) { en: "“{typed}” is not a whole phone number. Type all 10 digits. Other country? Start with +.", es: "“{typed}” no es un teléfono completo. Escriba los 10 dígitos. ¿Otro país? Empiece con +." }
    not_a_number(typed: &str) { en: "“{typed}” is not a number. Use digits, like 37.5.", es: "“{typed}” no es un número. Use cifras, como 37.5." }
    no_such_answer() { en: "Please choose one of the answers.", es: "Elija una de las respuestas." }
    two_answers() { en: "There are two answers here. Keep only one.", es: "Aquí hay dos respuestas. Deje solo una." }
    other_half() { en: "Please fill in this part too. Or tap “Not sure”.", es: "Llene también esta parte. O toque “No estoy seguro(a)”." }
    too_long() { en: "This is long. We keep it all. 1000 letters are best.", es: "Esto es largo. Lo guardamos todo. Mejor hasta 1000 letras." }
}
