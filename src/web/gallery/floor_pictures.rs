//! The Floor, with the drawings' own figures.

use askama::Template;

use super::{NOW_MS, shell, show};
use crate::web::picture::axis::{
    Band, BandKind, Clash, FloorPicture, LaneBlock, Notch, PlaceLane, Quarter, Track, TrackState,
};
use crate::web::picture::{Clock, Pattern};
use crate::web::shell::Shell;

#[derive(Template)]
#[template(
    ext = "html",
    source = r##"{% extends "layout.html" %}{% block title %}Floor{% endblock %}{% block main_class %} floor-page{% endblock %}
{% block main %}<h1 class="unseen">Floor</h1>
<dl class="ahead"><div class="wide"><dt>Thursday 14 May</dt><dd>4 runs, 1 basin<br>connected, 13:50:02</dd></div><div><dt>Next bell, in 1 minute</dt><dd><b>13:51 test curl, Ilka D.</b>chair 4, Priya Lund</dd></div><div><dt>Ahead, in 30 minutes</dt><dd><b>14:20 two rinses, one basin</b>Nerys A. until 14:25. <a href="#main">Say who goes first</a></dd></div></dl>
{{ picture }}
{% include "pictures/floor_key.html" %}
{% endblock %}"##
)]
struct FloorPage {
    shell: Shell,
    picture: FloorPicture,
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
    let page = FloorPage { shell: shell(), picture: floor() }.render().unwrap();
    show("floor", &page);
    show(
        "floor-wall",
        &FloorPage { shell: Shell { wall: true, ..shell() }, picture: floor() }.render().unwrap(),
    );
    show(
        "floor-empty",
        &FloorPage { shell: shell(), picture: FloorPicture { tracks: vec![], lanes: vec![], ..floor() } }
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
    let key = page.split("aria-label=\"Marks on the tracks\"").nth(1).unwrap();
    assert!(key.contains("curl lotion") && key.contains("straightener") && key.contains("neutraliser"));
    assert!(!key.contains("lightener</li>") && !key.contains("acid wave"), "the key names what is drawn");
}
