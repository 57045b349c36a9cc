//! What every screen shares: the station line, the theme, the clock the page starts from.

use std::fmt;

use crate::web::alarm::Loudest;
use crate::web::assets::Assets;

/// A link of the line of screens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ScreenLink {
    /// The screen's name as said in the salon.
    pub name: String,
    /// Where it is.
    pub href: String,
    /// True on the screen itself.
    pub current: bool,
}

impl ScreenLink {
    /// The links in `screens` (name, href), the one whose href is `current` marked.
    #[must_use]
    pub fn line(screens: &[(&str, &str)], current: &str) -> Vec<Self> {
        screens
            .iter()
            .map(|(name, href)| Self {
                name: (*name).into(),
                href: (*href).into(),
                current: *href == current,
            })
            .collect()
    }
}

/// The line of tabs over a client's screens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClientTabs {
    /// The client's name, as this station may see it.
    pub name: String,
    /// Strand, Consult, Plan, Tests, Visits, …
    pub links: Vec<ScreenLink>,
}

/// Light or dark, kept in a cookie by the page; `System` follows the device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Theme {
    /// As the device says.
    #[default]
    System,
    /// Warm paper.
    Light,
    /// Soot.
    Dark,
}

/// The theme's attribute on `html`, or nothing. Displays with its leading space.
#[derive(Debug, Clone, Copy)]
pub struct ThemeAttribute(Theme);

impl fmt::Display for ThemeAttribute {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            Theme::System => Ok(()),
            Theme::Light => out.write_str(" data-theme=\"light\""),
            Theme::Dark => out.write_str(" data-theme=\"dark\""),
        }
    }
}
// Only the three fixed strings above are ever written.
impl askama::filters::HtmlSafe for ThemeAttribute {}

impl Theme {
    /// Name of the cookie the page's script keeps the wish in.
    pub const COOKIE: &'static str = "rinsebell_theme";

    /// Reads the cookie's value; anything unknown is `System`.
    #[must_use]
    pub fn from_cookie(value: Option<&str>) -> Self {
        match value {
            Some("light") => Self::Light,
            Some("dark") => Self::Dark,
            _ => Self::System,
        }
    }

    /// The attribute for `html`.
    #[must_use]
    pub fn attribute(self) -> ThemeAttribute {
        ThemeAttribute(self)
    }
}

/// The frame of a screen. Every template that extends `layout.html` holds one as `shell`.
#[derive(Debug, Clone)]
pub struct Shell {
    /// The salon's name, first on the station line and last in the title.
    pub salon_name: String,
    /// The salon's zone (IANA name); the page's script shows clock times in it.
    pub zone: String,
    /// Links of the station line; empty on sign-in and set-up screens.
    pub screens: Vec<ScreenLink>,
    /// Station and person: "Basin station · Mara Quill".
    pub where_line: String,
    /// Address of the act beside it (sign in, lock), empty for no act.
    pub where_href: String,
    /// Words of that act: "Lock", "Sign in".
    pub where_act: String,
    /// True in a practice salon: a banner says so.
    pub practice: bool,
    /// Addresses of the static files.
    pub assets: Assets,
    /// The database's clock when the page was made, milliseconds since 1970 (UTC).
    pub server_now_ms: i64,
    /// Topics this page follows: "floor", "run:12". Each part may name its own too.
    pub topics: Vec<String>,
    /// Where the loudest alarm of the salon is asked for; empty where the screen says it itself, or is no station's.
    pub alarm: String,
    /// It, where the page brings it along: a page of quadrants moves nothing under a finger afterwards.
    pub loudest: Option<Loudest>,
    /// False where there is no station to hear news as (sign-in, set-up, client pages).
    pub live: bool,
    /// Light or dark.
    pub theme: Theme,
    /// A screen on the wall: nothing to tap, larger.
    pub wall: bool,
}

impl Shell {
    /// A frame for a page without a station: nothing live, no screens.
    #[must_use]
    pub fn plain(salon_name: impl Into<String>, server_now_ms: i64) -> Self {
        Self {
            salon_name: salon_name.into(),
            zone: "UTC".into(),
            screens: Vec::new(),
            where_line: String::new(),
            where_href: String::new(),
            where_act: String::new(),
            practice: false,
            assets: Assets,
            server_now_ms,
            topics: Vec::new(),
            alarm: String::new(),
            loudest: None,
            live: false,
            theme: Theme::System,
            wall: false,
        }
    }

    /// Whoever looks at it may go to this screen.
    #[must_use]
    pub fn leads_to(&self, href: &str) -> bool {
        self.screens.iter().any(|screen| screen.href == href)
    }

    /// The topics, one space between.
    #[must_use]
    pub fn topics_line(&self) -> String {
        self.topics.join(" ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_current_screen_alone_is_marked() {
        let line = ScreenLink::line(&[("Floor", "/floor"), ("Team", "/team")], "/team");
        assert_eq!(line.iter().map(|link| link.current).collect::<Vec<_>>(), [false, true]);
    }

    #[test]
    fn an_unknown_theme_cookie_follows_the_device() {
        for (value, theme) in [
            (Some("dark"), Theme::Dark),
            (Some("light"), Theme::Light),
            (Some("\"><script>"), Theme::System),
            (None, Theme::System),
        ] {
            assert_eq!(Theme::from_cookie(value), theme);
        }
        assert_eq!(Theme::Dark.attribute().to_string(), " data-theme=\"dark\"");
        assert_eq!(Theme::System.attribute().to_string(), "");
    }
}
