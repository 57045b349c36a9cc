//! The words of the pages clients see by a link, in each language.

use crate::domain::message::Language;

/// Every sentence of those pages.
pub struct Said {
    pub choose: &'static str,
    pub booked: &'static str,
    pub or_move: &'static str,
    pub none_free: &'static str,
    pub taken: &'static str,
    pub told: &'static str,
    pub until: &'static str,
    pub with: &'static str,
    pub visit_before: &'static str,
    pub take: &'static str,
    pub look_from: &'static str,
    pub look: &'static str,
    pub bad_day: &'static str,
    pub cancel_heading: &'static str,
    pub cancel_words: &'static str,
    pub cancel: &'static str,
    pub cancelled: &'static str,
    pub shut: &'static str,
    pub used: &'static str,
    pub expired: &'static str,
    pub stop_heading: &'static str,
    pub stop_words: &'static str,
    pub stop: &'static str,
    pub stopped: &'static str,
    pub call: &'static str,
}

const ENGLISH: Said = Said {
    choose: "Choose a time",
    booked: "You are booked",
    or_move: "Or choose another time instead:",
    none_free: "No time is free around this day. Look from another day, or call us.",
    taken: "Somebody was faster: that time is taken. These are free now.",
    told: "We write to you once more to confirm it, if you agreed to messages.",
    until: "until",
    with: "with",
    visit_before: "with a short visit before:",
    take: "Take this time",
    look_from: "Look from",
    look: "Look",
    bad_day: "Write a day of the calendar, such as 2026-05-14.",
    cancel_heading: "If you cannot come",
    cancel_words: "Somebody else can then have this time.",
    cancel: "Cancel my visit",
    cancelled: "Your visit is cancelled",
    shut: "This link is closed",
    used: "It was used already, or your booking has changed since. The newest message has the newest link.",
    expired: "Its time is over. Call us, or wait for our next message.",
    stop_heading: "Messages from us",
    stop_words: "Press once, and no more messages come to this address. Your bookings stay as they are.",
    stop: "No more messages",
    stopped: "No more messages come to this address.",
    call: "Call us:",
};

const SPANISH: Said = Said {
    choose: "Elija una hora",
    booked: "Tiene cita",
    or_move: "O elija otra hora en su lugar:",
    none_free: "No hay horas libres cerca de ese día. Mire desde otro día o llámenos.",
    taken: "Alguien fue más rápido: esa hora ya no está libre. Estas lo están ahora.",
    told: "Le escribimos otra vez para confirmarlo, si aceptó recibir mensajes.",
    until: "hasta las",
    with: "con",
    visit_before: "con una visita corta antes:",
    take: "Elegir esta hora",
    look_from: "Mirar desde el",
    look: "Mirar",
    bad_day: "Escriba un día del calendario, como 2026-05-14.",
    cancel_heading: "Si no puede venir",
    cancel_words: "Así otra persona puede aprovechar esta hora.",
    cancel: "Anular mi visita",
    cancelled: "Su visita queda anulada",
    shut: "Este enlace está cerrado",
    used: "Ya se usó, o su cita ha cambiado desde entonces. El mensaje más reciente lleva el enlace más reciente.",
    expired: "Su plazo ha terminado. Llámenos o espere nuestro próximo mensaje.",
    stop_heading: "Nuestros mensajes",
    stop_words: "Pulse una vez y no llegarán más mensajes a esta dirección. Sus citas quedan como están.",
    stop: "No recibir más mensajes",
    stopped: "No llegarán más mensajes a esta dirección.",
    call: "Llámenos:",
};

/// The words of a language.
#[must_use]
pub const fn said(language: Language) -> &'static Said {
    match language {
        Language::English => &ENGLISH,
        Language::Spanish => &SPANISH,
    }
}

/// The words of the questions at home.
pub struct HomeSaid {
    pub heading: &'static str,
    pub why: &'static str,
    pub open: &'static str,
    /// In the order of `HomeQuestion::ALL`.
    pub questions: [&'static str; 8],
    /// In the order of `HomeAnswer::ALL`.
    pub answers: [&'static str; 3],
    pub history: &'static str,
    pub more: &'static str,
    pub who_reads: &'static str,
    pub send: &'static str,
    pub back: &'static str,
    pub thanks: &'static str,
    pub asked_again: &'static str,
    pub nothing: &'static str,
    pub too_long: &'static str,
    pub too_often: &'static str,
    pub call: &'static str,
}

const HOME_ENGLISH: HomeSaid = HomeSaid {
    heading: "Questions before your visit",
    why: "At home you can look at the boxes and the dates. Leave out what you would rather say here; everything is asked again in the chair.",
    open: "Answer at home",
    questions: [
        "Has a product for hair or skin ever made your skin itch, swell, blister or burn?",
        "Have you ever had a temporary black tattoo (“black henna”)?",
        "Is your scalp sore, scratched or being treated now?",
        "Are you pregnant?",
        "Do you take any medication?",
        "Has colour been put on your hair at home in the last two years?",
        "Has your hair been relaxed, straightened or curled with a product?",
        "Has your hair been lightened?",
    ],
    answers: ["yes", "no", "not sure"],
    history: "What was done to your hair, and when? Names from the box help.",
    more: "Anything else we should know",
    who_reads: "Only who gives your service reads this. It is not shown again by this link.",
    send: "Send to the salon",
    back: "Back",
    thanks: "Thank you, the salon has it",
    asked_again: "Everything is asked again in the chair before anything is put on your hair.",
    nothing: "Nothing is filled in yet.",
    too_long: "That is too long: at most 1,000 letters fit in each box, and no signs that are no letters.",
    too_often: "This was sent several times already. Tell us the rest in the salon.",
    call: "Call us:",
};

const HOME_SPANISH: HomeSaid = HomeSaid {
    heading: "Preguntas antes de su visita",
    why: "En casa puede mirar los envases y las fechas. Deje sin contestar lo que prefiera decir aquí; en el sillón se pregunta todo otra vez.",
    open: "Contestar en casa",
    questions: [
        "¿Algún producto para el pelo o la piel le ha causado picor, hinchazón, ampollas o quemaduras?",
        "¿Se ha hecho alguna vez un tatuaje negro temporal («henna negra»)?",
        "¿Tiene ahora el cuero cabelludo dolorido, rascado o en tratamiento?",
        "¿Está embarazada?",
        "¿Toma algún medicamento?",
        "¿Se ha aplicado color en casa en los últimos dos años?",
        "¿Le han alisado o rizado el pelo con algún producto?",
        "¿Le han aclarado el pelo?",
    ],
    answers: ["sí", "no", "no lo sé"],
    history: "¿Qué se le hizo al pelo y cuándo? Ayudan los nombres del envase.",
    more: "Algo más que debamos saber",
    who_reads: "Solo lo lee quien le da el servicio. Este enlace no lo vuelve a mostrar.",
    send: "Enviar al salón",
    back: "Volver",
    thanks: "Gracias, el salón lo ha recibido",
    asked_again: "En el sillón se pregunta todo otra vez antes de aplicar nada.",
    nothing: "Todavía no ha contestado nada.",
    too_long: "Es demasiado largo: en cada casilla caben 1.000 letras, sin signos que no sean letras.",
    too_often: "Ya se ha enviado varias veces. Cuéntenos el resto en el salón.",
    call: "Llámenos:",
};

/// The words of the questions at home in a language.
#[must_use]
pub const fn home_said(language: Language) -> &'static HomeSaid {
    match language {
        Language::English => &HOME_ENGLISH,
        Language::Spanish => &HOME_SPANISH,
    }
}
