//! The frame and the parts of forms.

use askama::Template;

use super::{NOW_MS, shell, show};
use crate::web::bar::{Bar, MainAct, Reach, Stings, Stop};
use crate::web::form::{Choice, Errors, Reason};
use crate::web::picture::Verdict;
use crate::web::shell::{ClientTabs, ScreenLink, Shell};

#[derive(Template)]
#[template(
    ext = "html",
    source = r##"{% extends "layout.html" %}
{% import "parts/forms.html" as forms %}
{% block title %}Parts{% endblock %}
{% block main %}
<header class="answer">{% include "parts/client_tabs.html" %}<h1>Every part of a form</h1><p>As it looks when it has come back with something wrong.</p></header>
{% call forms::refusal("Not yet", reasons) %}{% endcall %}
{% call forms::error_summary(errors) %}{% endcall %}
<form method="post" class="form">
  {% call forms::once("k-1") %}{% endcall %}
  <section class="section"><h2>Lines</h2>
  {% call forms::field("Name", "name", name, errors, "As the client says it.") %}{% endcall %}
  {% call forms::typed("Birthday", "born", "date", "", errors, "") %}{% endcall %}
  {% call forms::number("New growth", "new_growth_mm", "2e", "mm, stretched", errors, "From the scalp to the demarcation.") %}{% endcall %}
  {% call forms::select("Porosity", "porosity", values, errors, "") %}{% endcall %}
  {% call forms::lines("Anything else", "note", "", errors, "") %}{% endcall %}
  </section>
  <section class="section"><h2>Values</h2>
  {% call forms::radios("Scalp", "scalp", values, errors, "Look under good light.", true) %}{% endcall %}
  {% call forms::boxes("Has met", "met", values, errors, "") %}{% endcall %}
  {% call forms::people("Who signs", "person", people, errors) %}{% endcall %}
  {% call forms::pin("PIN", "pin", errors) %}{% endcall %}
  {% call forms::signature("Client", "signature", "", errors) %}{% endcall %}
  </section>
  {% call forms::acts("Sign", "Back", "/floor") %}{% endcall %}
</form>
{% call forms::aid("Stopped 13:52. Rinse now", aid) %}{% endcall %}
<ol class="findings"><li class="finding refuse">{% call forms::verdict(1, verdict) %}{% endcall %}<div><h3>B runs over relaxed hair, 96 to 148 mm</h3><p>Nobody may override it.</p></div><p class="change">Possible with a 52 mm trim</p></li></ol>
{% call forms::empty("Runs under way stand here.", "Start a run", "/runs/new") %}{% endcall %}
<p class="notice">The next bell is in eight minutes.</p>
{% endblock %}
{% block bar %}{{ bar }}{% endblock %}
"##
)]
struct Parts {
    shell: Shell,
    tabs: ClientTabs,
    name: String,
    errors: Errors,
    values: Vec<Choice>,
    people: Vec<Choice>,
    reasons: Vec<Reason>,
    aid: Vec<String>,
    verdict: Verdict,
    bar: Bar,
}

/// The bar of a chemical step.
pub fn bar() -> Bar {
    Bar {
        early: None,
        main: Some(MainAct {
            words: "Start back left, second pass".into(),
            action: "/runs/3/facts".into(),
            reach: Reach::Fact("section_started".into()),
            hidden: vec![("section".into(), "back-left".into())],
        }),
        stings: Some(Stings {
            action: "/runs/3/facts".into(),
            hidden: vec![],
            places: vec![("hairline".into(), "hairline".into()), ("nape".into(), "nape".into())],
            words: "Rinse that place now, then read the scalp before anything more goes on.".into(),
        }),
        stop: Some(Stop {
            action: "/runs/3/facts".into(),
            hidden: vec![],
            aid: vec!["Cool water on the head, now.".into()],
        }),
        said: "Taken as Tobias Fenn".into(),
    }
}

fn parts() -> Parts {
    let mut errors = Errors::none();
    errors.note("name", "Write a name.");
    errors.note("new_growth_mm", "Write millimetres, such as 23.");
    errors.note("scalp", "Say how the scalp looks.");
    Parts {
        shell: Shell { practice: true, ..shell() },
        tabs: ClientTabs {
            name: "Hester Quaye".into(),
            links: ScreenLink::line(&[("Strand", "/c/1/strand"), ("Plan", "/c/1/plan")], "/c/1/plan"),
        },
        name: "<b>Hester</b> & \"Co\"".into(),
        errors,
        values: Choice::list([("intact", "intact"), ("red", "red or sore"), ("broken", "broken")], &["red"]),
        people: Choice::list([("1", "Mara Quill"), ("2", "Tobias Fenn"), ("3", "Priya Lund")], &[]),
        reasons: vec![
            Reason::with_way(
                "The scalp was read 94 minutes ago and holds for 90.",
                "Read the scalp",
                "/r/1/scalp",
            ),
            Reason::plain("Gloves are not signed for this step."),
        ],
        aid: vec!["Cool water, at least 15 minutes.".into(), "Eyes: rinse outward from the nose.".into()],
        verdict: Verdict::Refuse,
        bar: bar(),
    }
}

#[test]
fn a_form_comes_back_with_what_was_typed_and_what_is_wrong() {
    let page = parts().render().unwrap();
    show("parts", &page);
    // Typed text comes back, written as text and not as markup.
    assert!(
        page.contains("value=\"&#60;b&#62;Hester&#60;/b&#62; &#38; &#34;Co&#34;\""),
        "typed text is kept and escaped"
    );
    assert!(page.contains("value=\"2e\""), "a wrong number comes back as typed");
    // ARIA 1.2 (from memory): a field in error says so and names its message.
    assert!(page.contains("aria-invalid=\"true\" autofocus aria-describedby=\"name-hint name-error\""));
    assert_eq!(page.matches(" autofocus").count(), 2, "the refusal, and the first field in error");
    assert!(page.contains("3 things to mend") && page.contains("href=\"#new_growth_mm\""));
}

#[test]
fn the_frame_says_where_when_and_what_it_follows() {
    let page = parts().render().unwrap();
    assert!(page.contains(&format!("data-server-now=\"{NOW_MS}\"")));
    assert!(page.contains("data-topics=\"floor\"") && page.contains("data-live=\"/live\""));
    assert!(page.contains("<a href=\"/floor\" aria-current=\"page\">Floor</a>"));
    assert!(page.contains("Practice salon.") && page.contains("<title>Parts · Kestrel Row</title>"));
    let plain = Parts { shell: Shell::plain("Kestrel Row", 0), ..parts() }.render().unwrap();
    assert!(
        !plain.contains("Practice salon.")
            && !plain.contains("data-live")
            && !plain.contains("<nav aria-label=\"Screens\"")
    );
}

#[test]
fn the_bar_takes_facts_without_contact_and_lets_permissions_wait() {
    let page = bar().to_string();
    assert!(page.contains("data-fact=\"section_started\"") && page.contains("data-key=\"Space\""));
    assert!(
        page.contains("data-fact=\"stop_recorded\" data-reveal=\"aid\"") && page.contains("data-key=\"R\"")
    );
    assert!(page.contains("data-fact=\"sting_reported\"") && page.contains("href=\"#stings\""));
    let mut waiting = bar();
    waiting.main.as_mut().unwrap().reach = Reach::Permission;
    assert!(waiting.to_string().contains("method=\"post\" data-permission>"));
    // A stop stays on the bar whatever else is missing: stop and rinse is never refused.
    let bare = Bar { main: None, stings: None, ..bar() }.to_string();
    assert!(bare.contains("Stop and rinse") && !bare.contains("It stings"));
}
