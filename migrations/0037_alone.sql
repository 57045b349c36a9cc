-- A salon may begin with one person: who owns it gives its services, and whoever else works there is added later.
-- The same function of the owner as before; without a first name there is no second person.
create or replace function rinsebell_found_salon(
  salon_name text, salon_zone text, salon_place text, manager_name text, manager_hash text, station_name text, station_kind text,
  station_token bytea, first_name text, first_role text, first_pin_hash text
) returns table (salon_id bigint, manager_id bigint, station_id bigint, person_id bigint)
language plpgsql volatile security definer set search_path = pg_catalog, public as $$
declare
  s bigint; m bigint; st bigint; p bigint;
begin
  perform pg_advisory_xact_lock(hashtextextended('rinsebell found salon', 0));
  if exists (select 1 from public.salon) then
    raise exception 'a salon exists already' using errcode = 'RB009';
  end if;
  insert into public.salon (name, zone, place) values (salon_name, salon_zone, salon_place) returning salon.salon_id into s;
  insert into public.person (salon_id, name, role, passphrase_hash) values (s, manager_name, 'manager', manager_hash)
    returning person.person_id into m;
  insert into public.station (salon_id, name, kind, token_hash, paired_at)
    values (s, station_name, station_kind, station_token, public.rinsebell_now()) returning station.station_id into st;
  if first_name <> '' then
    insert into public.person (salon_id, name, role, pin_hash) values (s, first_name, first_role, first_pin_hash)
      returning person.person_id into p;
  end if;
  return query select s, m, st, p;
end $$;
