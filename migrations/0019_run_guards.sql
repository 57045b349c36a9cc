-- What a start rests on, held in the database as it is in the domain: whose family goes on, who is named, whose turn
-- it is, what is on the hair, what the plan rests on. Predicted hands alone stay the domain's.

-- A product of this family may be given where `asked` is asked for: one of which the floor of safety asks the very
-- same. `domain/chemistry/family.rs` has the reasons; a test compares every pair.
create function rinsebell_stands_for(family text, asked text) returns boolean
language sql immutable set search_path = pg_catalog
as $$ select coalesce(f.alike = a.alike, false) from
  (select case when family in ('sulfite', 'cysteine') then 'thio' when family in ('potassium-hydroxide', 'lithium-hydroxide') then 'sodium-hydroxide'
    when family = 'bromate-neutraliser' then 'peroxide-neutraliser' else family end as alike) f,
  (select case when asked in ('sulfite', 'cysteine') then 'thio' when asked in ('potassium-hydroxide', 'lithium-hydroxide') then 'sodium-hydroxide'
    when asked = 'bromate-neutraliser' then 'peroxide-neutraliser' else asked end as alike) a $$;

-- What stands against this product in this application of a revision; null when nothing does. A revision saved before
-- documents were starts no new run.
create function rinsebell_product_against(salon bigint, revision_of text, revision_no integer, letter text, asked_product bigint) returns text
language plpgsql stable set search_path = pg_catalog, public as $$
declare
  doc jsonb;
  a jsonb;
  p public.product;
begin
  select v.document into doc from public.protocol_revision v
    where v.salon_id = salon and v.protocol = revision_of and v.revision = revision_no;
  if doc is null then return null; end if;
  select x into a from jsonb_array_elements(doc -> 'applications') x where x ->> 'letter' = letter;
  if a is null then return 'product:no-such-application'; end if;
  select * into p from public.product x where x.salon_id = salon and x.product_id = asked_product;
  if not public.rinsebell_stands_for(p.family, a ->> 'family') then return 'product:other-family'; end if;
  if array_position(array['mild', 'regular', 'strong'], a ->> 'strength_most') < array_position(array['mild', 'regular', 'strong'], p.strength) then
    return 'product:too-strong';
  end if;
  return null;
end $$;

-- Planned: never another chemistry than the service gives there. How strong it may be is asked when the run begins.
create function rinsebell_plan_product_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  why text;
begin
  select public.rinsebell_product_against(x.salon_id, x.protocol, x.revision, new.application, new.product_id) into why
    from public.plan x where x.salon_id = new.salon_id and x.plan_id = new.plan_id;
  if why in ('product:other-family', 'product:no-such-application') then
    raise exception '%', why using errcode = 'RB006';
  end if;
  return new;
end $$;
create trigger plan_product_guard before insert on plan_product for each row execute function rinsebell_plan_product_guard();

-- A plan's verdict is never milder than its worst finding.
create function rinsebell_verdict_rank(verdict text) returns integer
language sql immutable set search_path = pg_catalog
as $$ select array_position(array['clear', 'test-first', 'wait', 'refuse'], verdict) $$;

create function rinsebell_plan_verdict() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  if exists (select 1 from jsonb_array_elements(new.findings) f
      where coalesce(public.rinsebell_verdict_rank(f ->> 'verdict'), 4) > public.rinsebell_verdict_rank(new.verdict)) then
    raise exception 'plan:milder-than-its-findings' using errcode = 'RB006';
  end if;
  return new;
end $$;
create trigger plan_verdict before insert on plan for each row execute function rinsebell_plan_verdict();

-- Something a plan rests on was written after it, by this instant: into the strand (this run's own lines apart), told
-- in a consult, felt on the head, or seen in a test for metal that failed.
create function rinsebell_plan_stale(p plan, run bigint, at timestamptz) returns boolean
language sql stable set search_path = pg_catalog
as $$ select exists (select 1 from public.strand_event e where e.salon_id = p.salon_id and e.client_id = p.client_id
      and e.seq > p.strand_seq and e.run_id is distinct from run and e.recorded_at <= at)
  or exists (select 1 from public.consult c where c.salon_id = p.salon_id and c.client_id = p.client_id
      and c.taken_at > p.made_at and c.taken_at <= at)
  or exists (select 1 from public.hair_reading h where h.salon_id = p.salon_id and h.client_id = p.client_id
      and h.taken_at > p.made_at and h.taken_at <= at)
  or exists (select 1 from public.hair_test m where m.salon_id = p.salon_id and m.client_id = p.client_id
      and m.kind = 'metallic-salt' and not m.passed and m.done_at > p.made_at and m.done_at <= at) $$;

-- Who answers for a run: who started it, the last who accepted it, or whom a manager named last.
create or replace function rinsebell_answers_for(r run) returns bigint
language sql stable set search_path = pg_catalog
as $$ select coalesce((select case e.kind when 'hands_named' then (e.data ->> 'person')::bigint else e.by end
    from public.run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id
    and e.kind in ('handover_accepted', 'hands_named') order by e.seq desc limit 1), r.started_by) $$;

-- Somebody of this salon who is here, opens hair, and is qualified in the chemistry of the run's service.
create function rinsebell_may_answer(r run, who bigint) returns boolean
language sql stable set search_path = pg_catalog
as $$ select exists (select 1 from public.person p join public.qualification q using (salon_id, person_id)
    join public.protocol_revision v on v.salon_id = p.salon_id and v.chemistry = q.chemistry
    where p.salon_id = r.salon_id and p.person_id = who and p.left_at is null and p.disabled_at is null
      and p.role in ('stylist', 'manager') and v.protocol = r.protocol and v.revision = r.revision) $$;

create or replace function rinsebell_person_refused(r run, e run_event) returns text
language plpgsql stable set search_path = pg_catalog, public as $$
declare
  who public.person;
begin
  select * into who from public.person p where p.salon_id = e.salon_id and p.person_id = e."by";
  if who.person_id is null or who.left_at is not null or who.disabled_at is not null then return 'person:not-here'; end if;
  if who.role = 'reception' then return 'person:role'; end if;
  if who.role = 'assistant' and (e.kind in ('run_started', 'handover_offered', 'handover_accepted', 'stop_closed', 'run_finished', 'run_left')
      or (e.kind = 'hold_point_signed' and e.outcome = 'holds' and e.hold_point in ('scalp', 'patch-test', 'strand-test', 'plan'))) then
    return 'person:role';
  end if;
  if e.kind = 'handover_offered' then
    if who.role <> 'manager' and who.person_id <> public.rinsebell_answers_for(r) then return 'handover:not-yours'; end if;
    if not exists (select 1 from public.person p where p.salon_id = e.salon_id and p.person_id = (e.data ->> 'to')::bigint
        and p.left_at is null and p.disabled_at is null) then
      return 'handover:nobody-here';
    end if;
  end if;
  if e.kind = 'handover_accepted' then
    -- Naming hands ends an offer: who was offered it before is not asked any more.
    if (select h.data ->> 'to' from public.run_event h where h.salon_id = r.salon_id and h.run_id = r.run_id
        and h.kind in ('handover_offered', 'handover_accepted', 'hands_named') order by h.seq desc limit 1) is distinct from e."by"::text then
      return 'handover:not-offered';
    end if;
    if not public.rinsebell_may_answer(r, e."by") then return 'person:not-qualified'; end if;
  end if;
  -- Hands that stay are named by a manager, and are hands that may go on with it.
  if e.kind = 'hands_named' then
    if who.role <> 'manager' then return 'hands:not-a-manager'; end if;
    if (e.data ->> 'person') is null or not public.rinsebell_may_answer(r, (e.data ->> 'person')::bigint) then return 'hands:not-qualified'; end if;
  end if;
  if e.kind = 'stop_closed' and who.role <> 'manager' and who.person_id <> public.rinsebell_answers_for(r) then
    return 'stop_closed:not-yours';
  end if;
  return null;
end $$;

-- Where product of an application is on the hair at the end of what is on record: each section still on, since when,
-- how long it was on before that, and the first touch of the try now on (after the last stop that was ended).
-- The domain's fold (`run/exposure.rs`) said again: one tap is needed; what nobody tapped counts from first touch and
-- until the water runs clear; begun again on hair that ran clear, product is on from the next tap or the begin.
create function rinsebell_contact(r run, letter text) returns table (section text, since timestamptz, before interval, tried timestamptz)
language plpgsql stable set search_path = pg_catalog, public as $$
declare
  places text[];
  ended timestamptz; begun timestamptz; first timestamptz;
  -- The water after which the first try was all off.
  cleared timestamptz; cleared_seq integer;
  put_on boolean := false; tapped boolean;
  from_at timestamptz;
  t record;
  rinsed text[] := '{}';
  kinds text[] := '{}'; ats timestamptz[] := '{}'; seqs integer[] := '{}'; sections text[] := '{}'; passes integer[] := '{}'; clears boolean[] := '{}';
  place text;
  opened timestamptz;
  sum interval;
  out_sections text[] := '{}'; out_since timestamptz[] := '{}'; out_before interval[] := '{}';
  try_at timestamptz;
begin
  select max(e.recorded_at) into ended from public.run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind = 'stop_closed';
  select min(e.happened_at) into begun from public.run_event e join public.run_step s on s.salon_id = e.salon_id and s.run_id = e.run_id and s.code = e.step
    where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind = 'step_started' and s.chemical = 'opening' and s.application = letter;
  -- The sections it touches, in the revision's words; where there are none, those that were tapped, or the whole head.
  select coalesce(array_agg(distinct x.code) filter (where x.code is not null), (select array_agg(c) from jsonb_array_elements_text(v.document -> 'sections') c)) into places
    from public.protocol_revision v left join lateral (select code from jsonb_array_elements(v.document -> 'steps') st,
      lateral public.rinsebell_texts(st -> 'sections') code where st ->> 'application' = letter and st ->> 'work' = 'apply') x on true
    where v.salon_id = r.salon_id and v.protocol = r.protocol and v.revision = r.revision group by v.document;
  if places is null then
    select coalesce(array_agg(distinct e.data ->> 'section'), array['']) into places from public.run_event e
      where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind = 'section_started';
  end if;
  for t in
    select y.*, lead(y.kind) over w as next_kind, lead(y.at) over w as next_at from (
      select 'start' as kind, e.happened_at as at, e.seq, e.data ->> 'section' as place, (e.data ->> 'pass')::integer as pass, false as clear
        from public.run_event e join public.run_step s on s.salon_id = e.salon_id and s.run_id = e.run_id and s.code = e.step
        where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind = 'section_started' and s.chemical = 'opening' and s.application = letter
          and not public.rinsebell_taken_back(e)
      union all
      select 'rinse', e.happened_at, e.seq, e.data ->> 'section', null, (e.data ->> 'clear')::boolean
        from public.run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind = 'section_rinsed' and not public.rinsebell_taken_back(e)
      union all
      select 'begun', e.recorded_at, e.seq, null, null, false
        from public.run_event e join public.run_step s on s.salon_id = e.salon_id and s.run_id = e.run_id and s.code = e.step
        where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind = 'step_started' and s.chemical = 'opening' and s.application = letter) y
    window w as (order by y.at, y.seq) order by y.at, y.seq
  loop
    from_at := t.at;
    put_on := put_on or t.kind <> 'rinse';
    if t.kind = 'begun' then
      if not places <@ rinsed then continue; end if;
      rinsed := '{}';
      if t.next_kind = 'start' then from_at := t.next_at; end if;
    elsif t.kind = 'start' then
      rinsed := array_remove(rinsed, t.place);
    elsif t.place is not null then
      rinsed := array_append(rinsed, t.place);
    elsif t.clear then
      rinsed := rinsed || places;
    end if;
    if put_on and cleared is null and places <@ rinsed then cleared := t.at; cleared_seq := t.seq; end if;
    kinds := array_append(kinds, t.kind); ats := array_append(ats, from_at); seqs := array_append(seqs, t.seq);
    sections := array_append(sections, t.place); passes := array_append(passes, t.pass); clears := array_append(clears, t.clear);
  end loop;
  -- A tap after everything ran clear belongs to a later try: it says nothing about when the first one touched.
  select coalesce(min(x.at) filter (where cleared is null or (x.at, x.seq) <= (cleared, cleared_seq)), begun, min(x.at)) into first
    from unnest(kinds, ats, seqs) x(kind, at, seq) where x.kind = 'start';
  if first is null then return; end if;
  foreach place in array places loop
    select coalesce(bool_or(x.pass = 1), false), min(x.at) filter (where cleared is null or (x.at, x.seq) <= (cleared, cleared_seq))
      into tapped, from_at from unnest(kinds, ats, seqs, sections, passes) x(kind, at, seq, code, pass)
      where x.kind = 'start' and x.code = place;
    if not tapped or from_at is null then from_at := first; end if;
    opened := from_at;
    sum := interval '0';
    for t in select * from unnest(kinds, ats, seqs, sections, clears) x(kind, at, seq, code, clear) where x.at >= from_at order by x.at, x.seq loop
      if t.kind = 'rinse' then
        if opened is not null and (t.code = place or (t.code is null and t.clear)) then
          sum := sum + (t.at - opened);
          if ended is not null and t.at > ended then try_at := least(try_at, opened); end if;
          opened := null;
        end if;
      elsif opened is null and (t.kind = 'begun' or t.code = place or not tapped) then
        opened := t.at;
      end if;
    end loop;
    if opened is not null then
      if ended is not null then try_at := least(try_at, opened); end if;
      out_sections := array_append(out_sections, place); out_since := array_append(out_since, opened); out_before := array_append(out_before, sum);
    end if;
  end loop;
  return query select x.a, x.b, x.c, coalesce(try_at, first) from unnest(out_sections, out_since, out_before) x(a, b, c);
end $$;

-- A fact that was taken back, before or after it came.
create function rinsebell_taken_back(e run_event) returns boolean
language sql stable set search_path = pg_catalog
as $$ select exists (select 1 from public.run_event w where w.salon_id = e.salon_id and w.run_id = e.run_id
    and w.kind = 'fact_withdrawn' and (w.data ->> 'fact_id')::uuid = e.fact_id) $$;

-- Why product may not go on now, by what is on the hair and whose turn it is; null when nothing stands against it.
create function rinsebell_hair_refused(r run, s run_step, at timestamptz) returns text
language plpgsql stable set search_path = pg_catalog, public as $$
declare
  doc jsonb;
  begun boolean;
  furthest integer;
  other text;
  on_since timestamptz; reaches timestamptz; latest timestamptz; tries timestamptz;
begin
  select v.document into doc from public.protocol_revision v where v.salon_id = r.salon_id and v.protocol = r.protocol and v.revision = r.revision;
  -- Steps go in order, from the furthest begun; nothing opening goes back. Taken up again after a stop was ended: `started-before` and
  -- `closing-begun` have asked.
  select max(x.step_no), coalesce(bool_or(x.code = s.code), false) into furthest, begun from public.run_event e
    join public.run_step x on x.salon_id = e.salon_id and x.run_id = e.run_id and x.code = e.step
    where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind in ('step_started', 'closing_started');
  if not begun and (furthest > s.step_no or exists (select 1 from public.run_step x where x.salon_id = r.salon_id and x.run_id = r.run_id
      and x.step_no > coalesce(furthest, 0) and x.step_no < s.step_no
      -- A step that asks for something, or chemical, is never optional.
      and case when doc is null then x.chemical <> 'none' or x.needs <> '{}' else not (doc -> 'steps' -> (x.step_no - 1) ->> 'optional')::boolean end)) then
    return 'step:out-of-turn';
  end if;
  for other in select distinct x.application from public.run_step x
      where x.salon_id = r.salon_id and x.run_id = r.run_id and x.chemical = 'opening' loop
    select min(c.tried), min(c.since - c.before) + make_interval(secs => 60.0 * (select max(m.exposure_most_min) from public.run_step m
        where m.salon_id = r.salon_id and m.run_id = r.run_id and m.application = other)) into on_since, reaches
      from public.rinsebell_contact(r, other) c;
    if on_since is null then continue; end if;
    latest := greatest(latest, on_since);
    if other is distinct from s.application then return 'rinse:missing'; end if;
    if at >= reaches then return 'most-time:passed'; end if;
    tries := on_since;
  end loop;
  if at >= tries + make_interval(mins => (doc -> 'steps' -> (s.step_no - 1) ->> 'window')::integer) then return 'window:shut'; end if;
  if exists (select 1 from public.run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id and e.happened_at >= latest
      and ((e.kind = 'test_curl_read' and e.data ->> 'reading' in ('s', 'over')) or (e.kind = 'progress_read' and e.data ->> 'reading' in ('reached', 'over')))
      and not public.rinsebell_taken_back(e)) then
    return 'rinse:due';
  end if;
  return null;
end $$;

-- Why this opening step may not start at this instant; null when every hold point holds. The whole of what 0008 and
-- 0018 asked, with every product of the service and the plan of this visit. The bowl's own guard asks more of its lots.
create or replace function rinsebell_start_refused(r run, s run_step, starter bigint, at timestamptz) returns text
language plpgsql stable set search_path = pg_catalog, public as $$
declare
  need text;
  signed public.run_event;
  pl public.plan;
  closed_seq integer;
  stopped_seq integer;
  last_sting integer;
  stings integer;
  why text;
  today date;
  age_years integer;
  least_age integer;
begin
  if exists (select 1 from public.run_event e join public.run_step x on x.salon_id = e.salon_id and x.run_id = e.run_id and x.code = e.step
      where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind in ('step_started', 'closing_started')
        and x.chemical = 'closing' and x.step_no > s.step_no) then
    return 'step:closing-begun';
  end if;
  if r.ended_at is not null then return 'run:ended'; end if;
  select max(seq) filter (where kind = 'stop_recorded'), max(seq) filter (where kind = 'stop_closed'),
      max(seq) filter (where kind = 'sting_reported' or data ->> 'comfort' = 'stings')
    into stopped_seq, closed_seq, last_sting
    from public.run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id
      and e.kind in ('stop_recorded', 'stop_closed', 'sting_reported', 'bell_answered', 'comfort_noted');
  if stopped_seq is not null and (closed_seq is null or closed_seq < stopped_seq) then return 'run:stopped'; end if;
  -- A second complaint is stop and rinse, also where nobody recorded the stop.
  select count(*) into stings from public.run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id
    and e.kind = 'sting_reported' and e.seq > coalesce(closed_seq, 0);
  if stings >= 2 then return 'run:stopped'; end if;
  -- A step is started once; again only after a stop was closed.
  if exists (select 1 from public.run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id
      and e.kind = 'step_started' and e.step = s.code and e.seq > coalesce(closed_seq, 0)) then
    return 'step:started-before';
  end if;
  if starter is null or not exists (select 1 from public.person p join public.qualification q using (salon_id, person_id)
      where p.salon_id = r.salon_id and p.person_id = starter and p.left_at is null and p.disabled_at is null
        and p.role in ('stylist', 'manager') and q.chemistry = s.chemistry) then
    return 'person:not-qualified';
  end if;
  -- A scalp that was read red or broken is not read well again in the same visit.
  if exists (select 1 from public.run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id
      and e.hold_point = 'scalp' and e.outcome = 'fails') then
    return 'scalp:failed';
  end if;
  foreach need in array s.needs loop
    select * into signed from public.run_event e
      where e.salon_id = r.salon_id and e.run_id = r.run_id and e.hold_point = need
        and (not (need = any (public.rinsebell_step_hold_points())) or e.step = s.code)
      order by e.seq desc limit 1;
    if signed.seq is null then return need || ':missing'; end if;
    if signed.outcome <> 'holds' then return need || ':failed'; end if;
    if closed_seq is not null and signed.seq < closed_seq and need not in ('consent', 'plan') then return need || ':before-stop-closed'; end if;
    if need = 'scalp' and (signed.recorded_at < at - interval '90 minutes' or (last_sting is not null and signed.seq < last_sting)) then
      return 'scalp:stale';
    end if;
  end loop;
  select * into pl from public.plan x where x.salon_id = r.salon_id and x.plan_id = r.plan_id;
  if pl.client_id <> r.client_id or pl.verdict not in ('clear', 'test-first') then return 'plan:not-clear'; end if;
  -- Also where it was kept before its verdict was held to its findings.
  if exists (select 1 from jsonb_array_elements(pl.findings) f where f ->> 'verdict' in ('wait', 'refuse')) then return 'plan:not-clear'; end if;
  select (at at time zone x.zone)::date, x.least_age into today, least_age from public.salon x where x.salon_id = r.salon_id;
  -- A plan reckoned for a later day may be clear then and not now; one of an earlier visit, the other way round.
  if pl.as_of > today then return 'plan:not-today'; end if;
  if pl.made_at < r.started_at - interval '12 hours' then return 'plan:of-earlier-visit'; end if;
  if not exists (select 1 from public.consent c where c.salon_id = r.salon_id and c.client_id = r.client_id
      and c.signed_at >= r.started_at - interval '12 hours' and c.signed_at <= at) then
    return 'consent:missing';
  end if;
  -- Ages: trade-rules.md, before the service. A birthday not entered is the consult's question.
  select extract(year from age(today, c.born_on)) into age_years from public.client c
    where c.salon_id = r.salon_id and c.client_id = r.client_id;
  if age_years < least_age or (age_years < 16 and exists (select 1 from public.product p
      where p.salon_id = r.salon_id and p.product_id = s.product_id and p.family = 'oxidative-colour')) then
    return 'client:too-young';
  end if;
  if age_years < 18 and not exists (select 1 from public.consent c where c.salon_id = r.salon_id and c.client_id = r.client_id
      and c.signer = 'guardian' and c.signed_at >= r.started_at - interval '12 hours' and c.signed_at <= at) then
    return 'consent:guardian-missing';
  end if;
  -- What is in the bowl is what the service gives there, and no stronger: as the Shelf says now, not as it did.
  why := public.rinsebell_product_against(r.salon_id, r.protocol, r.revision, s.application, s.product_id);
  if why is not null then return why; end if;
  -- Every product of the service, the lotion as well as the straightener: a step that waits for the strand test waits
  -- for that of each, once the plan asks for any.
  select min(w) into why from (select public.rinsebell_tests_against(r, x.product_id, at,
      exists (select 1 from public.plan_product pp where pp.salon_id = r.salon_id and pp.plan_id = r.plan_id and pp.strand_test_asked
        and (pp.product_id = x.product_id or 'strand-test' = any (s.needs)))) as w
    from (select distinct st.product_id from public.run_step st
      where st.salon_id = r.salon_id and st.run_id = r.run_id and st.chemical = 'opening') x) y;
  if why is not null then return why; end if;
  if public.rinsebell_plan_stale(pl, r.run_id, at) then return 'plan:stale'; end if;
  if not exists (select 1 from public.dispensed d join public.lot l using (salon_id, lot_id)
      where d.salon_id = r.salon_id and d.run_id = r.run_id and d.application = s.application and l.product_id = s.product_id
        and l.withdrawn_at is null and (l.best_before is null or l.best_before >= today)
        and (l.opened_on is null or l.opened_life_days is null or l.opened_on + l.opened_life_days >= today)) then
    return 'lot:not-held';
  end if;
  return null;
end $$;
drop function rinsebell_start_refused_open(run, run_step, bigint, timestamptz);

-- A stop in force, recorded or by a second complaint: since when, and what was read of the skin since; no row where
-- none stands.
create function rinsebell_stop_of(r run) returns table (stopped_at timestamptz, whole boolean)
language sql stable set search_path = pg_catalog
as $$ with since as (select coalesce(max(e.seq), 0) as closed from public.run_event e
    where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind = 'stop_closed'),
  stops as (select e.seq, e.happened_at, true as recorded from public.run_event e, since
      where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind = 'stop_recorded' and e.seq > since.closed
    union all select x.seq, x.happened_at, false from (select e.seq, e.happened_at from public.run_event e, since
      where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind = 'sting_reported' and e.seq > since.closed order by e.seq offset 1) x)
  -- What was read before the last stop was known says nothing about it.
  select min(stops.happened_at), (select (e.data ->> 'whole')::boolean from public.run_event e
    where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind = 'stop_read'
      and e.seq > (select coalesce(max(x.seq) filter (where x.recorded), min(x.seq)) from stops x)
    order by e.seq desc limit 1)
  from stops having count(*) > 0 $$;

-- What the guard asks besides, of permissions that rest on the hair, the bowl and a stop. Sorts after run_event_guard
-- and the demo's, so that the locks are held and the instant is the one that is kept.
create function rinsebell_run_event_hair() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  r public.run;
  s public.run_step;
  stop record;
  why text;
  asked_product bigint;
begin
  select * into r from public.run x where x.salon_id = new.salon_id and x.run_id = new.run_id;
  select * into stop from public.rinsebell_stop_of(r);
  if new.kind = 'step_started' then
    select * into s from public.run_step x where x.salon_id = new.salon_id and x.run_id = new.run_id and x.code = new.step;
    if s.chemical = 'opening' then
      why := public.rinsebell_hair_refused(r, s, new.recorded_at);
    elsif s.chemical = 'closing' and stop.stopped_at is not null then
      -- Skin first: nobody closes hair before it was read; where it is not whole, after 20 minutes of water and by a stylist.
      why := case when stop.whole is null then 'stop:not-read'
        when not stop.whole and (new.recorded_at < stop.stopped_at + interval '20 minutes' or not exists (select 1 from public.person p
          where p.salon_id = new.salon_id and p.person_id = new."by" and p.role in ('stylist', 'manager'))) then 'stop:skin-not-whole' end;
    end if;
  elsif new.kind = 'lot_dispensed' then
    if stop.stopped_at is not null then raise exception 'run:stopped' using errcode = 'RB001'; end if;
    select pp.product_id into asked_product from public.plan_product pp
      where pp.salon_id = r.salon_id and pp.plan_id = r.plan_id and pp.application = new.data ->> 'application';
    -- What is not planned is no lot of a product of this run: the bowl's own guard.
    why := public.rinsebell_product_against(r.salon_id, r.protocol, r.revision, new.data ->> 'application', asked_product);
    -- How strong it may be is the start's question, as in the domain.
    if why = 'product:too-strong' then why := null; end if;
  elsif exists (select 1 from (select distinct x.application from public.run_step x where x.salon_id = r.salon_id and x.run_id = r.run_id
      and x.chemical = 'opening') a, lateral public.rinsebell_contact(r, a.application)) then
    -- A stop is not ended, nor a service, with product on.
    why := 'rinse:missing';
  end if;
  if why is not null then raise exception '%', why using errcode = 'RB001'; end if;
  return new;
end $$;
create trigger run_event_hair before insert on run_event for each row
  when (new.kind in ('step_started', 'lot_dispensed', 'stop_closed', 'run_finished')) execute function rinsebell_run_event_hair();
