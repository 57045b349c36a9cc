-- The front desk: quiet hours hold at leaving too, nothing is written about an incident of somebody erased, and bookings
-- are found by when they begin.

-- What nobody waits for; the same as domain::message::Kind::keeps_quiet, a test compares.
create function rinsebell_keeps_quiet(kind text) returns boolean
language sql immutable set search_path = pg_catalog
as $$ select kind in ('due', 'reminder') $$;

create function rinsebell_message_quiet() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  if public.rinsebell_keeps_quiet(new.kind) and public.rinsebell_quiet(new.salon_id, public.rinsebell_now()) then
    raise exception 'message:quiet' using errcode = 'RB011';
  end if;
  return new;
end $$;
-- A lease alone: what has left is recorded at any hour, and a lease is given back.
create trigger message_quiet before update of leased_until on message for each row
  when (new.leased_until is not null and new.leased_until is distinct from old.leased_until and not rinsebell_keeping())
  execute function rinsebell_message_quiet();
revoke all on function rinsebell_message_quiet() from public;

-- Words about somebody's body, and an incident told afterwards. One that a service records by itself is part of the record.
create trigger client_stands before insert on incident_account for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on incident for each row when (new.kind = 'other') execute function rinsebell_client_stands();

-- What was said today, for the sentence over the call list.
create index followup_by_time on followup (salon_id, at);

-- As 0032 did for bookings and places: a span lasts sixteen hours at most, so that two bounds on its beginning find it.
alter table booking_hands add column starts_at timestamptz generated always as (lower(span)) stored;
create index booking_hands_by_start on booking_hands (salon_id, starts_at) where live;
create index booking_hands_by_person on booking_hands (salon_id, person_id, starts_at) where live;
-- The bookings ahead of everybody, without the years behind them.
drop index booking_ahead;
create index booking_ahead on booking (salon_id, starts_at, client_id) where state = 'booked' and purpose = 'service';
