-- What the other services bring: looks at a head at work, mixtures with a life, test visits that plan no product.

-- Minutes a mixture may be used by the product's sheet; without it a mixture holds for the step it was made for.
alter table product add column mixed_life_min smallint;
alter table product add constraint product_mixed_life_sane check (mixed_life_min between 1 and 240);
grant update (mixed_life_min) on product to rinsebell_app;

-- A test visit puts nothing on.
alter table plan drop constraint plan_applications_bound;
alter table plan add constraint plan_applications_bound
  check (jsonb_typeof(applications) = 'array' and jsonb_array_length(applications) <= 12);

create or replace function rinsebell_event_kinds() returns text[]
language sql immutable
as $$ select array['run_started', 'hold_point_signed', 'step_started', 'step_finished', 'lot_dispensed', 'handover_offered',
  'handover_accepted', 'stop_read', 'stop_closed', 'run_finished', 'run_left', 'station_armed', 'hands_named',
  'section_started', 'section_rinsed', 'bell_answered', 'test_curl_read', 'progress_read', 'rods_noted', 'sting_reported',
  'stop_recorded', 'closing_started', 'fact_withdrawn', 'trimmed', 'comfort_noted'] $$;

create or replace function rinsebell_fact_kinds() returns text[]
language sql immutable
as $$ select array['section_started', 'section_rinsed', 'bell_answered', 'test_curl_read', 'progress_read', 'rods_noted',
  'sting_reported', 'stop_recorded', 'closing_started', 'fact_withdrawn', 'trimmed', 'comfort_noted'] $$;

create or replace function rinsebell_answer_outcome(point text, code text) returns text
language sql immutable set search_path = pg_catalog
as $$ select case
  when point || ':' || code = any (array['patch-test:no-reaction-since', 'scalp:intact', 'strand-test:passed', 'strand-test:not-asked',
    'consent:signed-on-words-shown', 'plan:clear-or-tests-passed', 'lot:in-date-within-law', 'mixed:now-for-this-head',
    'gloves:nitrile-new-pair-intact', 'gloves:vinyl-new-pair-intact', 'draping:towel-and-cape-dry', 'base:scalp-and-hairline-covered',
    'base:no-base-product', 'barrier:cream-hairline-ears-eyes-shielded', 'barrier:cream-and-fresh-dry-cotton', 'hair-dry:dry',
    'hair-damp:damp', 'eye-protection:cotton-bib-towel']) then 'holds'
  when point || ':' || code = any (array['patch-test:reaction-since', 'scalp:red', 'scalp:broken', 'mixed:older-than-sheet',
    'mixed:left-over', 'gloves:worn-before', 'gloves:torn', 'draping:wet', 'draping:cape-missing', 'base:gaps', 'barrier:cotton-wet',
    'barrier:cream-missing', 'hair-dry:damp', 'hair-damp:dripping', 'hair-damp:dry', 'eye-protection:cotton-wet',
    'eye-protection:not-placed']) then 'fails'
  end $$;

-- A mistaken look is taken back as a test curl is. The guard is widened in place: whatever else changed in it stays.
do $$
declare
  body text := pg_get_functiondef('rinsebell_run_event_guard()'::regprocedure);
  widened text := replace(body, '''section_rinsed'', ''test_curl_read'')', '''section_rinsed'', ''test_curl_read'', ''progress_read'')');
begin
  if widened = body then raise exception 'the guard names no kinds that may be taken back'; end if;
  execute widened;
end $$;

-- A mixture holds for the step it was made for; where its sheet gives it a life, as long as that, on every step of
-- its application. That it was signed and holds is the start's own question; this is whose and how old.
create function rinsebell_mixture_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  s public.run_step;
  life smallint;
  signed public.run_event;
begin
  select * into s from public.run_step x where x.salon_id = new.salon_id and x.run_id = new.run_id and x.code = new.step;
  if s.code is null or not ('mixed' = any (s.needs)) then return new; end if;
  select p.mixed_life_min into life from public.product p where p.salon_id = s.salon_id and p.product_id = s.product_id;
  select * into signed from public.run_event e
    where e.salon_id = new.salon_id and e.run_id = new.run_id and e.hold_point = 'mixed'
      and (e.step = s.code or (life is not null and exists (select 1 from public.run_step o
        where o.salon_id = e.salon_id and o.run_id = e.run_id and o.code = e.step and o.application = s.application)))
    order by e.seq desc limit 1;
  if signed.seq is null then raise exception 'mixed:missing' using errcode = 'RB001'; end if;
  if signed.outcome <> 'holds' then raise exception 'mixed:failed' using errcode = 'RB001'; end if;
  if life is not null and signed.recorded_at < new.recorded_at - make_interval(mins => life) then
    raise exception 'mixed:stale' using errcode = 'RB001';
  end if;
  return new;
end $$;
-- By its name after run_event_guard: it judges what passed there.
create trigger run_event_mixture before insert on run_event for each row when (new.kind = 'step_started')
  execute function rinsebell_mixture_guard();
