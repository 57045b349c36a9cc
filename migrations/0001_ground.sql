-- The ground every other table stands on: the one clock, the guard that keeps salons apart, the salon itself.

-- The only clock. Practice and test databases, made by the owner, replace this function.
create function rinsebell_now() returns timestamptz
language sql volatile
as 'select clock_timestamp()';

-- Puts the fence round a table: row-level security, forced, one policy for the app (its salon only),
-- one for the owner (migrations, owner functions). Every table is passed through here.
create procedure rinsebell_fence(tbl regclass)
language plpgsql as $$
begin
  execute format('alter table %s enable row level security', tbl);
  execute format('alter table %s force row level security', tbl);
  execute format(
    'create policy salon_only on %s for all to rinsebell_app
       using (salon_id = nullif(current_setting(''rinsebell.salon'', true), '''')::bigint)
       with check (salon_id = nullif(current_setting(''rinsebell.salon'', true), '''')::bigint)', tbl);
  execute format('create policy owner_all on %s for all to %I using (true) with check (true)', tbl, current_user);
end $$;

revoke all on schema public from public;
grant usage on schema public to rinsebell_app;

-- A zone this server's own table knows: local days are computed from it inside the database as well.
create function rinsebell_zone_known(zone text) returns boolean
language plpgsql immutable set search_path = pg_catalog as $$
begin
  perform timestamptz 'epoch' at time zone zone;
  return true;
exception when invalid_parameter_value then
  return false;
end $$;

create table salon (
  salon_id bigint generated always as identity primary key,
  name text not null,
  zone text not null,
  place text not null default 'eu',
  emergency_number text not null default '112',
  eye_wash_place text not null default '',
  least_age smallint not null default 16,
  patch_valid_days smallint not null default 183,
  demo boolean not null default false,
  created_at timestamptz not null default rinsebell_now(),
  constraint salon_name_length check (char_length(name) between 1 and 80),
  constraint salon_zone_length check (char_length(zone) between 1 and 64),
  constraint salon_zone_known check (rinsebell_zone_known(zone)),
  constraint salon_place_known check (place in ('eu', 'uk', 'us')),
  constraint salon_least_age_sane check (least_age between 0 and 30),
  constraint salon_patch_valid_days_sane check (patch_valid_days between 2 and 183),
  constraint salon_words_length check (char_length(emergency_number) <= 30 and char_length(eye_wash_place) <= 120)
);
call rinsebell_fence('salon');
grant select on salon to rinsebell_app;
grant update (name, zone, place, emergency_number, eye_wash_place, least_age, patch_valid_days) on salon to rinsebell_app;

-- True for the owner (migrations, loading the demo, owner functions), false for the app, whatever its role is
-- called: triggers that trust only the owner ask this, never a role's name.
create function rinsebell_by_owner() returns boolean
language sql stable set search_path = pg_catalog
as $$ select pg_has_role(current_user, c.relowner, 'member') from pg_class c where c.oid = 'public.salon'::regclass $$;

-- News for the stations: the version is only ever compared for "newer than I know".
create sequence live_version;
grant usage on sequence live_version to rinsebell_app;

-- A form sent twice acts once: the key is written in the act's own transaction, the answer with it.
create table idempotency (
  salon_id bigint not null references salon,
  key uuid not null,
  path text not null,
  location text,
  made_at timestamptz not null default rinsebell_now(),
  primary key (salon_id, key),
  constraint idempotency_path_length check (char_length(path) <= 200 and char_length(location) <= 500)
);
create index idempotency_by_age on idempotency (salon_id, made_at);
call rinsebell_fence('idempotency');
grant select, insert, delete on idempotency to rinsebell_app;
grant update (location) on idempotency to rinsebell_app;
