insert into person (salon_id, person_id, name, role) values
  ({s}, {manager}, 'Hester Quaye', 'manager'), ({s}, {stylist}, 'Una Reve', 'stylist'), ({s}, {other_stylist}, 'Ilka Dorn', 'stylist'),
  ({s}, {assistant}, 'Bette Orr', 'assistant'), ({s}, {reception}, 'Nerys Amblin', 'reception'), ({s}, {colourist}, 'Wren Sable', 'stylist'),
  ({s}, {leaver}, 'Corin Hale', 'stylist');
insert into qualification (salon_id, person_id, chemistry) values
  ({s}, {manager}, 'thio'), ({s}, {stylist}, 'thio'), ({s}, {other_stylist}, 'thio'), ({s}, {leaver}, 'thio'), ({s}, {assistant}, 'thio'),
  ({s}, {colourist}, 'colour');
update person set left_at = rinsebell_now() where salon_id = {s} and person_id = {leaver};
insert into station (salon_id, station_id, name, kind) values ({s}, {station}, 'Chair 9', 'chair');
insert into client (salon_id, client_id, name, born_on) values ({s}, {client}, 'Petra Vane', '1990-05-05'), ({s}, {stranger}, 'Lio Harrow', '1985-01-01');
insert into product (salon_id, product_id, name, family, use_as, form, strength, skin_test) values
  ({s}, {product}, 'Straightener Nine', 'thio', 'straightener', 'cream', 'regular', 'patch'),
  ({s}, {lotion}, 'Curl Lotion Nine', 'thio', 'lotion', 'lotion', 'mild', 'patch'),
  ({s}, {colour}, 'Oak Brown', 'oxidative-colour', 'colour', 'cream', 'regular', 'patch'),
  ({s}, {relaxer}, 'Relaxer Nine', 'sodium-hydroxide', 'straightener', 'cream', 'mild', 'none-by-sheet');
insert into product_time (salon_id, product_id, clock, target_min, most_min, counts_from, entered_by) values
  ({s}, {product}, 'exposure', 15, 20, 'first-touch', {stylist});
insert into lot (salon_id, lot_id, product_id, code, received_on, received_grams) values
  ({s}, {lot}, {product}, 'K-100', '2026-01-01', 500), ({s}, {other_lot}, {lotion}, 'L-100', '2026-01-01', 500);
insert into protocol_revision (salon_id, protocol, revision, title, chemistry, body, fingerprint) values
  ({s}, 'retouch-{s}', 1, 'Retouch', 'thio', '-', '\x00');
insert into strand (salon_id, client_id, length_mm, on_day) values ({s}, {client}, 300, '2025-01-01');
insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, known, recorded_at) values
  ({s}, {client}, 1, '2025-02-01', 'apply', 'thio', 'root-to-end', 'told', rinsebell_now() - interval '60 days');
insert into consult (salon_id, client_id, taken_at, taken_by, black_henna_reaction, black_henna, scalp, scratched_within_3_days, pregnant, medication,
  scalp_treatment, home_colour, silver_in_history) values
  ({s}, {client}, rinsebell_now() - interval '5 days', {stylist}, false, false, 'intact', false, false, false, false, 'never', false);
insert into skin_test (salon_id, skin_test_id, client_id, product_id, lot_id, formula, place, placed_at, placed_by, read_at, read_by, outcome) values
  ({s}, {skin_test}, {client}, {product}, {lot}, 1, 'behind-left-ear', rinsebell_now() - interval '72 hours', {stylist},
    rinsebell_now() - interval '2 hours', {stylist}, 'no-reaction');
insert into hair_test (salon_id, client_id, kind, product_id, formula, place, minutes, curl_formed, wet_stretch, gummy, passed, done_at, done_by) values
  ({s}, {client}, 'strand', {product}, 1, 'worst-place', 15, true, 'returns', false, true, rinsebell_now() - interval '2 days', {stylist});
insert into consent (salon_id, client_id, words, signed_name, signer, witnessed_by) values
  ({s}, {client}, 'I was told what is put on.', 'Petra Vane', 'client', {stylist});
insert into plan (salon_id, plan_id, client_id, protocol, revision, made_by, as_of, strand_seq, verdict, findings, applications) values
  ({s}, {plan}, {client}, 'retouch-{s}', 1, {stylist}, '2020-01-01', 1, 'test-first', '[]', '[{}]'),
  ({s}, {other_plan}, {stranger}, 'retouch-{s}', 1, {stylist}, '2020-01-01', 0, 'clear', '[]', '[{}]');
insert into plan_product (salon_id, plan_id, application, product_id, strand_test_asked) values
  ({s}, {plan}, 'A', {product}, true), ({s}, {other_plan}, 'A', {product}, false);
insert into run (salon_id, run_id, client_id, plan_id, protocol, revision, reference_fingerprint, chair, started_by) values
  ({s}, {run}, {client}, {plan}, 'retouch-{s}', 1, '-', 'Chair 9', {stylist}),
  ({s}, {other_run}, {stranger}, {other_plan}, 'retouch-{s}', 1, '-', 'Chair 8', {stylist});
insert into run_step (salon_id, run_id, step_no, code, chemical, chemistry, application, product_id, needs, exposure_most_min)
  select {s}, r.run_id, x.no, x.code, x.chemical, 'thio', x.application, case when x.chemical = 'opening' then {product} end, x.needs::text[], 20
  from (values (1, 'drape', 'none', null, '{}'),
    (2, 'apply', 'opening', 'A', '{gloves,scalp,patch-test,strand-test,plan,consent,lot,draping,hair-dry}'),
    (3, 'smooth', 'opening', 'A', '{gloves,scalp,patch-test,plan,consent,lot}'),
    (4, 'neutralise', 'closing', null, '{gloves,eye-protection}')) x (no, code, chemical, application, needs),
    (values ({run}), ({other_run})) r (run_id);
