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
