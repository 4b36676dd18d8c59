//! The answers a patient can tap: each named by its question and its code.

use crate::words::messages;

messages! {
    /// Names are the question id, an underscore, and the answer's code.
    pub struct OptionWords;

    not_sure() { en: "Not sure", es: "No estoy seguro(a)" }
    none() { en: "None of these", es: "Nada de esto" }
    yes() { en: "Yes", es: "Sí" }
    no() { en: "No", es: "No" }

    who_patient() { en: "I am the patient", es: "Soy el paciente" }
    who_helper() { en: "I help the patient", es: "Ayudo al paciente" }
    better_better() { en: "Better", es: "Mejor" }
    better_same() { en: "The same", es: "Igual" }
    better_worse() { en: "Worse", es: "Peor" }
    better_very_ill() { en: "Very ill", es: "Muy enfermo(a)" }
    temp_none() { en: "I have no thermometer", es: "No tengo termómetro" }
    temp_unit_c() { en: "°C", es: "°C" }
    temp_unit_f() { en: "°F", es: "°F" }
    chills_no() { en: "No", es: "No" }
    chills_hot_cold() { en: "Hot and cold", es: "Calor y frío" }
    chills_shaking() { en: "I shook, my teeth chattered", es: "Temblaba, me castañeteaban los dientes" }

    edge_none() { en: "No red", es: "Nada rojo" }
    edge_thin() { en: "A thin line, up to 5 mm", es: "Una línea fina, hasta 5 mm" }
    edge_to_1_inch() { en: "Up to 1 inch (2.5 cm)", es: "Hasta 1 pulgada (2.5 cm)" }
    edge_to_2_inches() { en: "1 to 2 inches (2.5 to 5 cm)", es: "1 a 2 pulgadas (2.5 a 5 cm)" }
    edge_over_2_inches() { en: "Over 2 inches (5 cm)", es: "Más de 2 pulgadas (5 cm)" }
    edge_not_sure() { en: "I can't tell on my skin", es: "No se ve bien en mi piel" }
    edge_move_smaller() { en: "Smaller", es: "Más chica" }
    edge_move_same() { en: "The same", es: "Igual" }
    edge_move_bigger() { en: "Bigger", es: "Más grande" }
    edge_move_not_sure() { en: "No line, or I don't know", es: "No hay línea, o no sé" }
    warm_hard_hot() { en: "Hot", es: "Caliente" }
    warm_hard_hard() { en: "Hard", es: "Dura" }
    warm_hard_swollen() { en: "Swollen", es: "Hinchada" }
    warm_hard_trend_smaller() { en: "Smaller", es: "Más chica" }
    warm_hard_trend_same() { en: "The same", es: "Igual" }
    warm_hard_trend_bigger() { en: "Bigger", es: "Más grande" }

    pain_trend_better() { en: "Better", es: "Mejor" }
    pain_trend_same() { en: "The same", es: "Igual" }
    pain_trend_worse() { en: "Worse", es: "Peor" }

    drain_none() { en: "Nothing", es: "Nada" }
    drain_clear() { en: "Clear or pink", es: "Claro o rosado" }
    drain_thin_yellow() { en: "Thin and yellow", es: "Amarillo y aguado" }
    drain_thick() { en: "Thick: yellow, green or white", es: "Espeso: amarillo, verde o blanco" }
    drain_gray() { en: "Thin and gray, like dish water", es: "Gris y aguado, como agua sucia" }
    drain_stool() { en: "Stool (poop)", es: "Excremento (popó)" }
    drain_amount_less() { en: "Less", es: "Menos" }
    drain_amount_same() { en: "The same", es: "Igual" }
    drain_amount_more() { en: "More", es: "Más" }
    bleed_none() { en: "No", es: "No" }
    bleed_spots() { en: "A few spots", es: "Unas manchitas" }
    bleed_after_wash_stopped() { en: "After washing. It stopped when I pressed.", es: "Después de lavar. Paró al apretar." }
    bleed_soaks_pad_hour() { en: "It soaked a gauze pad within an hour", es: "Empapó una gasa en una hora" }

    strip_never_had() { en: "I never had one", es: "Nunca tuve" }
    strip_all_out() { en: "Yes, all of it, in one piece", es: "Sí, toda, en una pieza" }
    strip_fell_out() { en: "It fell out by itself", es: "Se cayó sola" }
    strip_part_out() { en: "Only part came out", es: "Salió solo una parte" }
    strip_unsure() { en: "Not sure", es: "No estoy seguro(a)" }
    strip_still_in() { en: "Still in", es: "Sigue adentro" }
    strip_stuck() { en: "I tried. It is stuck.", es: "Traté. Está atorada." }
    wash_6() { en: "6 or more", es: "6 o más" }

    sugar_lo() { en: "The meter shows LO", es: "El medidor dice LO" }
    sugar_hi() { en: "The meter shows HI", es: "El medidor dice HI" }
    sugar_unit_mg_dl() { en: "mg/dL", es: "mg/dL" }
    sugar_unit_mmol_l() { en: "mmol/L", es: "mmol/L" }
    sugar_sick_vomiting() { en: "Throwing up", es: "Vómito" }
    sugar_sick_belly_pain() { en: "Belly pain", es: "Dolor de panza" }
    sugar_sick_fast_breathing() { en: "Deep, fast breathing", es: "Respiración honda y rápida" }
    sugar_sick_fruity_breath() { en: "Breath smells like fruit", es: "Aliento a fruta" }
    sugar_sick_drowsy() { en: "Very sleepy", es: "Mucho sueño" }
    sugar_sick_thirsty() { en: "Very thirsty", es: "Mucha sed" }
    rash_none() { en: "No", es: "No" }
    rash_mild() { en: "Mild, or it itches", es: "Leve, o le pica" }
    rash_hives() { en: "Hives: raised spots that itch", es: "Ronchas: levantadas y con comezón" }
    rash_blister() { en: "Blisters, or skin that peels", es: "Ampollas, o piel que se pela" }
    pee_signs_urge() { en: "I need to pee, and nothing comes", es: "Tengo ganas de orinar y no sale nada" }
    pee_signs_pressure() { en: "Deep pressure inside", es: "Presión honda por dentro" }
    pee_signs_no_stool() { en: "I can't pass stool (poop)", es: "No puedo evacuar (hacer popó)" }
    voicemail_yes() { en: "Yes, you may", es: "Sí, pueden" }
    voicemail_no() { en: "No", es: "No" }
    ketones_none() { en: "None", es: "Nada" }
    ketones_trace() { en: "Trace", es: "Trazas" }
    ketones_small() { en: "Small", es: "Poco" }
    ketones_moderate() { en: "Moderate", es: "Medio" }
    ketones_large() { en: "Large", es: "Mucho" }
    ketones_not_sure() { en: "No test, or not sure", es: "Sin prueba, o no sé" }
}
