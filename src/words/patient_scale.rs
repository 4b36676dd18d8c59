//! What would let a photo be measured: said kindly, one thing to do, and the check goes through all the same.

use crate::words::messages;

messages! {
    /// About measuring a photo.
    pub struct ScaleWords;

    not_yet() { en: "We still look at how well it can be measured.", es: "Todavía vemos si se puede medir." }
    one_more() { en: "Can you send one more? Your check is in, with or without it.", es: "¿Puede enviar otra? Su revisión ya llegó, con o sin ella." }
    next_time() { en: "For your next photo:", es: "Para su próxima foto:" }
    send_better() { en: "Send a better photo", es: "Enviar una foto mejor" }

    card_not_seen() { en: "The card is not in the picture. Lay the card flat beside the wound and try again.", es: "No se ve la tarjeta. Póngala plana junto a la herida y pruebe otra vez." }
    card_covered() { en: "A part of the card is hidden. Show all of the card and try again.", es: "Una parte de la tarjeta está tapada. Muéstrela toda y pruebe otra vez." }
    card_too_small() { en: "The card looks too small. Come closer and try again.", es: "La tarjeta se ve muy chica. Acérquese y pruebe otra vez." }
    card_too_tilted() { en: "The phone was held at a slant. Hold it straight above and try again.", es: "El teléfono estaba inclinado. Póngalo justo arriba y pruebe otra vez." }
    mirrored() { en: "The picture is the wrong way round, as in a mirror. Use the back camera.", es: "La foto está al revés, como en un espejo. Use la cámara de atrás." }
    other_card() { en: "That is not our card. Use the card from your sheet.", es: "Esa no es nuestra tarjeta. Use la tarjeta de su hoja." }
    two_cards() { en: "There are two cards. Use just one and try again.", es: "Hay dos tarjetas. Use solo una y pruebe otra vez." }
    blurred() { en: "It is blurry. Hold still and try again.", es: "Está borrosa. No se mueva y pruebe otra vez." }
    too_dark() { en: "It is too dark. Turn on a lamp and try again.", es: "Está muy oscura. Prenda una luz y pruebe otra vez." }
    too_bright() { en: "It is too bright. Turn the flash off and try again.", es: "Tiene mucha luz. Apague el flash y pruebe otra vez." }
    glare() { en: "The wound shines in the light. Turn the flash off, or move the lamp.", es: "La herida brilla con la luz. Apague el flash o mueva la lámpara." }
    colour_cast() { en: "The light has a strong color. Try by a window.", es: "La luz tiene mucho color. Pruebe junto a una ventana." }
    monochrome() { en: "The picture has no color. Turn color on and try again.", es: "La foto no tiene color. Active el color y pruebe otra vez." }
    cut_off() { en: "The wound is cut off. Show all of it, with skin around it.", es: "La herida sale cortada. Muéstrela toda, con piel alrededor." }
    too_close() { en: "It is too close. Step back a bit to show more skin.", es: "Está muy cerca. Aléjese un poco para que se vea más piel." }
    tap_it() { en: "The mark was not on the wound. Tap the middle of the wound.", es: "La marca no estaba en la herida. Toque el centro de la herida." }
    not_tapped() { en: "The wound was not marked. Tap the middle of it when you can.", es: "La herida no estaba marcada. Toque su centro cuando pueda." }
    not_found() { en: "We could not find the wound. Show it well and tap the middle of it.", es: "No hallamos la herida. Muéstrela bien y toque el centro." }
}
