//! The pictures, with the drawings' own figures.

use askama::Template;

use super::{NOW_MS, shell, show};
use crate::web::bar::Bar;
use crate::web::picture::axis::{
    Band, BandKind, Clash, FloorPicture, LaneBlock, Notch, PlaceLane, Quarter, Track, TrackState,
};
use crate::web::picture::fan::{Due, Fan, Measured};
use crate::web::picture::head_map::{HeadMap, Lap, Quad, QuadState, Side};
use crate::web::picture::regrowth::{DueWindow, GrowthNow};
use crate::web::picture::strand_ruler::{Edge, Found, Lane, Piece, Planned, Size, StrandRuler};
use crate::web::picture::window::{Pass, Tap, Window};
use crate::web::picture::{Clock, Pattern, Verdict};
use crate::web::shell::Shell;

fn lane(pattern: Pattern, words: &str) -> Lane {
    Lane { pattern, words: words.into() }
}

fn hester() -> StrandRuler {
    let piece = |from_mm, to_mm, lanes| Piece {
        from_mm,
        to_mm,
        lanes,
        words: "new growth".into(),
        refused: String::new(),
    };
    StrandRuler {
        size: Size::Large,
        length_mm: 148.0,
        scale_mm: 0.0,
        pieces: vec![
            piece(0.0, 23.0, vec![]),
            piece(23.0, 48.0, vec![lane(Pattern::Colour, "colour, Feb")]),
            piece(48.0, 96.0, vec![lane(Pattern::Colour, "colour, Dec")]),
            piece(
                96.0,
                148.0,
                vec![
                    lane(Pattern::Colour, "colour, Dec"),
                    lane(Pattern::Hydroxide, "sodium hydroxide, 2025"),
                ],
            ),
        ],
        edges: vec![
            Edge { at_mm: 23.0, sd_mm: 1.64 },
            Edge { at_mm: 48.0, sd_mm: 2.6 },
            Edge { at_mm: 96.0, sd_mm: 4.74 },
        ],
        planned: vec![],
        found: vec![],
        cut_mm: 0.0,
        label: "Strand ruler, 148 millimetres from scalp to ends. The table after it says the same in words."
            .into(),
    }
}

fn hester_planned() -> StrandRuler {
    let mut ruler = hester();
    let planned = |letter: &str, words: &str, from_mm, to_mm| Planned {
        letter: letter.into(),
        words: words.into(),
        from_mm,
        to_mm,
    };
    ruler.planned = vec![
        planned("A", "straightener, regular, 0 to 80", 0.0, 80.0),
        planned("B", "curl lotion, mild, root to end", 0.0, 148.0),
        planned("C", "root colour, new growth", 0.0, 23.0),
    ];
    let found = |number, verdict, from_mm, to_mm| Found { number, verdict, from_mm, to_mm };
    ruler.found = vec![
        found(1, Verdict::Refuse, 96.0, 148.0),
        found(2, Verdict::Test, 23.0, 96.0),
        found(3, Verdict::Wait, 0.0, 23.0),
        found(4, Verdict::Clear, 0.0, 148.0),
    ];
    ruler.pieces[3].refused = "refused".into();
    ruler
}

fn cut() -> StrandRuler {
    let mut ruler = hester();
    ruler.pieces.truncate(3);
    ruler.edges.clear();
    StrandRuler { length_mm: 96.0, cut_mm: 52.0, ..ruler }
}

fn small() -> StrandRuler {
    StrandRuler {
        size: Size::Small,
        length_mm: 60.0,
        pieces: vec![
            Piece {
                from_mm: 0.0,
                to_mm: 31.0,
                lanes: vec![],
                words: "new growth".into(),
                refused: String::new(),
            },
            Piece {
                from_mm: 31.0,
                to_mm: 60.0,
                lanes: vec![lane(Pattern::ThioStraightening, "")],
                words: String::new(),
                refused: "no product".into(),
            },
        ],
        edges: vec![Edge { at_mm: 31.0, sd_mm: 2.0 }],
        planned: vec![Planned {
            letter: String::new(),
            words: "straightener, 0 to 31 mm only".into(),
            from_mm: 0.0,
            to_mm: 31.0,
        }],
        ..hester()
    }
}

fn families() -> StrandRuler {
    let pieces = Pattern::DRAWN
        .iter()
        .enumerate()
        .map(|(at, pattern)| Piece {
            from_mm: at as f64 * 30.0,
            to_mm: (at + 1) as f64 * 30.0,
            lanes: vec![lane(*pattern, "")],
            words: String::new(),
            refused: String::new(),
        })
        .collect();
    StrandRuler { length_mm: 390.0, pieces, edges: vec![], ..hester() }
}

#[derive(Template)]
#[template(
    ext = "html",
    source = r##"{% extends "layout.html" %}{% block title %}Strand{% endblock %}
{% block main %}
<header class="answer"><h1>148 mm of hair, the last 52 relaxed</h1><p>New growth is about 23 mm today, between 21 and 25.</p></header>
{% for (words, ruler) in rulers %}<figure>{{ ruler.draw() }}<figcaption class="small quiet">{{ words }}</figcaption></figure>{% endfor %}
<div class="two"><section class="section"><h2>New growth since 26 February</h2>{{ fan.draw() }}</section>
<section class="section"><h2>On Run, small</h2>{{ small.draw() }}{{ cut.draw() }}</section></div>
{% endblock %}"##
)]
struct StrandPage {
    shell: Shell,
    rulers: Vec<(&'static str, StrandRuler)>,
    fan: Fan,
    small: StrandRuler,
    cut: StrandRuler,
}

fn fan() -> Fan {
    let measured = |day, day_doubt, mm, mm_doubt, words: &str| Measured {
        day,
        day_doubt,
        mm,
        mm_doubt,
        words: words.into(),
    };
    Fan {
        days: 175.0,
        mm: 60.0,
        rate: 0.2989,
        band: (0.2714, 0.3263),
        prior: Some((0.1977, 0.4024)),
        target_mm: 25.0,
        today: (77.0, "today, 77 days".into()),
        due: Some(Due { from_day: 77.0, to_day: 92.0, words: "due 14 to 29 May".into() }),
        measured: vec![
            measured(84.0, 0.0, 25.0, 2.0, "26 Feb, 25 by ruler"),
            measured(156.0, 30.0, 48.0, 4.0, "4 Dec, 48 by eye"),
        ],
        label: "Growth fan. Today 23 millimetres, 80 percent between 21 and 25.".into(),
    }
}

#[test]
fn strands_are_drawn_with_a_sentence_each() {
    let page = StrandPage {
        shell: shell(),
        rulers: vec![
            ("Stretched hair. Whiskers: how far an edge may lie, 19 times in 20.", hester()),
            ("Planned.", hester_planned()),
            ("Every pattern.", families()),
        ],
        fan: fan(),
        small: small(),
        cut: cut(),
    }
    .render()
    .unwrap();
    show("strand", &page);
    assert_eq!(page.matches("role=\"img\" aria-label=\"").count(), 6);
    // 1.96 × 4.74 = 9.3 mm: "96 ± 9", as on the drawing.
    assert!(page.contains(">96 ± 9</text>") && page.contains(">23 ± 3</text>"));
    assert!(page.contains(">4 refused</text>") && page.contains("url(#p-refuse)"));
    assert!(page.contains(">cut, 52 mm</text>"));
}

#[derive(Template)]
#[template(
    ext = "html",
    source = r##"{% extends "layout.html" %}{% block title %}Floor{% endblock %}{% block main_class %} floor-page{% endblock %}
{% block main %}<h1 class="unseen">Floor</h1>
<dl class="ahead"><div class="wide"><dt>Thursday 14 May</dt><dd>4 runs, 1 basin<br>connected, 13:50:02</dd></div><div><dt>Next bell, in 1 minute</dt><dd><b>13:51 test curl, Ilka D.</b>chair 4, Priya Lund</dd></div><div><dt>Ahead, in 30 minutes</dt><dd><b>14:20 two rinses, one basin</b>Nerys A. until 14:25. <a href="#main">Say who goes first</a></dd></div></dl>
{{ floor }}
{% include "pictures/floor_key.html" %}
{% endblock %}"##
)]
struct FloorPage {
    shell: Shell,
    floor: FloorPicture,
}

fn track(
    id: &str,
    name: &str,
    clock: Clock,
    next: (&str, &str),
    bands: &[(f64, f64, BandKind, &str)],
    notches: &[Notch],
) -> Track {
    Track {
        id: id.into(),
        href: format!("/runs/{id}"),
        name: name.into(),
        place_words: "chair 5, Priya".into(),
        service_words: "curl retouch".into(),
        clock_label: "time left".into(),
        clock_sense: String::new(),
        clock,
        small_clock: false,
        next_words: next.0.into(),
        next_detail: next.1.into(),
        bell: String::new(),
        state: TrackState::Calm,
        bands: bands
            .iter()
            .map(|(from, to, kind, words)| Band {
                from_min: from - 25.0,
                to_min: to - 25.0,
                kind: *kind,
                words: (*words).into(),
            })
            .collect(),
        notches: notches.to_vec(),
    }
}

fn floor() -> FloorPicture {
    use BandKind::{Basin, Chemical, Hands, Nobody};
    let blocks = [
        (11.0, 21.0, "Una R."),
        (27.0, 32.0, "Ilka D."),
        (33.0, 37.0, "Una R."),
        (46.0, 52.0, "Ilka D."),
        (52.0, 60.0, "Nerys A."),
        (55.0, 63.0, "Bette O."),
        (64.0, 67.0, "Ilka D."),
    ];
    let soonest = Track {
        state: TrackState::Soonest,
        ..track(
            "2",
            "Ilka D.",
            Clock::down(NOW_MS + 60_000, NOW_MS),
            ("Test curl, first and last rod", "13:51, Priya; lotion on 14 of 20 min, from first touch"),
            &[
                (0.0, 11.0, Hands, "wind"),
                (11.0, 26.0, Chemical(Pattern::ThioCurl), "curl lotion"),
                (27.0, 32.0, Basin, "rinse"),
                (32.0, 36.0, Hands, ""),
                (36.0, 46.0, Chemical(Pattern::Neutral), "neutralise"),
                (46.0, 52.0, Basin, "rinse"),
                (54.0, 64.0, Nobody, "condition"),
                (64.0, 67.0, Basin, ""),
                (67.0, 90.0, Hands, "trim, finish"),
            ],
            &[Notch::Bell(1.0), Notch::Most(6.0), Notch::Bell(21.0), Notch::Bell(39.0)],
        )
    };
    let una = Track {
        small_clock: true,
        clock_sense: "in".into(),
        ..track(
            "1",
            "Una R.",
            Clock::down(NOW_MS + 480_000, NOW_MS),
            ("Rinse out the conditioner", "13:58 at the basin, Mara"),
            &[
                (11.0, 21.0, Basin, "rinse, unwind"),
                (23.0, 33.0, Nobody, "condition"),
                (33.0, 37.0, Basin, ""),
                (37.0, 47.0, Hands, "trim"),
                (47.0, 55.0, Hands, "aftercare"),
            ],
            &[Notch::Bell(8.0)],
        )
    };
    let over = Track {
        state: TrackState::Over,
        bell: "5:most".into(),
        ..track(
            "5",
            "Odile F.",
            Clock::down(NOW_MS - 75_000, NOW_MS),
            ("Rinse now", "curl lotion over its longest allowed since 13:49"),
            &[(4.0, 24.0, Chemical(Pattern::ThioCurl), "curl lotion"), (25.0, 31.0, Basin, "rinse")],
            &[Notch::Most(-1.0)],
        )
    };
    let ringing = Track {
        state: TrackState::Ringing,
        bell: "6:target".into(),
        ..track(
            "6",
            "Wanda K.",
            Clock::down(NOW_MS, NOW_MS),
            ("Uncover, smooth from back right", "chair 2, Tobias"),
            &[(10.0, 25.0, Chemical(Pattern::ThioStraightening), "covered"), (25.0, 37.0, Hands, "smooth")],
            &[Notch::Bell(0.0)],
        )
    };
    FloorPicture {
        now_words: "13:50".into(),
        quarters: Quarter::around(NOW_MS, |at_ms| {
            format!("{}:{:02}", at_ms / 3_600_000 % 24, at_ms / 60_000 % 60)
        }),
        lanes: vec![PlaceLane {
            name: "basin".into(),
            blocks: blocks
                .iter()
                .map(|(from, to, words)| LaneBlock {
                    from_min: from - 25.0,
                    to_min: to - 25.0,
                    words: (*words).into(),
                })
                .collect(),
            clashes: vec![Clash {
                from_min: 30.0,
                to_min: 35.0,
                words: "14:20 two rinses, one basin".into(),
            }],
            label: "Basin: Ilka D. 13:52 to 13:57, then Nerys A. and Bette O. together from 14:20".into(),
        }],
        tracks: vec![una, soonest, over, ringing],
    }
}

#[test]
fn the_floor_shows_every_run_on_one_axis() {
    let page = FloorPage { shell: shell(), floor: floor() }.render().unwrap();
    show("floor", &page);
    show(
        "floor-wall",
        &FloorPage { shell: Shell { wall: true, ..shell() }, floor: floor() }.render().unwrap(),
    );
    show(
        "floor-empty",
        &FloorPage { shell: shell(), floor: FloorPicture { tracks: vec![], lanes: vec![], ..floor() } }
            .render()
            .unwrap(),
    );
    // 26 minutes after 13:25 is 13:51: one minute from now, and now stands at 25 %.
    assert!(page.contains("<circle class=\"fill\" cx=\"26%\" cy=\"5\" r=\"5\"/>"));
    assert!(
        page.contains("class=\"track over\"")
            && page.contains("class=\"track ringing\"")
            && page.contains("class=\"track soonest\"")
    );
    assert!(page.contains(&format!("data-clock=\"down\" data-to=\"{}\"", NOW_MS + 60_000)));
    assert!(page.contains("data-bell=\"5:most\""));
    assert!(page.contains(">14:20 two rinses, one basin</text>"));
}

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
    let quad = |side, number, on_min: f64, state, words: &str| Quad {
        side,
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
            fact: "section_started".into(),
            hidden: vec![("pass".into(), "2".into())],
            field: "section".into(),
            heading: "Head from above: start a quadrant".into(),
            note: "From above, face up. Inner ring: first pass. Outer ring: second pass. Tap a quadrant or press its number.".into(),
            lap: Lap::Second,
            quads: vec![
                quad(Side::BackRight, 1, 9.84, QuadState::InHand, "in hand"),
                quad(Side::BackLeft, 2, 7.92, QuadState::Next, "next"),
                quad(Side::FrontLeft, 3, 5.84, QuadState::Waiting, "first done"),
                quad(Side::FrontRight, 4, 3.67, QuadState::Waiting, "first done"),
            ],
        },
        bar: super::parts::bar(),
        small: small(),
    }
}

#[test]
fn a_run_shows_its_window_and_its_head() {
    let page = run_page().render().unwrap();
    show("run", &page);
    assert!(page.contains("data-drain-from="));
    assert!(page.contains("class=\"quad bl next\" name=\"section\" value=\"back-left\" data-key=\"2\""));
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
