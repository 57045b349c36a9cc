-- Mixtures of two products, each from a lot of its own; lots fit at the bowl, at the start of a step and on skin.

-- What a product is mixed with by its sheet (a cream with its activator, a colour with its developers). A row is taken
-- out, never deleted: a mixture of before still says what it was.
create table product_part (
  salon_id bigint not null,
  product_id bigint not null,
  part_product_id bigint not null,
  taken_out_at timestamptz,
  primary key (salon_id, product_id, part_product_id),
  foreign key (salon_id, product_id) references product,
  foreign key (salon_id, part_product_id) references product,
  constraint product_part_other check (product_id <> part_product_id)
);
create index product_part_by_part on product_part (salon_id, part_product_id);
call rinsebell_fence('product_part');
grant select, insert on product_part to rinsebell_app;
grant update (taken_out_at) on product_part to rinsebell_app;

-- Frozen with the step when the run begins, as the sheet's other figures are: what its product is mixed with, and how
-- many minutes the mixture may be used. The database reads them itself.
alter table run_step
  add column mixed_with bigint[] not null default '{}',
  add column mixed_life_min smallint;

create function rinsebell_run_step_mixture() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  new.mixed_with := '{}';
  new.mixed_life_min := null;
  if 'mixed' = any (new.needs) then
    select coalesce(array_agg(x.part_product_id order by x.part_product_id), '{}') into new.mixed_with from public.product_part x
      where x.salon_id = new.salon_id and x.product_id = new.product_id and x.taken_out_at is null;
    select p.mixed_life_min into new.mixed_life_min from public.product p where p.salon_id = new.salon_id and p.product_id = new.product_id;
  end if;
  return new;
end $$;
create trigger run_step_mixture before insert on run_step for each row execute function rinsebell_run_step_mixture();
-- Runs under way when this came keep the life their product has.
update run_step s set mixed_life_min = p.mixed_life_min from product p
  where p.salon_id = s.salon_id and p.product_id = s.product_id and 'mixed' = any (s.needs);

-- Why a lot goes on no hair and no skin on a day; null when nothing stands against it. The domain says the same
-- (`run/holds.rs`, `store/lots.rs`). Read with the row held, so that a lot put apart meanwhile is seen.
create function rinsebell_lot_unfit(salon bigint, lot bigint, day date) returns text
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  l public.lot;
begin
  select * into l from public.lot x where x.salon_id = $1 and x.lot_id = $2 for share;
  return case
    when l.lot_id is null then 'lot:unknown'
    when l.withdrawn_at is not null then 'lot:out-of-use'
    when l.quarantined or l.law_verdict = 'outside' then 'lot:quarantined'
    when l.best_before < day then 'lot:out-of-date'
    when l.opened_on + l.opened_life_days < day then 'lot:open-too-long' end;
end $$;

-- The last bowl of a step's application: what was dispensed last of its own product (`parts` false), or of the products
-- it is mixed with.
create function rinsebell_last_bowl(s run_step, parts boolean)
returns table (seq integer, lot_id bigint, at timestamptz)
language sql stable set search_path = pg_catalog
as $$ select d.seq, d.lot_id, e.recorded_at
  from public.dispensed d join public.lot l on l.salon_id = d.salon_id and l.lot_id = d.lot_id
    join public.run_event e on e.salon_id = d.salon_id and e.run_id = d.run_id and e.seq = d.seq
  where d.salon_id = s.salon_id and d.run_id = s.run_id and d.application = s.application
    and case when parts then l.product_id = any (s.mixed_with) else l.product_id = s.product_id end
  order by d.seq desc limit 1 $$;

-- At the bowl: the application's own product or a part of its mixture, fit today. At the start of an opening step: the
-- last lot of each part is in the bowl and still fit, whatever was known when it was dispensed.
create or replace function rinsebell_run_event_lot_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  today date;
  s public.run_step;
  asked bigint;
  parts boolean;
  why text;
begin
  select (new.recorded_at at time zone x.zone)::date into today from public.salon x where x.salon_id = new.salon_id;
  if new.kind = 'lot_dispensed' then
    asked := (new.data ->> 'lot_id')::bigint;
    perform public.rinsebell_lock_lot(new.salon_id, asked);
    if not exists (select 1 from public.run_step x join public.lot l on l.salon_id = x.salon_id and l.lot_id = asked
        where x.salon_id = new.salon_id and x.run_id = new.run_id and x.application = new.data ->> 'application'
          and (x.product_id = l.product_id or l.product_id = any (x.mixed_with))) then
      raise exception 'lot:other-product' using errcode = 'RB001';
    end if;
    if (new.data ->> 'grams')::real > (select x.received_grams from public.lot x where x.salon_id = new.salon_id and x.lot_id = asked) then
      raise exception 'lot:more-than-came-in' using errcode = 'RB001';
    end if;
    why := public.rinsebell_lot_unfit(new.salon_id, asked, today);
    if why is not null then raise exception '%', why using errcode = 'RB001'; end if;
    return new;
  end if;
  select * into s from public.run_step x where x.salon_id = new.salon_id and x.run_id = new.run_id and x.code = new.step;
  if s.chemical is distinct from 'opening' then return new; end if;
  foreach parts in array array[false, true] loop
    continue when parts and s.mixed_with = '{}';
    asked := (select b.lot_id from public.rinsebell_last_bowl(s, parts) b);
    if asked is null then
      raise exception '%', case when parts then 'lot:part-not-held' else 'lot:not-held' end using errcode = 'RB001';
    end if;
    why := public.rinsebell_lot_unfit(new.salon_id, asked, today);
    if why is not null then raise exception '%', why using errcode = 'RB001'; end if;
  end loop;
  return new;
end $$;

-- A mixture is as old as the older of its last two parts: adding to one of them makes it no younger, two new parts do.
-- It is answered for after it was made, and lives as long as its sheet gives it. Without parts on the Shelf it is as old
-- as the answer. Asked at the answer "mixed now" and at every start.
create or replace function rinsebell_mixture_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  s public.run_step;
  signed public.run_event;
  own record;
  other record;
  made timestamptz;
begin
  select * into s from public.run_step x where x.salon_id = new.salon_id and x.run_id = new.run_id and x.code = new.step;
  if s.code is null or s.product_id is null then return new; end if;
  if new.kind = 'hold_point_signed' then
    if new.outcome <> 'holds' then return new; end if;
    signed := new;
  else
    if not ('mixed' = any (s.needs)) then return new; end if;
    select * into signed from public.run_event e
      where e.salon_id = new.salon_id and e.run_id = new.run_id and e.hold_point = 'mixed'
        and (e.step = s.code or (s.mixed_life_min is not null and exists (select 1 from public.run_step o
          where o.salon_id = e.salon_id and o.run_id = e.run_id and o.code = e.step and o.application = s.application)))
      order by e.seq desc limit 1;
    if signed.seq is null then raise exception 'mixed:missing' using errcode = 'RB001'; end if;
    if signed.outcome <> 'holds' then raise exception 'mixed:failed' using errcode = 'RB001'; end if;
  end if;
  made := signed.recorded_at;
  if s.mixed_with <> '{}' then
    select * into own from public.rinsebell_last_bowl(s, false);
    select * into other from public.rinsebell_last_bowl(s, true);
    if own.seq is null or other.seq is null then raise exception 'lot:part-not-held' using errcode = 'RB001'; end if;
    if signed.seq < least(own.seq, other.seq) then raise exception 'mixed:missing' using errcode = 'RB001'; end if;
    made := least(made, own.at, other.at);
  end if;
  if made < new.recorded_at - make_interval(mins => s.mixed_life_min) then
    raise exception 'mixed:stale' using errcode = 'RB001';
  end if;
  return new;
end $$;
-- By its name still after run_event_guard: it judges what passed there.
drop trigger run_event_mixture on run_event;
create trigger run_event_mixture before insert on run_event for each row
  when (new.kind = 'step_started' or (new.kind = 'hold_point_signed' and new.hold_point = 'mixed')) execute function rinsebell_mixture_guard();

-- On skin and on a strand a lot is fit too, on the day it goes on; a lot of the very product is the reference's rule
-- (`skin_test` and `hair_test` name lot and product together).
create or replace function rinsebell_skin_test_lot_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  why text;
begin
  why := public.rinsebell_lot_unfit(new.salon_id, new.lot_id,
    (new.placed_at at time zone (select x.zone from public.salon x where x.salon_id = new.salon_id))::date);
  -- An unknown lot is the reference's to refuse, another salon's the fence's.
  if why <> 'lot:unknown' then raise exception '%', why using errcode = 'RB005'; end if;
  return new;
end $$;

create or replace function rinsebell_hair_test_lot_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  why text;
begin
  new.strength := (select p.strength from public.product p where p.salon_id = new.salon_id and p.product_id = new.product_id);
  if new.lot_id is not null then
    why := public.rinsebell_lot_unfit(new.salon_id, new.lot_id,
      (new.done_at at time zone (select x.zone from public.salon x where x.salon_id = new.salon_id))::date);
    if why <> 'lot:unknown' then raise exception '%', why using errcode = 'RB005'; end if;
  end if;
  return new;
end $$;

-- Who took a test off is said with when.
alter table skin_test add constraint skin_test_taken_off_whole check ((taken_off_at is null) = (taken_off_by is null));

-- A lot judged anew, on record: who, why, what the label and the law said, whether it stands apart from then on. The app
-- writes a judgement, never the lot's verdict itself; the lot follows.
create table lot_judgement (
  salon_id bigint not null,
  lot_judgement_id bigint generated by default as identity,
  lot_id bigint not null,
  judged_at timestamptz not null default rinsebell_now(),
  judged_by bigint not null,
  why text not null,
  contents jsonb,
  ph real,
  place text not null,
  law_verdict text not null,
  law jsonb not null default '[]',
  label_seen jsonb not null default '[]',
  quarantine_reason text,
  -- It stood apart until now.
  out_of_quarantine boolean not null default false,
  primary key (salon_id, lot_judgement_id),
  foreign key (salon_id, lot_id) references lot,
  foreign key (salon_id, judged_by) references person,
  constraint lot_judgement_law_known check (law_verdict in ('within', 'outside', 'not-judged')),
  constraint lot_judgement_outside_quarantined check (law_verdict <> 'outside' or quarantine_reason is not null),
  constraint lot_judgement_place_known check (place in ('eu', 'uk', 'us')),
  constraint lot_judgement_ph_sane check (ph between 0 and 14),
  constraint lot_judgement_contents_bound check (jsonb_typeof(contents) = 'array' and jsonb_array_length(contents) <= 40),
  constraint lot_judgement_law_bound check (jsonb_typeof(law) = 'array' and octet_length(law::text) <= 20000),
  constraint lot_judgement_label_bound check (jsonb_typeof(label_seen) = 'array' and octet_length(label_seen::text) <= 8000),
  constraint lot_judgement_words check (char_length(btrim(why)) between 1 and 300 and char_length(quarantine_reason) between 1 and 300)
);
create index lot_judgement_by_lot on lot_judgement (salon_id, lot_id, lot_judgement_id desc);
call rinsebell_fence('lot_judgement');
grant select, insert on lot_judgement to rinsebell_app;
revoke update (contents, ph, place, law_verdict, law, label_seen, judged_at, judged_by, quarantined, quarantine_reason) on lot from rinsebell_app;

-- Out of quarantine only by a manager, and only when the law was asked and has nothing against the lot: within, or no
-- limit speaks though contents are known (or no limit is filed for such a use; `domain/stock.rs`, purpose).
create function rinsebell_lot_judgement_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  l public.lot;
  who public.person;
begin
  perform public.rinsebell_lock_lot(new.salon_id, new.lot_id);
  select * into l from public.lot x where x.salon_id = new.salon_id and x.lot_id = new.lot_id;
  new.out_of_quarantine := coalesce(l.quarantined, false) and new.quarantine_reason is null;
  if public.rinsebell_by_owner() then return new; end if;
  new.judged_at := public.rinsebell_now();
  if l.withdrawn_at is not null then raise exception 'lot:out-of-use-for-good' using errcode = 'RB005'; end if;
  select * into who from public.person p where p.salon_id = new.salon_id and p.person_id = new.judged_by;
  if who.left_at is not null or who.disabled_at is not null or who.role not in ('manager', 'stylist') then
    raise exception 'lot:judged-by-nobody' using errcode = 'RB005';
  end if;
  if new.out_of_quarantine then
    if who.role <> 'manager' then raise exception 'lot:manager-lets-out' using errcode = 'RB005'; end if;
    if new.law_verdict = 'not-judged' and exists (select 1 from public.product p where p.salon_id = l.salon_id and p.product_id = l.product_id
        and jsonb_array_length(coalesce(new.contents, p.contents)) = 0
        and (p.use_as not in ('normaliser', 'other') or p.family in ('peroxide-neutraliser', 'bromate-neutraliser'))) then
      raise exception 'lot:law-not-asked' using errcode = 'RB005';
    end if;
  end if;
  return new;
end $$;
create trigger lot_judgement_guard before insert on lot_judgement for each row execute function rinsebell_lot_judgement_guard();

create function rinsebell_lot_judgement_after() returns trigger
language plpgsql volatile security definer set search_path = pg_catalog, public as $$
begin
  update public.lot set contents = new.contents, ph = new.ph, place = new.place, law_verdict = new.law_verdict, law = new.law,
      label_seen = new.label_seen, judged_at = new.judged_at, judged_by = new.judged_by,
      quarantined = new.quarantine_reason is not null, quarantine_reason = new.quarantine_reason
    where salon_id = new.salon_id and lot_id = new.lot_id;
  return null;
end $$;
create trigger lot_judgement_after after insert on lot_judgement for each row execute function rinsebell_lot_judgement_after();
revoke all on function rinsebell_lot_judgement_after() from public;

-- Quarantine and verdict follow the judgements now, and are no longer the app's to write on the lot itself.
create or replace function rinsebell_lot_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  -- A lot the owner brings in (the demo's) was judged at some instant too.
  if tg_op = 'INSERT' and new.judged_by is not null and new.judged_at is null then new.judged_at := public.rinsebell_now(); end if;
  if public.rinsebell_by_owner() then return new; end if;
  if new.judged_by is not null and (tg_op = 'INSERT' or new.law is distinct from old.law or new.law_verdict <> old.law_verdict
      or new.label_seen is distinct from old.label_seen or new.quarantined <> old.quarantined) then
    new.judged_at := public.rinsebell_now();
  end if;
  if tg_op = 'INSERT' then
    if new.judged_by is null and new.law_verdict <> 'not-judged' then
      raise exception 'lot:judged-by-nobody' using errcode = 'RB005';
    end if;
    if new.withdrawn_at is not null then raise exception 'lot:comes-in-withdrawn' using errcode = 'RB005'; end if;
    return new;
  end if;
  if old.withdrawn_at is not null and (new.withdrawn_at, new.withdrawn_reason, new.withdrawn_by)
      is distinct from (old.withdrawn_at, old.withdrawn_reason, old.withdrawn_by) then
    raise exception 'lot:out-of-use-for-good' using errcode = 'RB005';
  end if;
  if old.withdrawn_at is null and new.withdrawn_at is not null then
    if new.withdrawn_reason is null or new.withdrawn_by is null then
      raise exception 'lot:withdrawn-without-reason' using errcode = 'RB005';
    end if;
    new.withdrawn_at := public.rinsebell_now();
  end if;
  return new;
end $$;
