-- Photos of what went wrong: a few to an incident, kept when the client agrees, erased on a word.

create table incident_photo (
  salon_id bigint not null,
  incident_id bigint not null,
  photo_no smallint not null,
  jpeg bytea,
  width_px smallint not null,
  height_px smallint not null,
  agreed_by text not null,
  agreed_at timestamptz not null default rinsebell_now(),
  asked_by bigint not null,
  taken_back_at timestamptz,
  taken_back_noted_by bigint,
  primary key (salon_id, incident_id, photo_no),
  foreign key (salon_id, incident_id) references incident,
  foreign key (salon_id, asked_by) references person,
  foreign key (salon_id, taken_back_noted_by) references person,
  constraint incident_photo_few check (photo_no between 1 and 6),
  constraint incident_photo_bound check (octet_length(jpeg) <= 2000000),
  constraint incident_photo_is_jpeg check (substring(jpeg from 1 for 3) = '\xffd8ff'::bytea),
  constraint incident_photo_size_sane check (width_px between 1 and 1600 and height_px between 1 and 1600),
  constraint incident_photo_agreed_known check (agreed_by in ('client', 'guardian')),
  -- Noted by nobody: the whole person was erased.
  constraint incident_photo_gone_when_taken_back check ((jpeg is null) = (taken_back_at is not null)
    and (taken_back_at is not null or taken_back_noted_by is null))
);
call rinsebell_fence('incident_photo');
grant select, insert on incident_photo to rinsebell_app;
grant update (jpeg, taken_back_at, taken_back_noted_by) on incident_photo to rinsebell_app;

-- As hair_photo: a minor's guardian says yes; a photo is erased and never put back or changed.
create function rinsebell_incident_photo_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  today date;
  born date;
  erased timestamptz;
  taken integer;
begin
  if public.rinsebell_by_owner() then return new; end if;
  if tg_op = 'INSERT' then
    new.agreed_at := public.rinsebell_now();
    if new.jpeg is null or new.taken_back_at is not null then raise exception 'photo:none' using errcode = 'RB006'; end if;
    -- One after the other: the number is the next one.
    perform from public.incident i where i.salon_id = new.salon_id and i.incident_id = new.incident_id for update;
    select count(*) into taken from public.incident_photo p where p.salon_id = new.salon_id and p.incident_id = new.incident_id;
    if taken >= 6 then raise exception 'photo:enough' using errcode = 'RB006'; end if;
    new.photo_no := taken + 1;
    select (public.rinsebell_now() at time zone z.zone)::date into today from public.salon z where z.salon_id = new.salon_id;
    select c.born_on, c.erased_at into born, erased from public.incident i join public.client c using (salon_id, client_id)
      where i.salon_id = new.salon_id and i.incident_id = new.incident_id;
    if erased is not null then raise exception 'client:erased' using errcode = 'RB016'; end if;
    if new.agreed_by <> 'guardian' and extract(year from age(today, born)) < 18 then
      raise exception 'photo:guardian' using errcode = 'RB005';
    end if;
    return new;
  end if;
  if old.jpeg is null or new.jpeg is not null then raise exception 'photo:only-erased' using errcode = 'RB005'; end if;
  new.taken_back_at := public.rinsebell_now();
  return new;
end $$;
create trigger incident_photo_guard before insert or update on incident_photo for each row execute function rinsebell_incident_photo_guard();

-- Whoever is erased is in no picture either.
create function rinsebell_incident_photo_goes() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  update public.incident_photo p set jpeg = null, taken_back_at = new.erased_at from public.incident i
    where p.salon_id = new.salon_id and i.salon_id = new.salon_id and i.incident_id = p.incident_id and i.client_id = new.client_id and p.jpeg is not null;
  return null;
end $$;
create trigger incident_photo_goes after update of erased_at on client for each row
  when (old.erased_at is null and new.erased_at is not null) execute function rinsebell_incident_photo_goes();
revoke all on function rinsebell_incident_photo_guard() from public;
revoke all on function rinsebell_incident_photo_goes() from public;
