//! Strand and fan, with the drawings' own figures.

use askama::Template;

use super::{shell, show};
use crate::web::picture::fan::{Due, Fan, Measured};
use crate::web::picture::strand_ruler::{Edge, Found, Lane, Piece, Planned, Size, StrandRuler};
use crate::web::picture::{Pattern, Verdict};
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

pub(super) fn small() -> StrandRuler {
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
