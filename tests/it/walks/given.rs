//! The service itself, step by step, by the forms the Run screen offers.

use std::time::Duration;

use rinsebell::domain::chemistry::family::Family;
use rinsebell::domain::ids::RunId;
use rinsebell::domain::protocol::{Chemical, Heat, HoldPoint, LookFor, Protocol, SectionWork, Step};

use super::ready::{Stood, words_of};
use crate::support::{Answer, Browser, PIN, Salon};

/// A service under way and who gives it.
struct Hands<'a> {
    salon: &'a Salon,
    at: &'a mut Browser,
    run: i64,
    path: String,
    /// Product is on, or the closing one works or is being rinsed.
    gloved: bool,
}

/// The form of a page that holds `needle`: where it goes and its hidden fields.
fn form(body: &str, needle: &str) -> Option<(String, Vec<(String, String)>)> {
    let at = body.find(needle)?;
    let start = body[..at].rfind("<form")?;
    let end = at + body[at..].find("</form>")?;
    let form = &body[start..end];
    let value = |tag: &str, name: &str| {
        let rest = tag.split(&format!(" {name}=\"")).nth(1)?;
        Some(rest.split('"').next()?.to_string())
    };
    let tag = &form[..form.find('>')?];
    let hidden = form
        .split("<input type=\"hidden\"")
        .skip(1)
        .filter_map(|t| Some((value(t, "name")?, value(t, "value")?)))
        .collect();
    Some((value(tag, "action")?, hidden))
}

/// Words as askama escapes them.
fn escaped(words: &str) -> String {
    words
        .replace('&', "&#38;")
        .replace('\'', "&#39;")
        .replace('"', "&#34;")
        .replace('<', "&#60;")
        .replace('>', "&#62;")
}

impl Hands<'_> {
    async fn page(&mut self) -> Answer {
        let page = self.at.get(&self.path).await;
        assert_eq!(page.status, 200, "{}", page.body);
        page
    }

    /// A station left alone locks itself; never on gloved hands.
    async fn unlock(&mut self, after: &str) {
        if !self.page().await.body.contains("Sign in to sign hold points and start steps") {
            return;
        }
        assert!(!self.gloved, "{after}: the station locked while gloves are on");
        let person = self.salon.staff.stylist.to_string();
        let fields = [("person", person.as_str()), ("pin", PIN), ("next", self.path.as_str())];
        let opened = self.at.post("/sign-in", &fields).await;
        assert_eq!(opened.status, 303, "{}", words_of(&opened.body));
    }

    /// Presses what the page shows: the form around `needle`, with these fields beside its hidden ones.
    async fn press(&mut self, needle: &str, fields: &[(&str, &str)]) {
        let page = self.page().await;
        let Some((action, hidden)) = form(&page.body, needle) else {
            panic!("the page does not offer {needle}: {}", words_of(&page.body));
        };
        let mut all: Vec<(&str, &str)> = hidden.iter().map(|(k, v)| (k.as_str(), v.as_str())).collect();
        all.extend_from_slice(fields);
        let done = self.at.post(&action, &all).await;
        assert_eq!(done.status, 303, "{needle}: {}", words_of(&done.body));
    }

    /// A button that carries its own name and value.
    async fn button(&mut self, name: &str, value: &str) {
        self.press(&format!("name=\"{name}\" value=\"{value}\""), &[(name, value)]).await;
    }

    async fn wait(&self, seconds: u64) {
        self.salon.advance(Duration::from_secs(seconds)).await;
    }

    async fn seconds_since_touch(&self) -> u64 {
        let since: Option<f64> = sqlx::query_scalar(
            "select extract(epoch from rinsebell_now() - max(happened_at))::float8 from run_event where run_id = $1 and kind = 'section_started'",
        )
        .bind(self.run)
        .fetch_one(&self.salon.owner)
        .await
        .expect("read");
        since.unwrap_or(0.0) as u64
    }

    /// Answers what the step waits for; gives what is asked only when the step has begun: a scalp is read at the end of its
    /// inspection.
    async fn answer(&mut self, step: &Step, shelf: &[Stood]) -> Vec<HoldPoint> {
        let page = self.page().await;
        let mut points = step.hold_points.clone();
        // A lot in the bowl already is not asked for again.
        if points.contains(&HoldPoint::Lot) && page.body.contains("Into the bowl:") {
            let letter = step.application.expect("what opens has a letter");
            let lot = shelf.iter().find(|p| p.letter == letter).expect("on the shelf").lot.to_string();
            self.press("id=\"grams\"", &[("lot", lot.as_str()), ("grams", "60")]).await;
        }
        points.retain(|p| *p != HoldPoint::Lot);
        // What closes the hair is dispensed too, and holds nothing up.
        if let Some(letter) = step.application.filter(|_| step.is_closing()) {
            assert!(page.body.contains("For this head:"), "{}: {}", step.code, words_of(&page.body));
            let lot = shelf.iter().find(|p| p.letter == letter).expect("on the shelf").lot.to_string();
            self.press("id=\"grams\"", &[("lot", lot.as_str()), ("grams", "80")]).await;
            assert!(!self.page().await.body.contains("For this head:"), "{}: asked once", step.code);
        }
        let mut later = Vec::new();
        for point in points {
            let page = self.page().await;
            if point == HoldPoint::Scalp && !page.body.contains("id=\"hp-scalp\"") {
                later.push(point);
                continue;
            }
            self.sign(point).await;
        }
        later
    }

    async fn sign(&mut self, point: HoldPoint) {
        let page = self.page().await;
        // Answered some steps before, where nothing came between.
        if page.body.contains(&format!("id=\"held-{}\"", point.code())) {
            return;
        }
        let at = page.body.find(&format!("id=\"hp-{}\"", point.code()));
        let at = at.unwrap_or_else(|| panic!("{} is not asked: {}", point.code(), words_of(&page.body)));
        let asked = &page.body[at..at + page.body[at..].find("</form>").expect("a form ends")];
        if !asked.contains("name=\"sign\"") {
            return;
        }
        self.button("sign", &format!("{}:{}", point.code(), point.answers()[0].code)).await;
    }

    async fn begin(&mut self, step: &Step) {
        let page = self.page().await;
        let title = escaped(&step.title);
        let main = format!("Start: {title}");
        let on = format!("Go on: {title}");
        let needle = if page.body.contains(&main) { main } else { on };
        self.press(&needle, &[]).await;
        let page = self.page().await;
        assert!(
            page.body.contains(&escaped(&step.words)),
            "{}: its words: {}",
            step.code,
            words_of(&page.body)
        );
        let warm = step.heat == Heat::HoodBySheet;
        assert_eq!(page.body.contains("as warm as the product sheet says."), warm, "{}: heat", step.code);
        for caution in &step.cautions {
            assert!(page.body.contains(&escaped(&caution.words)), "{}: {}", step.code, caution.words);
        }
    }

    /// Every section in its order, a minute each at most.
    async fn tap(&mut self, protocol: &Protocol, step: &Step) {
        for section in protocol.sections_of(step) {
            self.button("section", section.code()).await;
            self.wait(if step.is_chemical() { 30 } else { 15 }).await;
        }
    }

    async fn rods(&mut self) {
        self.press("id=\"count\"", &[("count", "60"), ("first_at", "nape"), ("last_at", "crown")]).await;
    }

    /// Looks as often as asked until the step's time is up; the last look says it is done when `done`.
    async fn watch(&mut self, protocol: &Protocol, step: &Step, minutes: u64, done: bool) {
        let Some(look) = step.look else { return self.wait(minutes * 60).await };
        let section = protocol.sections_of(step)[0];
        let (not_yet, reached) = match look.what {
            LookFor::TestCurl => ("first:c".to_string(), "weakest:s".to_string()),
            _ => (format!("{}:not-yet", section.code()), format!("{}:reached", section.code())),
        };
        let mut left = minutes * 60;
        let every = u64::from(look.every_min) * 60;
        while left > every {
            self.wait(every).await;
            left -= every;
            self.button("reading", &not_yet).await;
        }
        self.wait(left).await;
        self.button("reading", if done { &reached } else { &not_yet }).await;
    }

    async fn step(&mut self, protocol: &Protocol, step: &Step, shelf: &[Stood]) {
        self.unlock(step.code.as_str()).await;
        self.gloved = step.is_chemical() || step.application.is_some() || !step.rinses.is_empty();
        let later = self.answer(step, shelf).await;
        self.begin(step).await;
        for point in later {
            let asked = self.page().await.body.contains(&format!("id=\"hp-{}\"", point.code()));
            // It stands since the inspection.
            let stands: bool = sqlx::query_scalar(
                "select exists (select from run_event where run_id = $1 and kind = 'hold_point_signed' and hold_point = $2)",
            )
            .bind(self.run)
            .bind(point.code())
            .fetch_one(&self.salon.owner)
            .await
            .expect("read");
            if asked || !stands {
                self.sign(point).await;
            }
        }
        let next = protocol.index_of(&step.code).and_then(|i| protocol.steps.get(i + 1));
        let last_on =
            step.application.is_some() && next.is_some_and(|n| n.sections == Some(SectionWork::Rinse));
        match step.sections {
            Some(SectionWork::Apply { .. } | SectionWork::Smooth) => self.tap(protocol, step).await,
            Some(SectionWork::Rinse) if !step.rinses.is_empty() && self.opens(protocol, step) => {
                self.tap(protocol, step).await;
            }
            _ => {}
        }
        if step.rods {
            self.rods().await;
        }
        let phase = step.phase.map_or(0, |t| u64::from(t.least_min.max(t.target_min).unwrap_or(10)));
        // Hands-on minutes with product on count on its clock: the walk is quick there.
        let minutes = if step.application.is_some() { phase.max(1) } else { phase.max(2) };
        self.watch(protocol, step, minutes, last_on).await;
        let floor = self.at.get("/floor").await;
        assert_eq!(floor.status, 200, "{}", floor.body);
    }

    /// What this rinse takes off opened the hair.
    fn opens(&self, protocol: &Protocol, step: &Step) -> bool {
        step.rinses.iter().any(|l| protocol.application(*l).is_some_and(|a| a.chemical == Chemical::Opening))
    }
}

/// Every step, optional ones included, in the order of the list.
pub async fn every_step(salon: &Salon, at: &mut Browser, run: i64, protocol: &Protocol, shelf: &[Stood]) {
    let mut hands = Hands { salon, at, run, path: format!("/runs/{run}"), gloved: false };
    for step in &protocol.steps {
        if step.is_opening() {
            assert!(hands.seconds_since_touch().await < 3600, "{}: still in the visit", step.code);
        }
        hands.step(protocol, step, shelf).await;
    }
    hands.unlock("the end").await;
    let page = hands.page().await;
    let last = protocol.steps.last().expect("a step");
    if page.body.contains(&format!("Done: {}", escaped(&last.title))) {
        hands.press(&format!("Done: {}", escaped(&last.title)), &[]).await;
    }
    hands.press("End the service", &[]).await;
}

/// Ended as it should: nothing broken on record, what went on lies in the strand, the aftercare sheet is there.
pub async fn ended(salon: &Salon, at: &mut Browser, run: i64, protocol: &Protocol, shelf: &[Stood]) {
    let how: Option<String> = sqlx::query_scalar("select ended_how from run where run_id = $1")
        .bind(run)
        .fetch_one(&salon.owner)
        .await
        .expect("read");
    assert_eq!(how.as_deref(), Some("finished"), "{}", protocol.code);
    let mut s = salon.app.begin(salon.id).await.expect("begin");
    let loaded =
        rinsebell::flow::runs::load(&mut s, &salon.app, RunId(run)).await.expect("read").expect("there");
    s.commit().await.expect("committed");
    let said: Vec<String> =
        loaded.state().breaches(loaded.now).iter().map(|b| b.words(protocol, &|i| i.to_string())).collect();
    assert!(said.is_empty(), "{}: {said:?}", protocol.code);
    let taken: Vec<String> =
        sqlx::query_scalar("select distinct application from dispensed where run_id = $1 order by 1")
            .bind(run)
            .fetch_all(&salon.owner)
            .await
            .expect("read");
    let letters: Vec<String> = shelf.iter().map(|p| p.letter.to_string()).collect();
    assert_eq!(taken, letters, "{}: the lot of each product is on record", protocol.code);
    let mut strand: Vec<String> = sqlx::query_scalar(
        "select family from strand_event where run_id = $1 and did = 'apply' order by seq",
    )
    .bind(run)
    .fetch_all(&salon.owner)
    .await
    .expect("read");
    strand.sort();
    let mut put_on: Vec<String> = shelf.iter().map(|p| p.family.code().to_string()).collect();
    put_on.sort();
    assert_eq!(strand, put_on, "{}: what the hair met", protocol.code);
    assert!(!strand.iter().any(|f| f == Family::Unknown.code()));
    // Which way hair was re-formed is known of what re-forms it, and of nothing else.
    let way: Vec<Option<bool>> = sqlx::query_scalar(
        "select straightened from strand_event where run_id = $1 and did = 'apply' order by seq",
    )
    .bind(run)
    .fetch_all(&salon.owner)
    .await
    .expect("read");
    let meant: Vec<Option<bool>> = protocol
        .applications
        .iter()
        .map(|a| (a.family.group() == rinsebell::domain::chemistry::Group::Thio).then_some(a.straightens))
        .collect();
    assert_eq!(way, meant, "{}: straightened or curled", protocol.code);
    let sheet = at.get(&format!("/runs/{run}/aftercare")).await;
    assert_eq!(sheet.status, 200, "{}", sheet.body);
    let record = at.get(&format!("/runs/{run}")).await;
    assert!(record.body.contains("Finished"), "{}", words_of(&record.body));
}
