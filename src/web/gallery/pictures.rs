//! Run and Regrowth, with the drawings' own figures.

use askama::Template;

use super::strand_pictures::small;
use super::{NOW_MS, shell, show};
use crate::domain::protocol::Section;
use crate::web::bar::Bar;
use crate::web::picture::Clock;
use crate::web::picture::head_map::{HeadMap, Lap, Quad, QuadState};
use crate::web::picture::regrowth::{DueWindow, GrowthNow};
use crate::web::picture::strand_ruler::StrandRuler;
use crate::web::picture::window::{Pass, Tap, Window};
use crate::web::shell::Shell;

#[derive(Template)]
#[template(
    ext = "html",
    source = r##"{% extends "layout.html" %}{% block title %}Run{% endblock %}{% block body_class %}run{% endblock %}
{% block main %}
<ul class="elsewhere" aria-label="Elsewhere on the floor"><li><b>1:00</b> Ilka D., test curl, chair 4</li><li class="wide"><b>8:00</b> Una R., rinse, basin</li></ul>
<div class="service">
<section class="answer"><p class="about">Nerys A., curl retouch, step 8 of 19</p><h1>Back right, second pass; next back left</h1>
<p class="left"><span class="clock main" role="timer">5:10</span> <span>left for both passes,<br>done by 13:55</span></p>
{{ window.draw() }}<p class="pace">Three quadrants to go. If 13:55 will be missed, call second hands.</p></section>
{{ head }}
<section class="more"><dl class="reading"><div><dt>Longest on</dt><dd><b>9:50</b>back right, from first touch</dd></div><div><dt>Shortest on</dt><dd><b>3:40</b>front right</dd></div><div><dt>First to last</dt><dd><b>6:10</b></dd></div><div><dt>Longest allowed, first touch to rinse</dt><dd><b>42:00</b>the salon’s default, no sheet</dd></div></dl>
<figure>{{ small.draw() }}<figcaption class="small quiet">Straightened on 12 February.</figcaption></figure></section></div>
{% endblock %}
{% block bar %}{{ bar }}{% endblock %}
"##
)]
struct RunPage {
    shell: Shell,
    window: Window,
    head: HeadMap,
    small: StrandRuler,
    bar: Bar,
}

fn run_page() -> RunPage {
    let minute = |minutes: f64| NOW_MS - (minutes * 60_000.0) as i64;
    let quad = |section, number, on_min: f64, state, words: &str| Quad {
        section,
        number,
        clock: Some(Clock::up(minute(on_min), NOW_MS)),
        state,
        words: words.into(),
    };
    let taps = |at: &[f64]| (1..).zip(at).map(|(number, at_min)| Tap { at_min: *at_min, number }).collect();
    RunPage {
        shell: shell(),
        window: Window {
            opened_ms: minute(9.84),
            now_ms: NOW_MS,
            length_min: 15.0,
            opened_words: "13:40".into(),
            passes: vec![Pass { words: "first pass".into(), taps: taps(&[0.0, 1.92, 4.0, 6.17]) }, Pass { words: "second pass".into(), taps: taps(&[8.16]) }],
            label: "Fifteen-minute window from 13:40.".into(),
        },
        head: HeadMap {
            action: "/runs/3/facts".into(),
            asks: false,
            fact: "section_started".into(),
            hidden: vec![("pass".into(), "2".into())],
            field: "section".into(),
            heading: "Head from above: start a quadrant".into(),
            note: "From above, face up. Inner ring: first pass. Outer ring: second pass. Tap a quadrant or press its number.".into(),
            lap: Lap::Second,
            quads: vec![
                quad(Section::BackRight, 1, 9.84, QuadState::InHand, "in hand"),
                quad(Section::BackLeft, 2, 7.92, QuadState::Next, "next"),
                quad(Section::FrontLeft, 3, 5.84, QuadState::Waiting, "first done"),
                quad(Section::FrontRight, 4, 3.67, QuadState::Waiting, "first done"),
            ],
            edge: false,
        },
        bar: super::parts::bar(),
        small: small(),
    }
}

#[derive(Template)]
#[template(
    ext = "html",
    source = r##"{% extends "layout.html" %}{% block title %}Heads{% endblock %}{% block body_class %}run{% endblock %}
{% block main %}<div class="service"><section class="answer"><h1>{{ words }}</h1></section>{{ head }}</div>{% endblock %}
"##
)]
struct HeadPage {
    shell: Shell,
    words: &'static str,
    head: HeadMap,
}

/// A head on which the first `done` sections of an order are touched and the next is outlined.
fn head_of(sections: &[Section], done: usize, edge: bool) -> HeadMap {
    let quads = (1..).zip(sections).enumerate().map(|(at, (number, section))| {
        let (state, words) = match at {
            _ if at + 1 == done => (QuadState::InHand, "in hand"),
            _ if at == done => (QuadState::Next, "next"),
            _ if at < done => (QuadState::Done, "done"),
            _ => (QuadState::Waiting, "waiting"),
        };
        let from = NOW_MS - (done - at.min(done)) as i64 * 95_000;
        let clock = (at < done).then(|| Clock::up(from, NOW_MS));
        Quad { section: *section, number, clock, state, words: words.into() }
    });
    HeadMap { quads: quads.collect(), edge, note: "From above, face up.".into(), ..run_page().head }
}

#[test]
fn heads_of_every_parting_are_drawn() {
    // The orders of shared/protocols: waves from the nape, relaxers without and with the hairline, a partial wave.
    let of = |code: &str| {
        crate::reference::Reference::shipped().protocol(code).expect("a shipped protocol").sections.clone()
    };
    let wave = of("wave-alkaline");
    let relaxer = of("relaxer-sodium-retouch");
    let ten: Vec<Section> = wave.iter().copied().chain([Section::Hairline]).collect();
    for (name, words, head, arrows, faint) in [
        ("head-wave-3", "Nine blocks, the third in hand", head_of(&wave, 3, false), 1, 0),
        ("head-wave-6", "Nine blocks, the sixth in hand", head_of(&wave, 6, false), 1, 0),
        ("head-partial", "Six of nine", head_of(&of("wave-partial"), 3, false), 1, 3),
        ("head-hairline", "Quadrants, the hairline last", head_of(&relaxer, 4, true), 2, 0),
        ("head-hairline-later", "The hairline later", head_of(&Section::QUADRANTS, 1, true), 1, 1),
        ("head-ten", "Ten sections", head_of(&ten, 9, true), 2, 0),
    ] {
        let page = HeadPage { shell: shell(), words, head }.render().unwrap();
        show(name, &page);
        // An arrow each; the hairline's band is drawn the same way when it is next.
        assert_eq!(page.matches("class=\"ln now\"").count(), arrows, "{name}");
        assert_eq!(page.matches("quad off").count(), faint, "{name}: what is not worked");
    }
}

#[test]
fn a_run_shows_its_window_and_its_head() {
    let page = run_page().render().unwrap();
    show("run", &page);
    assert!(page.contains("data-drain-from="));
    assert!(
        page.contains("class=\"quad back-left next\" name=\"section\" value=\"back-left\" data-key=\"2\"")
    );
    assert!(page.contains(">9:50</span>"), "the longest quadrant as on the drawing");
}

#[derive(Template)]
#[template(
    ext = "html",
    source = r##"{% extends "layout.html" %}{% block title %}Regrowth{% endblock %}
{% block main %}<header class="answer"><h1>Three to reach today</h1></header>
<table class="due"><colgroup><col class="c-who"><col class="c-mm"><col class="c-p"><col class="c-when"><col class="c-said"><col></colgroup>
<thead><tr><th scope="col">Client</th><th scope="col">New growth now, mm {{ GrowthNow::scale(40.0) }}</th><th scope="col">Chance</th><th scope="col"><span class="unseen">Window</span> {{ DueWindow::scale(77.0, *today, ticks) }}</th><th scope="col">Last word</th><th scope="col">Do</th></tr></thead>
<tbody><tr class="group"><th scope="colgroup" colspan="6">Reach today</th></tr>
{% for (name, now, window) in rows %}<tr><th scope="row"><b><a href="/c/1">{{ name }}</a></b><br>curl retouch, Tobias</th><td class="mm">{{ now.draw() }}</td><td class="chance">almost surely<small>96 %</small></td><td class="when">{{ window.draw() }}</td><td class="said"><b>not reached yet</b>patch test 48 h before</td><td class="do"><button class="act">Call</button></td></tr>{% endfor %}
</tbody></table>{% endblock %}"##
)]
struct RegrowthPage {
    shell: Shell,
    today: (f64, &'static str),
    ticks: Vec<(f64, String)>,
    rows: Vec<(&'static str, GrowthNow, DueWindow)>,
}

#[test]
fn regrowth_rows_share_their_scales() {
    let now = |mm, low, high, target_mm| GrowthNow { mm, band: (low, high), target_mm, scale_mm: 40.0 };
    let due = |from, to, middle, latest: f64, words: &str| DueWindow {
        days: 77.0,
        today: 31.0,
        window: Some((from, to)),
        middle,
        latest: Some(latest),
        words: words.into(),
        latest_words: "latest the week of 22 June".into(),
    };
    let page = RegrowthPage {
        shell: shell(),
        today: (31.0, "today, 14 May"),
        ticks: vec![(7.0, "20 Apr".into()), (49.0, "1 June".into()), (63.0, "15".into())],
        rows: vec![
            ("Ysolde Marr", now(28.4, 25.9, 30.9, 25.0), due(12.0, 28.0, 19.0, 73.0, "25 Apr to 11 May")),
            ("Philippa Onwudi", now(13.9, 12.2, 15.5, 12.0), due(22.0, 30.0, 25.0, 59.0, "5 to 13 May")),
            ("Juno Ashby", now(18.9, 12.4, 25.4, 20.0), due(24.0, 69.0, 35.0, 90.0, "7 May to 21 Jun")),
            ("Coralie Beck", now(20.8, 18.3, 23.3, 25.0), due(37.0, 59.0, 47.0, 90.0, "20 May to 11 Jun")),
            ("Renske Vale", now(31.4, 28.5, 34.2, 25.0), due(1.0, 17.0, 8.0, 59.0, "14 to 30 Apr")),
        ],
    }
    .render()
    .unwrap();
    show("regrowth", &page);
    assert_eq!(page.matches("aria-label=\"window ").count(), 5);
    assert!(page.contains("window 25 Apr to 11 May; latest the week of 22 June"));
}
