-- A strand test says which lot and strength it was made with, and may carry a photo the client agreed to.

alter table hair_test
  add column lot_id bigint,
  add column strength text,
  add foreign key (salon_id, lot_id, product_id) references lot (salon_id, lot_id, product_id),
  add constraint hair_test_lot_of_strand check (lot_id is null or kind = 'strand'),
  add constraint hair_test_strength_known check (strength in ('mild', 'regular', 'strong'));
create index hair_test_by_lot on hair_test (salon_id, lot_id, done_at desc) where lot_id is not null;

create function rinsebell_hair_test_lot_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  new.strength := (select p.strength from public.product p where p.salon_id = new.salon_id and p.product_id = new.product_id);
  if exists (select 1 from public.lot l where l.salon_id = new.salon_id and l.lot_id = new.lot_id and (l.quarantined or l.law_verdict = 'outside')) then
    raise exception 'lot:quarantined' using errcode = 'RB005';
  end if;
  return new;
end $$;
create trigger hair_test_lot_guard before insert on hair_test for each row execute function rinsebell_hair_test_lot_guard();

-- The picture itself lies apart: read by one query only, gone when the client takes the consent back; who agreed and
-- when stays. Redrawn by the program before it comes here, so that nothing of the camera's own notes is kept.
create table hair_photo (
  salon_id bigint not null,
  hair_test_id bigint not null,
  jpeg bytea,
  width_px smallint not null,
  height_px smallint not null,
  agreed_by text not null,
  agreed_at timestamptz not null default rinsebell_now(),
  asked_by bigint not null,
  taken_back_at timestamptz,
  taken_back_noted_by bigint,
  primary key (salon_id, hair_test_id),
  foreign key (salon_id, hair_test_id) references hair_test,
  foreign key (salon_id, asked_by) references person,
  foreign key (salon_id, taken_back_noted_by) references person,
  constraint hair_photo_bound check (octet_length(jpeg) <= 2000000),
  constraint hair_photo_is_jpeg check (substring(jpeg from 1 for 3) = '\xffd8ff'::bytea),
  constraint hair_photo_size_sane check (width_px between 1 and 1600 and height_px between 1 and 1600),
  constraint hair_photo_agreed_known check (agreed_by in ('client', 'guardian')),
  constraint hair_photo_gone_when_taken_back check ((jpeg is null) = (taken_back_at is not null)
    and (taken_back_at is null) = (taken_back_noted_by is null))
);
call rinsebell_fence('hair_photo');
grant select, insert on hair_photo to rinsebell_app;
grant update (jpeg, taken_back_at, taken_back_noted_by) on hair_photo to rinsebell_app;

-- A minor's photo asks for the guardian's word; a photo is erased and never put back or changed.
create function rinsebell_hair_photo_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  today date;
  born date;
begin
  if public.rinsebell_by_owner() then return new; end if;
  if tg_op = 'INSERT' then
    new.agreed_at := public.rinsebell_now();
    if new.jpeg is null or new.taken_back_at is not null then
      raise exception 'photo:none' using errcode = 'RB006';
    end if;
    select (public.rinsebell_now() at time zone z.zone)::date into today from public.salon z where z.salon_id = new.salon_id;
    select c.born_on into born from public.hair_test h join public.client c using (salon_id, client_id)
      where h.salon_id = new.salon_id and h.hair_test_id = new.hair_test_id;
    if new.agreed_by <> 'guardian' and extract(year from age(today, born)) < 18 then
      raise exception 'photo:guardian' using errcode = 'RB005';
    end if;
    return new;
  end if;
  if old.jpeg is null or new.jpeg is not null then
    raise exception 'photo:only-erased' using errcode = 'RB005';
  end if;
  new.taken_back_at := public.rinsebell_now();
  return new;
end $$;
create trigger hair_photo_guard before insert or update on hair_photo for each row execute function rinsebell_hair_photo_guard();
