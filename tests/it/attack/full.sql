insert into idempotency (salon_id, key, path) values ({s}, gen_random_uuid(), '/');
insert into session (salon_id, token_hash, person_id, station_id, ends_at, held_run_id, armed_run_id) values
  ({s}, sha256('{s}'), {stylist}, {station}, rinsebell_now(), {run}, {run});
update client set usual_person_id = {stylist} where salon_id = {s} and client_id = {client};
insert into answer (salon_id, answer_id, client_id, salt, body) values ({s}, {s}::bigint * 1000000, {client}, '\x00112233445566778899aabbccddeeff', 'Sore last time.');
update consult set stylist_reason_id = {s}::bigint * 1000000, words_id = {s}::bigint * 1000000 where salon_id = {s};
update consent set station_id = {station} where salon_id = {s};
insert into hair_reading (salon_id, client_id, place, taken_by, texture) values ({s}, {client}, 'nape', {stylist}, 'fine');
update strand_event set recorded_by = {stylist}, run_id = {run} where salon_id = {s};
update skin_test set taken_off_at = placed_at + interval '48 hours', taken_off_by = {stylist} where salon_id = {s};
update protocol_revision set published_by = {manager} where salon_id = {s};
insert into protocol_revision (salon_id, protocol, revision, title, chemistry, body, fingerprint, origin, based_on, published_by, why) values
  ({s}, 'retouch-{s}', 1001, 'Retouch', 'thio', '-', '\x00', 'salon', 1, {manager}, 'Our own times.');
insert into protocol_draft (salon_id, protocol, based_on, body, saved_by) values ({s}, 'retouch-{s}', 1, '-', {manager});
insert into run_event (salon_id, run_id, seq, by, station_id, kind) values ({s}, {run}, 1, {stylist}, {station}, 'run_started');
insert into run_event (salon_id, run_id, seq, by, station_id, kind, step, hold_point, outcome, data) values
  ({s}, {run}, 2, {stylist}, {station}, 'hold_point_signed', 'apply', 'scalp', 'holds', '{"value": "intact"}');
insert into run_event (salon_id, run_id, seq, by, station_id, kind, data) values
  ({s}, {run}, 3, {stylist}, {station}, 'lot_dispensed', jsonb_build_object('application', 'A', 'lot_id', {lot}, 'grams', 40));
insert into run_event (salon_id, run_id, seq, by, station_id, kind, fact_id, data) values
  ({s}, {run}, 4, {stylist}, {station}, 'sting_reported', gen_random_uuid(), '{"place": "nape"}');
update incident set opened_by = {stylist}, words_id = {s}::bigint * 1000000 where salon_id = {s};
insert into run_event (salon_id, run_id, seq, by, station_id, kind) values ({s}, {run}, 5, {stylist}, {station}, 'run_finished');
insert into place_kind (salon_id, kind, count) values ({s}, case when {s} % 2 = 1 then 'basin' else 'hood' end, 1);
insert into hours (salon_id, person_id, weekday, opens, closes) values ({s}, {stylist}, 1, '09:00', '17:00');
insert into absence (salon_id, person_id, span) values ({s}, {stylist}, '[2031-01-01, 2031-01-02)');
insert into booking (salon_id, booking_id, client_id, purpose, span, made_by) values
  ({s}, {booking}, {client}, 'service', '[2031-02-01 10:00Z, 2031-02-01 12:00Z)', {reception});
insert into booking (salon_id, client_id, purpose, span, made_by, patch_for) values
  ({s}, {client}, 'patch-test', '[2031-01-20 10:00Z, 2031-01-20 10:15Z)', {reception}, {booking});
insert into booking_hands (salon_id, booking_id, part_no, person_id, span) values ({s}, {booking}, 1, {stylist}, '[2031-02-01 10:00Z, 2031-02-01 12:00Z)');
insert into booking_place (salon_id, booking_id, part_no, kind, span)
  select {s}, {booking}, 1, kind, '[2031-02-01 10:00Z, 2031-02-01 12:00Z)' from place_kind where salon_id = {s};
insert into due (salon_id, client_id, protocol, last_on, target_mm, rate_mm, rate_sd, early_on, middle_on, least_on, latest_on, run_id) values
  ({s}, {client}, 'retouch-{s}', '2031-01-01', 30, 0.35, 0.05, '2031-03-01', '2031-03-10', '2031-02-01', '2031-04-01', {run});
insert into followup (salon_id, client_id, by, outcome, booking_id) values ({s}, {client}, {reception}, 'booked', {booking});
insert into aftercare (salon_id, run_id, words) values ({s}, {run}, 'Keep it dry for two days.');
update lot set judged_by = {stylist}, withdrawn_by = {stylist} where salon_id = {s} and lot_id = {other_lot};
update hair_test set lot_id = {lot} where salon_id = {s} and product_id = {product} and kind = 'strand';
insert into lot_judgement (salon_id, lot_id, judged_by, why, place, law_verdict) values ({s}, {other_lot}, {stylist}, 'label read again', 'eu', 'not-judged');
insert into product_part (salon_id, product_id, part_product_id) values ({s}, {colour}, {lotion});
insert into stock_note (salon_id, lot_id, noted_by, kind, change_grams, reason, run_id) values ({s}, {lot}, {stylist}, 'thrown-away', -5, 'mixture left', {run});
insert into hair_photo (salon_id, hair_test_id, jpeg, width_px, height_px, agreed_by, asked_by, taken_back_at, taken_back_noted_by)
  select {s}, hair_test_id, null, 10, 10, 'client', {stylist}, rinsebell_now(), {stylist} from hair_test where salon_id = {s} limit 1;
insert into post (salon_id, link_key) values ({s}, sha256('{s}'));
insert into contact_wish (salon_id, client_id, channel, agreed, by) values ({s}, {client}, 'email', true, {stylist});
insert into address_stop (salon_id, channel, address_hash, reason, lifted_at, lifted_by) values ({s}, 'email', sha256('{s}'), 'bounced', rinsebell_now(), {stylist});
insert into message_words (salon_id, kind, language, subject, body, by) values ({s}, 'due', 'en', 'Come again', '{link}', {manager});
insert into client_link (salon_id, link_id, client_id, opens, booking_id, made_by, expires_at) values
  ({s}, {s}::bigint * 1000000, {client}, 'booking', {booking}, {stylist}, rinsebell_now() + interval '9 days');
insert into home_answer (salon_id, client_id, link_id, told, history) values ({s}, {client}, {s}::bigint * 1000000, '{"pregnant": "no"}', 'box dye');
insert into message (salon_id, client_id, kind, channel, language, address, subject, body, message_ref, link_id, booking_id, made_by, next_at) values
  ({s}, {client}, 'booked', 'email', 'en', 'a@client.invalid', 'Your visit', '{link}', '{s}@salon.invalid', {s}::bigint * 1000000, {booking}, {stylist}, rinsebell_now());
insert into incident_account (salon_id, incident_id, client_id, onset_at, signs, words_id, by)
  select {s}, incident_id, {client}, rinsebell_now() - interval '1 hour', array['redness'], {s}::bigint * 1000000, {stylist} from incident where salon_id = {s} limit 1;
insert into incident_photo (salon_id, incident_id, photo_no, jpeg, width_px, height_px, agreed_by, asked_by, taken_back_at, taken_back_noted_by)
  select {s}, incident_id, 1, null, 10, 10, 'client', {stylist}, rinsebell_now(), {stylist} from incident where salon_id = {s} limit 1;
insert into result_photo (salon_id, run_id, photo_no, jpeg, width_px, height_px, agreed_by, asked_by, taken_back_at, taken_back_noted_by)
  values ({s}, {run}, 1, null, 10, 10, 'client', {stylist}, rinsebell_now(), {stylist});
insert into call_claim (salon_id, client_id, by, station_id, span) values ({s}, {client}, {reception}, {station}, '[2031-01-01, 2031-01-02)');
insert into due_assignment (salon_id, client_id, person_id, by) values ({s}, {client}, {reception}, {manager});
insert into calendar_feed (salon_id, person_id, token_hash, made_by) values ({s}, {stylist}, sha256('own feed {s}'), {manager});
insert into calendar_feed (salon_id, station_id, token_hash, made_by, revoked_at, revoked_by) values ({s}, {station}, sha256('feed {s}'), {manager}, rinsebell_now(), {manager});
insert into waiting (salon_id, client_id, protocol, from_on, until_on, made_by, ended_at, ended_how, ended_by) values ({s}, {client}, 'retouch-{s}', '2031-01-01', '2031-02-01', {reception}, rinsebell_now(), 'booked', {manager});
insert into closed_day (salon_id, on_day, why, noted_by) values ({s}, '2031-12-25', 'holiday', {manager});
insert into client (salon_id, client_id, name, merged_into, merged_at) values ({s}, {s}::bigint * 1000000 + 999999, 'Said twice', {client}, rinsebell_now());
insert into record_act (salon_id, act_seq, by, kind, client_id, other_id) values ({s}, 0, {manager}, 'merge', {client}, {s}::bigint * 1000000 + 999999);
update record_act set act_seq = {s} where salon_id = {s};
insert into client_import (salon_id, made_by, file_name, act_seq) values ({s}, {reception}, 'clients.csv', {s});
insert into erased_line (salon_id, run_id, seq, act_seq, left_hash) values ({s}, {run}, 4, {s}, sha256('{s}'));
insert into recall_call (salon_id, lot_id, client_id, by, outcome) values ({s}, {lot}, {client}, {reception}, 'told');
