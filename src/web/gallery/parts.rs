//! The frame and the parts of forms.

use askama::Template;

use super::{NOW_MS, shell, show};
use crate::web::form::{Choice, Errors, Reason};
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
<div class="aid" role="alert"><h2>Rinse now</h2><ol><li>Water, cool, at least 15 minutes.</li><li>Eyes: rinse outward from the nose.</li></ol></div>
<p class="notice">The next bell is in eight minutes.</p>
{% endblock %}
{% block bar %}<div class="bar" aria-label="Act">
<form method="post"><button class="act main" data-key="Space">Start back left, second pass <kbd>Space</kbd></button></form>
<form method="post"><button class="act">It stings</button></form>
<form method="post"><button class="act stop" data-key="R">Stop and rinse <kbd>R</kbd></button></form></div>{% endblock %}
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
