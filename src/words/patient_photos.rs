//! Taking the photo, and what is said kindly about one that cannot be used.

use crate::words::messages;

messages! {
    /// Photos.
    pub struct PhotoWords;

    title() { en: "Add photos", es: "Agregue fotos" }
    hint() { en: "One near and one from a step back are best. No photo? Go on without.", es: "Mejor una de cerca y una de más lejos. ¿Sin foto? Siga sin ella." }
    guide_wash() { en: "Wash first. Dry the skin.", es: "Lave primero. Seque la piel." }
    guide_light() { en: "Good light. No flash.", es: "Buena luz. Sin flash." }
    guide_card() { en: "Lay the card flat beside the wound.", es: "Tarjeta plana junto a la herida." }
    guide_above() { en: "Hold the phone straight above.", es: "Teléfono justo arriba." }
    file_near() { en: "Photo 1: near", es: "Foto 1: de cerca" }
    file_far() { en: "Photo 2: from a step back", es: "Foto 2: de más lejos" }
    file_more(number: usize) { en: "Photo {number}", es: "Foto {number}" }
    more() { en: "More photos", es: "Más fotos" }
    kinds() { en: "Up to 6 photos, 15 MB each.", es: "Hasta 6 fotos, 15 MB cada una." }
    again() { en: "Your browser let go of new photos. Choose them again if you want.", es: "El navegador soltó las fotos nuevas. Elíjalas otra vez si quiere." }

    add() { en: "Take or choose a photo", es: "Tomar o elegir una foto" }
    add_another() { en: "Add another photo", es: "Agregar otra foto" }
    tap() { en: "Tap the middle of the wound.", es: "Toque el centro de la herida." }
    tapped() { en: "Marked. Tap again to move it.", es: "Marcado. Toque otra vez para moverlo." }
    arrows() { en: "Or use the arrow keys to move the mark.", es: "O mueva la marca con las flechas." }
    remove() { en: "Remove photo", es: "Quitar foto" }
    no_preview() { en: "This phone can't show it. We will try to read it.", es: "Este teléfono no la muestra. Trataremos de leerla." }
    six_at_most() { en: "6 photos are the most. Remove one to add another.", es: "Son 6 fotos como máximo. Quite una para agregar otra." }

    cannot_use(number: usize) { en: "Photo {number} could not be used.", es: "La foto {number} no se pudo usar." }
    look_again(number: usize) { en: "Photo {number} came through.", es: "La foto {number} llegó." }
    came(number: usize) { en: "Photo {number} came through well.", es: "La foto {number} llegó bien." }
    missing() { en: "Not all photos came. Your answers are safe with us.", es: "No llegaron todas las fotos. Sus respuestas sí las tenemos." }
    no_room(phone: &str) { en: "We have your answers. The photo could not be kept. Worse, or worried? Call {phone}.", es: "Tenemos sus respuestas. La foto no se pudo guardar. ¿Empeora o le preocupa? Llame al {phone}." }
    too_many_today(most: usize, when: &str, phone: &str) { en: "We have your answers. This link sent photos with {most} checks in one day. We take more photos from {when} on. Worse, or worried? Call {phone}.", es: "Tenemos sus respuestas. De este enlace ya llegaron {most} revisiones con fotos en un día. Recibimos más fotos desde: {when}. ¿Empeora o le preocupa? Llame al {phone}." }
    busy() { en: "Many photos come in just now. Send this one again in a moment.", es: "Ahora llegan muchas fotos. Envíe esta otra vez en un momento." }
    send_another_title() { en: "Send another photo", es: "Enviar otra foto" }
    send_another() { en: "Send this photo", es: "Enviar esta foto" }
    full() { en: "We have 6 photos. That is enough.", es: "Tenemos 6 fotos. Es suficiente." }
    send_answers_first() { en: "Please send the answers first.", es: "Envíe primero las respuestas." }

    empty() { en: "The file was empty.", es: "El archivo estaba vacío." }
    too_many_bytes() { en: "It was over 15 MB. Take it again with the camera, or send a smaller one.", es: "Pasaba de 15 MB. Tómela otra vez o envíe una más chica." }
    not_a_picture() { en: "The file was not a photo. Choose a picture from your camera.", es: "El archivo no era una foto. Elija una foto de su cámara." }
    too_large() { en: "It had too many dots. Take a plain photo, not a panorama.", es: "Tenía demasiados puntos. Tome una foto normal, no panorámica." }
    damaged() { en: "The file was broken. Take the photo again.", es: "El archivo estaba dañado. Tome la foto otra vez." }
    truncated() { en: "A part of it is missing. Send it again if you can.", es: "Le falta una parte. Envíela otra vez si puede." }
    dark() { en: "It is dark. Take one with more light if you can.", es: "Está oscura. Tome otra con más luz si puede." }
    too_bright() { en: "It is too bright. Turn the flash off if you can.", es: "Tiene mucha luz. Apague el flash si puede." }
    blurred() { en: "It is blurry. Hold still and take one more if you can.", es: "Está borrosa. No se mueva y tome otra si puede." }
    tiny() { en: "It is very small. Send the full photo if you can.", es: "Es muy chica. Envíe la foto completa si puede." }
    other() { en: "Take it again if you can.", es: "Tómela otra vez si puede." }
}

impl PhotoWords {
    /// What a flag or a refusal means; an unknown code still says what to do.
    pub fn about(self, code: &str) -> String {
        match code {
            "empty" => self.empty(),
            "too_many_bytes" => self.too_many_bytes(),
            "not_a_picture" => self.not_a_picture(),
            "too_large" => self.too_large(),
            "damaged" => self.damaged(),
            "truncated" => self.truncated(),
            "dark" => self.dark(),
            "too_bright" => self.too_bright(),
            "blurred" => self.blurred(),
            "tiny" => self.tiny(),
            _ => self.other(),
        }
    }
}
