//! Lots: judged by the law at the door, counted, scanned, recalled.

use crate::attack::stage::{Event, Stage};
use crate::chair::{THIO_LABEL, new_client, product, send, straightener, with};
use crate::support::{Browser, Salon};

type Fields = Vec<(&'static str, String)>;

fn lot(others: &[(&'static str, &str)], seen: bool) -> Fields {
    let mut fields =
        with(vec![], &[("code", "L-2"), ("received_on", "2026-01-05"), ("received_grams", "400")]);
    fields = with(fields, others);
    if seen {
        fields.extend(THIO_LABEL.map(|w| ("seen", w.to_string())));
    }
    fields
}

async fn newest_lot(at: &mut Browser, product_id: i64) -> i64 {
    let page = at.get(&format!("/shelf/products/{product_id}")).await;
    let ids = page.body.split("/shelf/lots/").skip(1);
    ids.filter_map(|x| x.split('"').next()?.parse::<i64>().ok()).max().expect("a lot")
}

#[tokio::test]
async fn a_lot_is_judged_by_its_own_label_and_its_words_are_ticked() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (product_id, _) = straightener(&mut chair, "Kestrel Smooth").await;
    let form = format!("/shelf/products/{product_id}/lots/new");
    let to = format!("/shelf/products/{product_id}/lots");
    // Annex III 2a: every word of the label is asked for, with the limit and its source beside it.
    let shown = chair.get(&form).await;
    for word in THIO_LABEL {
        assert!(shown.body.contains(word), "{word}");
    }
    assert!(shown.body.contains("Annex III 2a") && shown.body.contains("9.28 %"), "{}", shown.body);
    let unread = send(&mut chair, &form, &to, &lot(&[], false)).await;
    assert!(
        unread.status == 422
            && unread.body.contains("id=\"seen-error\"")
            && unread.body.contains("value=\"L-2\"")
    );
    assert_eq!(send(&mut chair, &form, &to, &lot(&[], true)).await.status, 303);
    // 13.5 % ammonium thioglycolate is 11.39 % as thioglycolic acid: over 11 (3-calc.md: × 92.11/109.14).
    let strong = [("code", "L-3"), ("ingredient", "ammonium-thioglycolate"), ("percent", "13.5")];
    let over = send(&mut chair, &form, &to, &lot(&strong, true)).await;
    assert!(
        over.status == 422 && over.body.contains("id=\"apart-error\"") && over.body.contains("11.39 %"),
        "{}",
        over.body
    );
    assert!(over.body.contains("<h1>Outside the law: into quarantine only"));
    let measured = send(&mut chair, &form, &to, &lot(&[("code", "L-4"), ("ph", "9.7")], true)).await;
    assert!(measured.status == 422 && measured.body.contains("id=\"apart-error\""), "pH 7 to 9.5");
    let mut apart = with(lot(&strong, false), &[("apart", "yes"), ("apart_reason", "")]);
    let why = send(&mut chair, &form, &to, &apart).await;
    assert!(why.status == 422 && why.body.contains("id=\"apart_reason-error\""));
    apart = with(apart, &[("apart_reason", "goes back")]);
    assert_eq!(send(&mut chair, &form, &to, &apart).await.status, 303);
    let id = newest_lot(&mut chair, product_id).await;
    let page = chair.get(&format!("/shelf/lots/{id}")).await;
    assert!(
        page.body.contains("L-3: quarantined")
            && page.body.contains("goes back")
            && page.body.contains("not allowed so")
    );
    assert!(chair.get("/shelf").await.body.contains("Quarantined <small>never dispensed"));
    // Not on skin either; and judging it anew does not let it out.
    let client = new_client(&mut chair, "Nerys Amblin", "1990-05-14").await;
    let tests = format!("/clients/{client}/tests");
    let placed = with(vec![], &[("lot", &format!("{product_id}-{id}")), ("place", "left-inner-elbow")]);
    assert_eq!(send(&mut chair, &tests, &format!("{tests}/skin"), &placed).await.status, 422);
    let anew = format!("/shelf/lots/{id}/judgement");
    let mut back = salon.seat("Back office", "desk", salon.staff.manager).await;
    let mut out = with(vec![], &[("ingredient", "ammonium-thioglycolate"), ("percent", "13.5")]);
    out.extend(THIO_LABEL.map(|w| ("seen", w.to_string())));
    let outside = send(&mut back, &anew, &anew, &out).await;
    assert!(
        outside.status == 422
            && outside.body.contains("id=\"apart-error\"")
            && outside.body.contains("id=\"why_anew-error\""),
        "not even by a manager: {}",
        outside.body
    );
    // The label was misread: 10.5 % is within, and the words are read. A stylist notes it, a manager lets it out.
    let mended = with(out, &[("percent", "10.5"), ("why_anew", "10.5 was misread as 13.5")]);
    let refused = send(&mut chair, &anew, &anew, &mended).await;
    assert!(
        refused.status == 422
            && refused.body.contains("only a manager lets it out")
            && refused.body.contains("10.5 was misread"),
        "{}",
        refused.body
    );
    assert_eq!(send(&mut back, &anew, &anew, &mended).await.status, 303);
    let page = chair.get(&format!("/shelf/lots/{id}")).await;
    for shown in ["L-3: in date", "let out of quarantine", "10.5 was misread as 13.5"] {
        assert!(page.body.contains(shown), "{shown}: {}", page.body);
    }
}

#[tokio::test]
async fn the_database_holds_quarantine_whatever_the_app_says() {
    let stage = Stage::ready().await;
    let mut app = stage.app().await;
    for own in ["law_verdict = 'within'", "quarantined = false", "label_seen = '[]'", "contents = null"] {
        let done = app.run(&format!("update lot set {own} where lot_id = {{lot}}")).await;
        assert_eq!(done.expect_err("by a judgement alone").code, "42501", "{own}");
    }
    let judge = |by: &str, verdict: &str, apart: &str, why: &str| {
        format!("insert into lot_judgement (salon_id, lot_id, judged_by, place, law_verdict, quarantine_reason, why)
            values ({{s}}, {{lot}}, {{{by}}}, 'eu', '{verdict}', {apart}, '{why}')")
    };
    let outside = app.run(&judge("stylist", "outside", "null", "measured")).await;
    assert_eq!(outside.expect_err("it stands apart").words, "lot_judgement_outside_quarantined");
    let silent = app.run(&judge("stylist", "outside", "'over'", " ")).await;
    assert_eq!(silent.expect_err("why").words, "lot_judgement_words");
    for by in ["assistant", "leaver", "reception"] {
        let done = app.run(&judge(by, "outside", "'over'", "measured")).await;
        assert_eq!(done.expect_err(by).words, "lot:judged-by-nobody");
    }
    app.must(&judge("stylist", "outside", "'over'", "measured")).await;
    let bowl = format!("{{\"application\": \"A\", \"lot_id\": {}, \"grams\": 40}}", stage.house.id("lot"));
    let told = app.tell(&Event { data: bowl.clone(), ..Event::may("lot_dispensed") }).await;
    assert_eq!(told.expect_err("not into a bowl").words, "lot:quarantined");
    // The bowl was filled before that was known: it does not go on the head.
    let start = app.tell(&Event::start("apply")).await;
    assert_eq!(start.expect_err("not on the head").words, "lot:quarantined");
    let skin = app
        .run(
            "insert into skin_test (salon_id, client_id, product_id, lot_id, formula, place, placed_by)
        select {s}, client_id, product_id, {lot}, 1, 'left-inner-elbow', {stylist} from lot, client
        where lot.lot_id = {lot} and client.salon_id = {s} limit 1",
        )
        .await;
    assert_eq!(skin.expect_err("nor on skin").words, "lot:quarantined");
    for (by, verdict, no) in [
        ("manager", "outside", "lot_judgement_outside_quarantined"),
        ("stylist", "within", "lot:manager-lets-out"),
        // The straightener's contents are not entered: nobody asked the law.
        ("manager", "not-judged", "lot:law-not-asked"),
    ] {
        let out = app.run(&judge(by, verdict, "null", "read again")).await;
        assert_eq!(out.expect_err("not out").words, no, "{by} {verdict}");
    }
    app.must(&judge("manager", "within", "null", "the percent was misread")).await;
    let kept =
        app.number("select count(*) from lot_judgement where lot_id = {lot} and out_of_quarantine").await;
    assert_eq!(kept, 1);
    for gone in ["update lot_judgement set why = 'x'", "delete from lot_judgement"] {
        assert_eq!(app.run(&format!("{gone} where salon_id = {{s}}")).await.expect_err("kept").code, "42501");
    }
    let more = bowl.replace("40", "4999");
    let told = app.tell(&Event { data: more, ..Event::may("lot_dispensed") }).await;
    assert_eq!(told.expect_err("more than ever came in").words, "lot:more-than-came-in");
    app.must("update lot set withdrawn_at = rinsebell_now(), withdrawn_reason = 'recalled', withdrawn_by = {stylist} where lot_id = {lot}").await;
    for back in
        ["withdrawn_at = null, withdrawn_reason = null, withdrawn_by = null", "withdrawn_reason = 'another'"]
    {
        assert!(app.run(&format!("update lot set {back} where lot_id = {{lot}}")).await.is_err(), "{back}");
    }
}

#[tokio::test]
async fn the_book_follows_what_is_thrown_away_counted_and_taken_beyond_it() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (_, lot_id) = straightener(&mut chair, "Kestrel Smooth").await;
    let here = format!("/shelf/lots/{lot_id}");
    let to = format!("{here}/stock");
    let note = |kind: &str, grams: &str| {
        with(vec![], &[("kind", kind), ("grams", grams), ("reason", "mixture left")])
    };
    assert_eq!(send(&mut chair, &here, &to, &note("thrown-away", "40")).await.status, 303);
    assert!(chair.get(&here).await.body.contains("460 of 500 g left"));
    let more = send(&mut chair, &here, &to, &note("spilled", "461")).await;
    assert!(
        more.status == 422 && more.body.contains("460 g are left") && more.body.contains("value=\"461\""),
        "{}",
        more.body
    );
    assert_eq!(send(&mut chair, &here, &to, &note("counted", "480")).await.status, 303);
    let page = chair.get(&here).await;
    assert!(
        page.body.contains("480 of 500 g left")
            && page.body.contains("+20 g")
            && page.body.contains("mixture left")
    );
    for (kind, grams, field) in [
        ("more-than-the-book", "5", "kind"),
        ("", "5", "kind"),
        ("spilled", "0", "grams"),
        ("counted", "", "grams"),
    ] {
        let back = send(&mut chair, &here, &to, &note(kind, grams)).await;
        assert!(back.status == 422 && back.body.contains(&format!("id=\"{field}-error\"")), "{kind} {grams}");
    }
    let app = &salon.app;
    let mut s = app.begin(salon.id).await.unwrap();
    let kept = sqlx::query("update stock_note set change_grams = 0 where salon_id = $1")
        .bind(salon.id.0)
        .execute(&mut *s.tx)
        .await;
    assert!(kept.is_err(), "the stock record is never changed");
}

#[tokio::test]
async fn a_bowl_beyond_the_book_is_noted_by_the_record_itself() {
    let stage = Stage::ready().await;
    let mut app = stage.app().await;
    let came = app.number("select received_grams::bigint from lot where lot_id = {lot}").await;
    // 40 g are in the bowl already; counted down to 10, a bowl of 30 took 20 more than the book had.
    app.must("insert into stock_note (salon_id, lot_id, noted_by, kind, change_grams, counted_grams) values ({s}, {lot}, {stylist}, 'counted', 0, 10)").await;
    assert_eq!(app.number("select rinsebell_lot_left({s}, {lot})::bigint").await, 10);
    let bowl = format!("{{\"application\": \"A\", \"lot_id\": {}, \"grams\": 30}}", stage.house.id("lot"));
    app.told(Event { data: bowl, ..Event::may("lot_dispensed") }).await;
    assert_eq!(app.number("select rinsebell_lot_left({s}, {lot})::bigint").await, 0);
    let noted = app.number("select change_grams::bigint from stock_note where lot_id = {lot} and kind = 'more-than-the-book' and run_id is not null").await;
    assert_eq!(noted, 20);
    assert!(came > 70);
    let forged = "insert into stock_note (salon_id, lot_id, noted_by, kind, change_grams) values ({s}, {lot}, {stylist}, 'more-than-the-book', 5)";
    assert!(app.run(forged).await.is_err());
}

#[tokio::test]
async fn a_scan_leads_to_its_lot_or_to_the_form_that_books_it_in() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let numbered = with(product(), &[("gtin", "9521234543213"), ("name", "Kestrel Smooth")]);
    let made = send(&mut chair, "/shelf/products/new", "/shelf/products", &numbered).await;
    let product_id = made.location_id();
    let scan = |code: &str| format!("/shelf/scan?code={}", rinsebell::web::page::query_value(code));
    // The lot is not there yet: the form stands filled in.
    let raw = "]d20109521234543213172809001012AB\u{1d}3103000450306";
    let asked = chair.get(&scan(raw)).await;
    assert!(
        asked.status == 303
            && asked.location.starts_with(&format!("/shelf/products/{product_id}/lots/new?scan=")),
        "{asked:?}"
    );
    let form = chair.get(&asked.location).await;
    // Day 00 is the last of the month (GS1 General Specifications, AI 17).
    assert!(
        form.body.contains("value=\"12AB\"") && form.body.contains("value=\"2028-09-30\""),
        "{}",
        form.body
    );
    assert!(form.body.contains("value=\"450\"") && form.body.contains("6 pieces"), "{}", form.body);
    let fields = lot(&[("code", "12AB"), ("best_before", "2028-09-30")], false);
    assert_eq!(
        send(&mut chair, &asked.location, &format!("/shelf/products/{product_id}/lots"), &fields)
            .await
            .status,
        303
    );
    let lot_id = newest_lot(&mut chair, product_id).await;
    for code in [raw, "(01)09521234543213(10)12AB", "12ab", " 12AB\r"] {
        let found = chair.get(&scan(code)).await;
        assert_eq!((found.status, found.location), (303, format!("/shelf/lots/{lot_id}")), "{code:?}");
    }
    let number = chair.get(&scan("9521234543213")).await;
    assert_eq!(number.location, format!("/shelf/products/{product_id}"));
    // A number nobody knows: a new product, and its lot after it.
    let unknown = chair.get(&scan("(01)09506000134352(17)280101(10)Z9")).await;
    assert!(
        unknown.status == 200
            && unknown.body.contains("No product has this number")
            && unknown.body.contains("Z9")
    );
    let new = "/shelf/products/new?scan=%2801%2909506000134352%2817%29280101%2810%29Z9";
    let empty = chair.get(new).await;
    assert!(empty.body.contains("value=\"09506000134352\""), "{}", empty.body);
    let typed = with(product(), &[("name", "Brought"), ("gtin", "09506000134352")]);
    let made = send(&mut chair, new, &new.replace("/new", ""), &typed).await;
    assert!(made.status == 303 && made.location.contains("/lots/new?scan="), "{made:?}");
    assert!(chair.get(&made.location).await.body.contains("value=\"Z9\""));
    // Unknown parts and wrong digits are told, what was typed stays.
    for (code, words) in [
        ("(01)09521234543213(8005)000365", "8005"),
        ("]C10109521234543214", "check digit"),
        ("", "Nothing was read"),
    ] {
        let told = chair.get(&scan(code)).await;
        assert!(told.status == 422 && told.body.contains(words), "{code}: {}", told.body);
    }
    assert!(chair.get(&scan("no such")).await.body.contains("No lot is called no such"));
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    assert_eq!(desk.get(&scan("12AB")).await.status, 403, "reception sees no chemistry");
    let mut basin = salon.seat("Basin", "basin", salon.staff.assistant).await;
    assert_eq!(basin.get(&scan(raw)).await.location, format!("/shelf/lots/{lot_id}"));
    let other = basin.get(&scan("(01)09521234543213(10)NEW")).await;
    assert!(
        other.status == 200 && other.body.contains("not on the shelf yet"),
        "no form for who may not send it"
    );
}

#[tokio::test]
async fn a_recall_names_every_head_and_no_cell_is_a_formula() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (product_id, lot_id) = straightener(&mut chair, "=Kestrel Smooth").await;
    let client = new_client(&mut chair, "+Nerys, Amblin", "1990-05-14").await;
    let tests = format!("/clients/{client}/tests");
    let placed = with(vec![], &[("lot", &format!("{product_id}-{lot_id}")), ("place", "left-inner-elbow")]);
    assert_eq!(send(&mut chair, &tests, &format!("{tests}/skin"), &placed).await.status, 303);
    let strand = with(
        vec![],
        &[
            ("strand_product", &format!("{product_id}-{lot_id}")),
            ("strand_place", "worst-place"),
            ("strand_minutes", "22"),
            ("curl_formed", "yes"),
            ("wet_stretch", "breaks"),
            ("gummy", "no"),
        ],
    );
    assert_eq!(send(&mut chair, &tests, &format!("{tests}/strand"), &strand).await.status, 303);
    // Two taps: Shelf → lot → heads.
    let shelf = chair.get("/shelf").await;
    assert!(shelf.body.contains(&format!("/shelf/lots/{lot_id}\"")), "the lot is a tap away");
    let list = chair.get(&format!("/shelf/lots/{lot_id}/recall")).await;
    assert!(
        list.body.contains("met one client")
            && list.body.contains("patch test inside the left elbow, not read yet")
            && list.body.contains("strand test, the worst place")
            && list.body.contains("not passed"),
        "{}",
        list.body
    );
    let file = chair.get(&format!("/shelf/lots/{lot_id}/recall.csv")).await;
    assert!(
        file.headers["content-type"].to_str().unwrap().starts_with("text/csv")
            && file.headers["cache-control"] == "private, no-store"
    );
    let rows: Vec<&str> = file.body.split("\r\n").filter(|r| !r.is_empty()).collect();
    assert_eq!(rows.len(), 3, "{}", file.body);
    for row in &rows[1..] {
        assert!(row.starts_with("\"'=Kestrel Smooth\",L-1,\"'+Nerys, Amblin\","), "{row}");
    }
    let mut basin = salon.seat("Basin", "basin", salon.staff.assistant).await;
    assert_eq!(basin.get(&format!("/shelf/lots/{lot_id}/recall")).await.status, 200);
    assert_eq!(basin.get(&format!("/shelf/lots/{lot_id}/recall.csv")).await.status, 403);
    // Whom somebody told stands beside each head, and a try does not count as told.
    let recall = format!("/shelf/lots/{lot_id}/recall");
    let calls = format!("{recall}/calls");
    assert!(list.body.contains("Told so far: 0 of 1."), "{}", list.body);
    let none = with(vec![], &[("client", &client.to_string()), ("outcome", "not-reached")]);
    assert_eq!(send(&mut chair, &recall, &calls, &none).await.status, 303);
    let after = chair.get(&recall).await.body;
    assert!(after.contains("Told so far: 0 of 1.") && after.contains("not reached "), "{after}");
    let told = with(vec![], &[("client", &client.to_string()), ("outcome", "told")]);
    assert_eq!(send(&mut chair, &recall, &calls, &told).await.status, 303);
    let after = chair.get(&recall).await.body;
    assert!(after.contains("All of them were told.") && !after.contains("value=\"told\""), "{after}");
    // Nobody the lot never met, and no third word.
    let other = new_client(&mut chair, "Somebody else", "1991-01-01").await;
    let mut try_told = async |client: String, outcome: &str| {
        let once = rinsebell::secret::new_uuid();
        let fields = [("once", once.as_str()), ("client", client.as_str()), ("outcome", outcome)];
        chair.post(&calls, &fields).await.status
    };
    assert_eq!(try_told(other.to_string(), "told").await, 404);
    assert_eq!(try_told(client.to_string(), "perhaps").await, 400);
}

#[tokio::test]
async fn contents_corrected_over_the_limit_put_their_lots_apart_and_corrected_back_let_them_be_judged_out() {
    let salon = Salon::open().await;
    let mut back = salon.seat("Back office", "desk", salon.staff.manager).await;
    let (product_id, lot_id) = straightener(&mut back, "Kestrel Smooth").await;
    let label = format!("/shelf/products/{product_id}/label");
    let here = format!("/shelf/lots/{lot_id}");
    let correct = async |back: &mut Browser, percent: &str| {
        let version = back.get(&label).await.field("version");
        let fields = with(
            product(),
            &[
                ("version", version.as_str()),
                ("ingredient", "ammonium-thioglycolate"),
                ("percent", percent),
                ("ph", "9.2"),
            ],
        );
        assert_eq!(send(back, &label, &label, &fields).await.status, 303);
    };
    // 13.5 % is 11.39 % as thioglycolic acid, over 11 (Annex III 2a, professional).
    correct(&mut back, "13.5").await;
    let page = back.get(&here).await;
    assert!(page.body.contains("L-1: quarantined") && page.body.contains("was corrected"), "{}", page.body);
    // That was the mistake; the lot stays apart until somebody judges it anew.
    correct(&mut back, "11").await;
    let page = back.get(&here).await;
    assert!(
        page.body.contains("L-1: quarantined") && page.body.contains("would be within the law"),
        "{}",
        page.body
    );
    let anew = format!("{here}/judgement");
    let mut out = with(vec![], &[("why_anew", "the percent was mistyped")]);
    out.extend(THIO_LABEL.map(|w| ("seen", w.to_string())));
    assert_eq!(send(&mut back, &anew, &anew, &out).await.status, 303);
    assert!(back.get(&here).await.body.contains("L-1: in date"));
}

#[tokio::test]
async fn a_long_past_hides_no_lot_in_use() {
    use rinsebell::domain::ids::ProductId;
    use rinsebell::store::lots::list_some;

    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (product_id, lot_id) = straightener(&mut chair, "Kestrel Smooth").await;
    let past = format!(
        "insert into lot (salon_id, product_id, code, received_on, best_before, opened_on, opened_life_days, received_grams, withdrawn_at,
            quarantined, quarantine_reason) values
          ({s}, {product_id}, 'P-1', '2026-02-01', '2026-02-02', null, null, 100, null, false, null),
          ({s}, {product_id}, 'P-2', '2026-02-01', null, '2026-02-01', 1, 100, null, false, null),
          ({s}, {product_id}, 'P-3', '2026-02-01', null, null, null, 100, now(), false, null),
          ({s}, {product_id}, 'P-4', '2026-02-01', null, null, null, 100, null, true, 'goes back')",
        s = salon.id.0
    );
    sqlx::raw_sql(sqlx::AssertSqlSafe(past)).execute(&salon.owner).await.unwrap();
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let day = time::macros::date!(2026 - 11 - 30);
    let ids = |lots: Vec<rinsebell::store::lots::Lot>| lots.into_iter().map(|l| l.lot_id).collect::<Vec<_>>();
    assert_eq!(ids(list_some(&mut s, None, day, 1).await.unwrap()), [lot_id], "though it came in first");
    assert_eq!(ids(list_some(&mut s, Some(ProductId(product_id)), day, 1).await.unwrap()), [lot_id]);
    assert_eq!(list_some(&mut s, None, day, 1000).await.unwrap().len(), 5);
}
