-- Photos of what a visit came to: a few to a visit that has ended, kept when the client agrees, erased on a word.

create table result_photo (
  salon_id bigint not null,
  run_id bigint not null,
  photo_no smallint not null,
  jpeg bytea,
  width_px smallint not null,
  height_px smallint not null,
  agreed_by text not null,
  agreed_at timestamptz not null default rinsebell_now(),
  asked_by bigint not null,
  taken_back_at timestamptz,
  taken_back_noted_by bigint,
  primary key (salon_id, run_id, photo_no),
  foreign key (salon_id, run_id) references run,
  foreign key (salon_id, asked_by) references person,
  foreign key (salon_id, taken_back_noted_by) references person,
  constraint result_photo_few check (photo_no between 1 and 6),
  constraint result_photo_bound check (octet_length(jpeg) <= 2000000),
  constraint result_photo_is_jpeg check (substring(jpeg from 1 for 3) = '\xffd8ff'::bytea),
  constraint result_photo_size_sane check (width_px between 1 and 1600 and height_px between 1 and 1600),
  constraint result_photo_agreed_known check (agreed_by in ('client', 'guardian')),
  -- Noted by nobody: the whole person was erased.
  constraint result_photo_gone_when_taken_back check ((jpeg is null) = (taken_back_at is not null)
    and (taken_back_at is not null or taken_back_noted_by is null))
);
call rinsebell_fence('result_photo');
grant select, insert on result_photo to rinsebell_app;
grant update (jpeg, taken_back_at, taken_back_noted_by) on result_photo to rinsebell_app;

-- As incident_photo: a minor's guardian says yes; a photo is erased and never put back or changed. A result is what
-- hair is when the service has ended.
create function rinsebell_result_photo_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  today date;
  born date;
  erased timestamptz;
  ended timestamptz;
  taken integer;
begin
  if public.rinsebell_by_owner() then return new; end if;
  if tg_op = 'INSERT' then
    new.agreed_at := public.rinsebell_now();
    if new.jpeg is null or new.taken_back_at is not null then raise exception 'photo:none' using errcode = 'RB006'; end if;
    -- One after the other: the number is the next one.
    perform pg_advisory_xact_lock(hashtextextended('result_photo', new.run_id));
    select count(*) into taken from public.result_photo p where p.salon_id = new.salon_id and p.run_id = new.run_id;
    if taken >= 6 then raise exception 'photo:enough' using errcode = 'RB006'; end if;
    new.photo_no := taken + 1;
    select (public.rinsebell_now() at time zone z.zone)::date into today from public.salon z where z.salon_id = new.salon_id;
    select c.born_on, c.erased_at, r.ended_at into born, erased, ended from public.run r join public.client c using (salon_id, client_id)
      where r.salon_id = new.salon_id and r.run_id = new.run_id;
    if erased is not null then raise exception 'client:erased' using errcode = 'RB016'; end if;
    if ended is null then raise exception 'photo:under-way' using errcode = 'RB006'; end if;
    if new.agreed_by <> 'guardian' and extract(year from age(today, born)) < 18 then
      raise exception 'photo:guardian' using errcode = 'RB005';
    end if;
    return new;
  end if;
  if old.jpeg is null or new.jpeg is not null then raise exception 'photo:only-erased' using errcode = 'RB005'; end if;
  new.taken_back_at := public.rinsebell_now();
  return new;
end $$;
create trigger result_photo_guard before insert or update on result_photo for each row execute function rinsebell_result_photo_guard();

-- Whoever is erased is in no picture either.
create function rinsebell_result_photo_goes() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  update public.result_photo p set jpeg = null, taken_back_at = new.erased_at from public.run r
    where p.salon_id = new.salon_id and r.salon_id = new.salon_id and r.run_id = p.run_id and r.client_id = new.client_id and p.jpeg is not null;
  return null;
end $$;
create trigger result_photo_goes after update of erased_at on client for each row
  when (old.erased_at is null and new.erased_at is not null) execute function rinsebell_result_photo_goes();
revoke all on function rinsebell_result_photo_guard() from public;
revoke all on function rinsebell_result_photo_goes() from public;
