//! Being told on this phone when an answer is there.

use crate::words::messages;

messages! {
    /// The part of *Today* about being told.
    pub struct ToldWords;

    heading() { en: "Tell me when an answer is here", es: "Avísenme cuando haya una respuesta" }
    hint() { en: "The message on your phone says only that one waits.", es: "El aviso en su teléfono solo dice que hay un mensaje." }
    begin() { en: "Tell me on this phone", es: "Avísenme en este teléfono" }
    is_told() { en: "This phone tells you when an answer is here.", es: "Este teléfono le avisa cuando hay una respuesta." }
    end() { en: "Stop telling me here", es: "Ya no me avisen aquí" }
    denied() { en: "Your phone does not allow it. Allow messages in its settings.", es: "Su teléfono no lo permite. Permita los avisos en sus ajustes." }
    failed() { en: "It did not work. Try again later.", es: "No funcionó. Inténtelo más tarde." }
}
