-- A complaint is answered for before anything more goes on: that place rinsed, then the scalp there read. A permission
-- that a wrong tap got is taken back while nothing rests on it. The water after a stop counts from when it was put on.
-- And a pair of gloves may be the same one while it is: the same hands, no water since.

create or replace function rinsebell_event_kinds() returns text[]
language sql immutable
as $$ select array['run_started', 'hold_point_signed', 'step_started', 'step_finished', 'lot_dispensed', 'handover_offered',
  'handover_accepted', 'stop_read', 'stop_closed', 'run_finished', 'run_left', 'station_armed', 'hands_named',
  'permission_withdrawn', 'section_started', 'section_rinsed', 'bell_answered', 'test_curl_read', 'progress_read', 'rods_noted',
  'place_rinsed', 'sting_reported', 'stop_recorded', 'closing_started', 'fact_withdrawn', 'trimmed', 'comfort_noted'] $$;

create or replace function rinsebell_fact_kinds() returns text[]
language sql immutable
as $$ select array['section_started', 'section_rinsed', 'bell_answered', 'test_curl_read', 'progress_read', 'rods_noted',
  'place_rinsed', 'sting_reported', 'stop_recorded', 'closing_started', 'fact_withdrawn', 'trimmed', 'comfort_noted'] $$;

-- A wrong tap: a fact by its name, a permission by its place in the record.
create or replace function rinsebell_taken_back(e run_event) returns boolean
language sql stable set search_path = pg_catalog
as $$ select exists (select 1 from public.run_event w where w.salon_id = e.salon_id and w.run_id = e.run_id
    and ((w.kind = 'fact_withdrawn' and (w.data ->> 'fact_id')::uuid = e.fact_id)
      or (w.kind = 'permission_withdrawn' and (w.data ->> 'seq')::integer = e.seq))) $$;

-- Whatever asks what was begun, done or answered leaves out what was taken back. Each function is changed in place:
-- whatever else was changed in it stays.
do $$
declare
  change record;
  body text;
  changed text;
begin
  for change in select * from (values
    ('rinsebell_run_event_guard()', '''test_curl_read'', ''progress_read'')',
      '''test_curl_read'', ''progress_read'', ''place_rinsed'', ''rods_noted'', ''trimmed'')'),
    ('rinsebell_contact(run, text)', 'e.kind = ''step_started'' and s.chemical',
      'e.kind = ''step_started'' and not public.rinsebell_taken_back(e) and s.chemical'),
    ('rinsebell_hair_refused(run, run_step, timestamptz)', 'e.kind in (''step_started'', ''closing_started'');',
      'e.kind in (''step_started'', ''closing_started'') and not public.rinsebell_taken_back(e);'),
    ('rinsebell_start_refused(run, run_step, bigint, timestamptz)', 'x.chemical = ''closing'' and x.step_no > s.step_no)',
      'x.chemical = ''closing'' and x.step_no > s.step_no and not public.rinsebell_taken_back(e))'),
    ('rinsebell_start_refused(run, run_step, bigint, timestamptz)', 'e.step = s.code and e.seq > coalesce(closed_seq, 0))',
      'e.step = s.code and e.seq > coalesce(closed_seq, 0) and not public.rinsebell_taken_back(e))'),
    ('rinsebell_start_refused(run, run_step, bigint, timestamptz)', 'or e.step = s.code)',
      'or e.step = s.code) and not public.rinsebell_taken_back(e)'),
    ('rinsebell_closing_refused(run, run_step)', 'e.hold_point = need and e.step = s.code order by',
      'e.hold_point = need and e.step = s.code and not public.rinsebell_taken_back(e) order by'),
    ('rinsebell_hair_left_open(run)', 'e.kind in (''step_started'', ''closing_started''))',
      'e.kind in (''step_started'', ''closing_started'') and not public.rinsebell_taken_back(e))'),
    ('rinsebell_hair_left_open(run)', 'e.kind = ''step_finished'')',
      'e.kind = ''step_finished'' and not public.rinsebell_taken_back(e))'),
    ('rinsebell_mixture_guard()', 'and e.hold_point = ''mixed''',
      'and e.hold_point = ''mixed'' and not public.rinsebell_taken_back(e)'),
    -- Its reason is somebody's words, kept and erased as the others' are.
    ('rinsebell_event_salt()', '''run_left'', ''fact_withdrawn'')', '''run_left'', ''fact_withdrawn'', ''permission_withdrawn'')'),
    ('rinsebell_erase_client(bigint, bigint, bigint, integer, text)', '''run_left'', ''fact_withdrawn'')',
      '''run_left'', ''fact_withdrawn'', ''permission_withdrawn'')'),
    ('rinsebell_answer_outcome(text, text)', '''gloves:vinyl-new-pair-intact'',',
      '''gloves:vinyl-new-pair-intact'', ''gloves:same-pair-intact'',')
  ) x(of_function, was, becomes) loop
    body := pg_get_functiondef(change.of_function::regprocedure);
    changed := replace(body, change.was, change.becomes);
    if changed = body then raise exception '% does not say %', change.of_function, change.was; end if;
    execute changed;
  end loop;
end $$;

-- Why this permission may not be taken back; null when it may. The domain says the same (`run/take_back.rs`).
create function rinsebell_take_back_refused(r run, e run_event) returns text
language plpgsql stable set search_path = pg_catalog, public as $$
declare
  given public.run_event;
  s public.run_step;
begin
  select * into given from public.run_event x where x.salon_id = e.salon_id and x.run_id = e.run_id
    and x.seq = (e.data ->> 'seq')::integer and x.seq < e.seq;
  if given.seq is null or given.kind not in ('step_started', 'step_finished', 'hold_point_signed', 'lot_dispensed')
      or (given.kind = 'hold_point_signed' and (given.outcome <> 'holds' or given.hold_point in ('plan', 'consent', 'strand-test')))
      or coalesce(btrim(e.data ->> 'reason'), '') = '' or public.rinsebell_taken_back(given) then
    return 'permission:not-withdrawable';
  end if;
  if exists (select 1 from public.rinsebell_stop_of(r)) then return 'run:stopped'; end if;
  if given.kind in ('step_started', 'step_finished') then
    -- Nothing was begun, done or tapped since: a bell that was answered and another wrong tap are nothing done.
    if exists (select 1 from public.run_event x where x.salon_id = e.salon_id and x.run_id = e.run_id and x.seq > given.seq
        and (x.kind in ('step_started', 'step_finished') or (x.fact_id is not null and x.kind <> 'fact_withdrawn'
          and not (x.kind in ('bell_answered', 'comfort_noted') and x.data ->> 'comfort' is distinct from 'stings')))
        and not public.rinsebell_taken_back(x)) then
      return 'permission:rested-on';
    end if;
    select * into s from public.run_step x where x.salon_id = e.salon_id and x.run_id = e.run_id and x.code = given.step;
    -- Later product may be on that nobody tapped.
    if given.kind = 'step_started' and s.chemical = 'opening' and e.recorded_at > given.recorded_at + interval '3 minutes' then
      return 'permission:rested-on';
    end if;
  elsif given.kind = 'hold_point_signed' then
    if exists (select 1 from public.run_event x join public.run_step y on y.salon_id = x.salon_id and y.run_id = x.run_id and y.code = x.step
        where x.salon_id = e.salon_id and x.run_id = e.run_id and x.seq > given.seq and x.kind = 'step_started'
          and (x.step = given.step or given.hold_point = any (y.needs)) and not public.rinsebell_taken_back(x)) then
      return 'permission:rested-on';
    end if;
  elsif exists (select 1 from public.run_event x join public.run_step y on y.salon_id = x.salon_id and y.run_id = x.run_id and y.code = x.step
      where x.salon_id = e.salon_id and x.run_id = e.run_id and x.kind = 'step_started' and y.application = given.data ->> 'application'
        and not public.rinsebell_taken_back(x)) then
    return 'permission:rested-on';
  end if;
  return null;
end $$;

-- What a complaint of this try still asks for before anything more goes on: water on its place, then a look at the scalp.
create function rinsebell_sting_refused(r run) returns text
language sql stable set search_path = pg_catalog
as $$ with mine as (select e.*, public.rinsebell_taken_back(e) as back from public.run_event e
    where e.salon_id = r.salon_id and e.run_id = r.run_id
      and e.kind in ('sting_reported', 'section_rinsed', 'place_rinsed', 'hold_point_signed', 'stop_closed')),
  water as (select m.happened_at as at, coalesce(m.data ->> 'place', m.data ->> 'section') as place,
      m.kind = 'section_rinsed' and m.data ->> 'section' is null and (m.data ->> 'clear')::boolean as head
    from mine m where m.kind in ('section_rinsed', 'place_rinsed') and not m.back),
  stings as (select m.seq, (select min(w.at) from water w where w.at >= m.happened_at and (w.head or w.place = m.data ->> 'place')) as rinsed
    from mine m where m.kind = 'sting_reported' and m.seq > coalesce((select max(c.seq) from mine c where c.kind = 'stop_closed'), 0))
  select case when bool_or(s.rinsed is null) then 'sting:not-rinsed'
    when bool_or(not exists (select 1 from mine h where h.hold_point = 'scalp' and h.seq > s.seq and h.recorded_at >= s.rinsed and not h.back))
      then 'sting:not-read' end
  from stings s $$;

-- Sorts after run_event_guard and the demo's, so that the locks are held and the instant is the one that is kept.
create function rinsebell_run_event_wrong_taps() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  r public.run;
  s public.run_step;
  stop record;
  water timestamptz;
  why text;
begin
  select * into r from public.run x where x.salon_id = new.salon_id and x.run_id = new.run_id;
  if new.kind = 'permission_withdrawn' then
    why := public.rinsebell_take_back_refused(r, new);
  elsif new.kind = 'hold_point_signed' then
    -- The same pair: answered for by the same person, no water since.
    if not exists (select 1 from public.run_event g where g.salon_id = new.salon_id and g.run_id = new.run_id and g.hold_point = 'gloves'
        and g.outcome = 'holds' and g."by" = new."by" and not public.rinsebell_taken_back(g)
        and g.seq = (select max(l.seq) from public.run_event l where l.salon_id = new.salon_id and l.run_id = new.run_id
          and l.hold_point = 'gloves' and l."by" = new."by" and not public.rinsebell_taken_back(l))
        and not exists (select 1 from public.run_event w where w.salon_id = new.salon_id and w.run_id = new.run_id
          and ((w.kind in ('section_rinsed', 'place_rinsed') and w.happened_at >= g.recorded_at and not public.rinsebell_taken_back(w))
            or (w.kind = 'stop_closed' and w.seq > g.seq)))) then
      why := 'gloves:not-the-same';
    end if;
  else
    select * into s from public.run_step x where x.salon_id = new.salon_id and x.run_id = new.run_id and x.code = new.step;
    if s.chemical = 'opening' then
      why := public.rinsebell_sting_refused(r);
    elsif s.chemical = 'closing' then
      select * into stop from public.rinsebell_stop_of(r);
      if stop.whole is false then
        -- Twenty minutes from when the water was put on.
        select min(w.happened_at) into water from public.run_event w where w.salon_id = new.salon_id and w.run_id = new.run_id
          and w.kind in ('section_rinsed', 'place_rinsed') and w.happened_at >= stop.stopped_at and not public.rinsebell_taken_back(w);
        if water is not null and new.recorded_at < water + interval '20 minutes' then why := 'stop:skin-not-whole'; end if;
      end if;
    end if;
  end if;
  if why is not null then raise exception '%', why using errcode = 'RB001'; end if;
  return new;
end $$;
create trigger run_event_wrong_taps before insert on run_event for each row
  when (new.kind in ('step_started', 'permission_withdrawn')
    or (new.kind = 'hold_point_signed' and new.hold_point = 'gloves' and new.data ->> 'value' = 'same-pair-intact'))
  execute function rinsebell_run_event_wrong_taps();

-- A bowl that is taken back went nowhere: its row goes, and with it what it made the book say of itself. Its line of the
-- record stays.
create function rinsebell_run_event_bowl_back() returns trigger
language plpgsql volatile security definer set search_path = pg_catalog, public as $$
declare
  given public.run_event;
begin
  select * into given from public.run_event x where x.salon_id = new.salon_id and x.run_id = new.run_id
    and x.seq = (new.data ->> 'seq')::integer and x.kind = 'lot_dispensed';
  if given.seq is null then return null; end if;
  delete from public.dispensed d where d.salon_id = new.salon_id and d.run_id = new.run_id and d.seq = given.seq;
  delete from public.stock_note n where n.salon_id = new.salon_id and n.run_id = new.run_id and n.kind = 'more-than-the-book'
    and n.lot_id = (given.data ->> 'lot_id')::bigint and n.noted_at = given.recorded_at;
  return null;
end $$;
create trigger run_event_bowl_back after insert on run_event for each row
  when (new.kind = 'permission_withdrawn') execute function rinsebell_run_event_bowl_back();
revoke all on function rinsebell_run_event_bowl_back() from public;
