-- What the manager's overview asks for by time, so that a week finds its rows by an index, however long the past is.

create index due_by_middle on due (salon_id, middle_on, client_id);
create index incident_by_opening on incident (salon_id, opened_at, incident_id);
-- Seldom, so these stay small: hold points that said no, hands that a manager named, stops that were ended.
create index run_event_said_no on run_event (salon_id, recorded_at, run_id)
  where outcome = 'fails' or kind in ('hands_named', 'stop_closed');
-- Three of a service's twenty steps open the hair.
create index run_step_opening on run_step (salon_id, run_id, step_no) where chemical = 'opening';
create index plan_refused on plan (salon_id, made_at, plan_id) where verdict = 'refuse';
create index consult_reasoned on consult (salon_id, taken_at, consult_id) where stylist_reason_id is not null;
create index lot_judgement_released on lot_judgement (salon_id, judged_at, lot_id) where out_of_quarantine;

-- When a booking begins, as a column of its own: behind row-level security an index on the span is never asked for `&&`
-- or `lower(span)` (functions of ranges are not leakproof), a comparison of instants is.
alter table booking add column starts_at timestamptz generated always as (lower(span)) stored;
create index booking_by_start on booking (salon_id, starts_at, booking_id);
alter table booking_place add column starts_at timestamptz generated always as (lower(span)) stored;
create index booking_place_by_start on booking_place (salon_id, kind, starts_at) where live;
