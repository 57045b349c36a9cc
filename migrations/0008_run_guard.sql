-- The last line of defence: one BEFORE trigger every event passes. Whatever a handler believes,
-- no opening chemical step starts here whose hold points do not hold at this instant.

create function rinsebell_event_kinds() returns text[]
language sql immutable
as $$ select array['run_started', 'hold_point_signed', 'step_started', 'step_finished', 'lot_dispensed', 'handover_offered',
  'handover_accepted', 'stop_read', 'stop_closed', 'run_finished', 'run_left', 'station_armed', 'hands_named',
  'section_started', 'section_rinsed', 'bell_answered', 'test_curl_read', 'rods_noted', 'sting_reported', 'stop_recorded',
  'closing_started', 'fact_withdrawn', 'trimmed', 'comfort_noted'] $$;

create function rinsebell_fact_kinds() returns text[]
language sql immutable
as $$ select array['section_started', 'section_rinsed', 'bell_answered', 'test_curl_read', 'rods_noted', 'sting_reported',
  'stop_recorded', 'closing_started', 'fact_withdrawn', 'trimmed', 'comfort_noted'] $$;

-- Sign-offs that cover one step only; the others cover the visit.
create function rinsebell_step_hold_points() returns text[]
language sql immutable
as $$ select array['gloves', 'barrier', 'hair-dry', 'hair-damp', 'eye-protection'] $$;

-- What a coded answer means: holds, fails, or null where the hold point has no such answer. The domain keeps the
-- same list with its words; a test compares the two.
create function rinsebell_answer_outcome(point text, code text) returns text
language sql immutable set search_path = pg_catalog
as $$ select case
  when point || ':' || code = any (array['patch-test:no-reaction-since', 'scalp:intact', 'strand-test:passed', 'strand-test:not-asked',
    'consent:signed-on-words-shown', 'plan:clear-or-tests-passed', 'lot:in-date-within-law', 'gloves:nitrile-new-pair-intact',
    'gloves:vinyl-new-pair-intact', 'draping:towel-and-cape-dry', 'base:scalp-and-hairline-covered', 'base:no-base-product',
    'barrier:cream-hairline-ears-eyes-shielded', 'barrier:cream-and-fresh-dry-cotton', 'hair-dry:dry', 'hair-damp:damp',
    'eye-protection:cotton-bib-towel']) then 'holds'
  when point || ':' || code = any (array['patch-test:reaction-since', 'scalp:red', 'scalp:broken', 'gloves:worn-before', 'gloves:torn',
    'draping:wet', 'draping:cape-missing', 'base:gaps', 'barrier:cotton-wet', 'barrier:cream-missing', 'hair-dry:damp',
    'hair-damp:dripping', 'hair-damp:dry', 'eye-protection:cotton-wet', 'eye-protection:not-placed']) then 'fails'
  end $$;

-- What somebody needs to be qualified in to open hair with this family.
create function rinsebell_chemistry(family text) returns text
language sql immutable set search_path = pg_catalog
as $$ select case
  when family in ('thio', 'thio-ester', 'sulfite', 'cysteine') then 'thio'
  when family like '%-hydroxide' then 'hydroxide'
  when family in ('oxidative-colour', 'direct-dye', 'metallic-salt', 'plant-colour') then 'colour'
  when family = 'lightener' then 'lightener'
  else 'other' end $$;

-- Who answers for a run: who started it, or the last who accepted it.
create function rinsebell_answers_for(r run) returns bigint
language sql stable set search_path = pg_catalog
as $$ select coalesce((select e.by from public.run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id
    and e.kind = 'handover_accepted' order by e.seq desc limit 1), r.started_by) $$;

-- Why this product may not go on this head now as far as skin and strand tests say; null when nothing stands against it.
create function rinsebell_tests_against(r run, asked_product bigint, at timestamptz, strand_test_needed boolean) returns text
language plpgsql stable set search_path = pg_catalog, public as $$
declare
  p public.product;
  valid_days integer;
  never_on_skin boolean;
begin
  select * into p from public.product x where x.salon_id = r.salon_id and x.product_id = asked_product;
  select patch_valid_days into valid_days from public.salon x where x.salon_id = r.salon_id;
  never_on_skin := p.family in ('sodium-hydroxide', 'potassium-hydroxide', 'lithium-hydroxide', 'guanidine-hydroxide', 'lightener');
  -- A reaction is a stop whatever came later: to any product of this family, read or told, asked about in the
  -- chair ("any itching since?") in any run, or told in any consult.
  if exists (select 1 from public.skin_test t join public.product o using (salon_id, product_id)
      where t.salon_id = r.salon_id and t.client_id = r.client_id and (t.product_id = asked_product or o.family = p.family)
      and (t.outcome <> 'no-reaction' or t.told_outcome <> 'no-reaction')) then
    return 'patch-test:reaction';
  end if;
  if exists (select 1 from public.run x join public.run_event e using (salon_id, run_id)
      where x.salon_id = r.salon_id and x.client_id = r.client_id and e.hold_point = 'patch-test' and e.outcome = 'fails'
      and (x.run_id = r.run_id or exists (select 1 from public.run_step st join public.product o using (salon_id, product_id)
        where st.salon_id = x.salon_id and st.run_id = x.run_id and st.chemical = 'opening' and o.family = p.family))) then
    return 'patch-test:reaction';
  end if;
  if exists (select 1 from public.consult c where c.salon_id = r.salon_id and c.client_id = r.client_id
      and (p.family = any (c.reaction_families) or (c.black_henna_reaction and p.family in ('oxidative-colour', 'direct-dye')))) then
    return 'consult:past-reaction';
  end if;
  -- By the family, not by what somebody entered: a thio is tried on skin whatever its row says.
  if not never_on_skin then
    if not exists (select 1 from public.skin_test t where t.salon_id = r.salon_id and t.client_id = r.client_id
        and t.product_id = asked_product and t.formula = p.formula and t.outcome = 'no-reaction'
        and t.placed_at <= at - interval '48 hours' and t.read_at <= at and t.read_at >= t.placed_at + interval '48 hours'
        and t.placed_at >= at - make_interval(days => valid_days)) then
      return 'patch-test:not-held';
    end if;
  end if;
  -- Salts of metal heat under thio, peroxide and lightener: a failed test is a stop until one passes.
  if not coalesce((select h.passed from public.hair_test h where h.salon_id = r.salon_id and h.client_id = r.client_id
      and h.kind = 'metallic-salt' order by h.done_at desc, h.hair_test_id desc limit 1), true) then
    return 'salt-test:failed';
  end if;
  if strand_test_needed or never_on_skin then
    -- The worst place decides; anything put on since voids it, here or told.
    if not exists (select 1 from public.hair_test h where h.salon_id = r.salon_id and h.client_id = r.client_id
        and h.kind = 'strand' and h.product_id = asked_product and h.formula = p.formula and h.place = 'worst-place'
        and h.passed and h.done_at <= at and h.done_at >= at - interval '14 days'
        and not exists (select 1 from public.hair_test w where w.salon_id = h.salon_id and w.client_id = h.client_id
          and w.kind = 'strand' and w.product_id = h.product_id and not w.passed and w.done_at >= h.done_at)
        and not exists (select 1 from public.strand_event e where e.salon_id = h.salon_id and e.client_id = h.client_id
          and e.did = 'apply' and e.recorded_at > h.done_at and e.run_id is distinct from r.run_id
          and (e.known = 'recorded' or e.on_day >= (h.done_at at time zone
            (select z.zone from public.salon z where z.salon_id = r.salon_id))::date))) then
      return 'strand-test:not-held';
    end if;
  end if;
  return null;
end $$;

-- Why this opening step may not start at this instant; null when every hold point holds.
create function rinsebell_start_refused(r run, s run_step, starter bigint, at timestamptz) returns text
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
  test_needed boolean;
  today date;
  age_years integer;
  least_age integer;
begin
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
  select (at at time zone x.zone)::date, x.least_age into today, least_age from public.salon x where x.salon_id = r.salon_id;
  -- A plan reckoned for a later day may be clear then and not now.
  if pl.as_of > today then return 'plan:not-today'; end if;
  if exists (select 1 from public.strand_event e where e.salon_id = r.salon_id and e.client_id = r.client_id
      and e.seq > pl.strand_seq and e.run_id is distinct from r.run_id) then
    return 'plan:stale';
  end if;
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
  select bool_or(pp.strand_test_asked) into test_needed from public.plan_product pp
    where pp.salon_id = r.salon_id and pp.plan_id = r.plan_id and pp.product_id = s.product_id;
  why := public.rinsebell_tests_against(r, s.product_id, at, coalesce(test_needed, false));
  if why is not null then return why; end if;
  if not exists (select 1 from public.dispensed d join public.lot l using (salon_id, lot_id)
      where d.salon_id = r.salon_id and d.run_id = r.run_id and d.application = s.application and l.product_id = s.product_id
        and l.withdrawn_at is null and (l.best_before is null or l.best_before >= today)
        and (l.opened_on is null or l.opened_life_days is null or l.opened_on + l.opened_life_days >= today)) then
    return 'lot:not-held';
  end if;
  return null;
end $$;

-- Why this closing step may not start as a permission: gloves and eyes, for this step. Hair left open is the worse
-- harm, so nothing else stands in its way; without contact it is kept as a fact with its answers.
create function rinsebell_closing_refused(r run, s run_step) returns text
language plpgsql stable set search_path = pg_catalog, public as $$
declare
  need text;
  said text;
begin
  if r.ended_at is not null then return 'run:ended'; end if;
  foreach need in array array['gloves', 'eye-protection'] loop
    said := (select e.outcome from public.run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id
      and e.hold_point = need and e.step = s.code order by e.seq desc limit 1);
    if said is null then return need || ':missing'; end if;
    if said <> 'holds' then return need || ':failed'; end if;
  end loop;
  return null;
end $$;

-- Why this person may not say so in this run; null when they may. Facts ask for nobody.
create function rinsebell_person_refused(r run, e run_event) returns text
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
  if e.kind = 'handover_accepted' and (select h.data ->> 'to' from public.run_event h where h.salon_id = r.salon_id and h.run_id = r.run_id
      and h.kind in ('handover_offered', 'handover_accepted') order by h.seq desc limit 1) is distinct from e."by"::text then
    return 'handover:not-offered';
  end if;
  if e.kind = 'stop_closed' and who.role <> 'manager' and who.person_id <> public.rinsebell_answers_for(r) then
    return 'stop_closed:not-yours';
  end if;
  return null;
end $$;

-- The words the hash covers: every column of the record, in one order, nulls told from empty.
create function rinsebell_event_words(e run_event) returns text
language sql stable set search_path = pg_catalog
as $$ select concat_ws(E'\x1f', e.salon_id, e.run_id, e.seq,
  to_char(e.recorded_at at time zone 'utc', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"'),
  to_char(e.happened_at at time zone 'utc', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"'),
  coalesce(e.by::text, '~'), coalesce(e.station_id::text, '~'), e.kind, coalesce(e.fact_id::text, '~'), coalesce(e.step, '~'),
  coalesce(e.hold_point, '~'), coalesce(e.outcome, '~'), e.version, e.data::text, coalesce(encode(e.answer_hash, 'hex'), '~'),
  encode(e.prev_hash, 'hex')) $$;

create function rinsebell_run_event_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  r public.run;
  s public.run_step;
  last public.run_event;
  why text;
  claimed timestamptz;
begin
  if current_setting('transaction_isolation') <> 'read committed' then
    raise exception 'events are written at read committed only' using errcode = 'RB002';
  end if;
  if not (new.kind = any (public.rinsebell_event_kinds())) or new.version <> 1 then
    raise exception 'unknown kind or version of event' using errcode = 'RB003';
  end if;
  if (new.kind = any (public.rinsebell_fact_kinds())) <> (new.fact_id is not null) then
    raise exception 'a fact carries its fact_id, a permission none' using errcode = 'RB003';
  end if;
  select * into r from public.run x where x.salon_id = new.salon_id and x.run_id = new.run_id;
  if r.run_id is null then
    raise exception 'no such run' using errcode = 'RB004';
  end if;
  -- Client, then run: the order everybody keeps.
  perform public.rinsebell_lock_client(r.salon_id, r.client_id);
  perform public.rinsebell_lock_run(r.salon_id, r.run_id);
  -- Read again: what was true before the locks may not be now.
  select * into r from public.run x where x.salon_id = new.salon_id and x.run_id = new.run_id;
  select * into last from public.run_event x
    where x.salon_id = new.salon_id and x.run_id = new.run_id order by x.seq desc limit 1;
  if new.seq <= coalesce(last.seq, 0) then
    return null; -- stale: nothing is written, the caller sees 0 rows
  end if;
  if new.seq <> coalesce(last.seq, 0) + 1 then
    raise exception 'a gap in the record' using errcode = 'RB002';
  end if;
  if (new.seq = 1) <> (new.kind = 'run_started') then
    raise exception 'a record begins with run_started, once' using errcode = 'RB003';
  end if;
  new.recorded_at := public.rinsebell_now();
  if new.fact_id is null then
    new.happened_at := new.recorded_at;
  else
    claimed := new.happened_at;
    new.happened_at := least(greatest(claimed, r.started_at), new.recorded_at);
    if new.happened_at <> claimed then
      new.data := new.data || jsonb_build_object('claimed_at', to_char(claimed at time zone 'utc', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"'));
    end if;
  end if;
  if new.fact_id is null and r.ended_at is not null then
    raise exception 'run:ended' using errcode = 'RB001';
  end if;
  if new.fact_id is null and new."by" is null then
    raise exception 'a permission names its person' using errcode = 'RB003';
  end if;
  if new.fact_id is null then
    why := public.rinsebell_person_refused(r, new);
    if why is not null then
      raise exception '%', why using errcode = 'RB001';
    end if;
  end if;
  if new.kind = 'step_started' then
    select * into s from public.run_step x where x.salon_id = new.salon_id and x.run_id = new.run_id and x.code = new.step;
    if s.code is null then
      raise exception 'step:unknown' using errcode = 'RB001';
    end if;
    if s.chemical = 'opening' then
      why := public.rinsebell_start_refused(r, s, new."by", new.recorded_at);
      if why is not null then
        raise exception '%', why using errcode = 'RB001';
      end if;
    elsif s.chemical = 'closing' then
      why := public.rinsebell_closing_refused(r, s);
      if why is not null then
        raise exception '%', why using errcode = 'RB001';
      end if;
    end if;
  elsif new.kind = 'hold_point_signed' then
    -- The outcome is what the coded value means, never what the caller says it means.
    if new.outcome is distinct from public.rinsebell_answer_outcome(new.hold_point, new.data ->> 'value') or new.step is null then
      raise exception '%:value', new.hold_point using errcode = 'RB001';
    end if;
  elsif new.kind = 'stop_closed' then
    -- Only a stop that stands is closed, and only after the skin was read whole since.
    if coalesce((select e.kind = 'stop_read' and (e.data ->> 'whole')::boolean from public.run_event e
        where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind in ('stop_recorded', 'stop_read', 'stop_closed')
        order by e.seq desc limit 1), false) is not true then
      raise exception 'stop_closed:skin-not-whole' using errcode = 'RB001';
    end if;
  elsif new.kind = 'fact_withdrawn' then
    if exists (select 1 from public.run_event f where f.salon_id = new.salon_id and f.run_id = new.run_id
        and f.fact_id = (new.data ->> 'fact_id')::uuid and f.kind not in ('section_started', 'section_rinsed', 'test_curl_read')) then
      raise exception 'fact:not-withdrawable' using errcode = 'RB001';
    end if;
  end if;
  new.prev_hash := coalesce(last.hash, ''::bytea);
  new.hash := sha256(convert_to(public.rinsebell_event_words(new), 'UTF8'));
  return new;
end $$;
create trigger run_event_guard before insert on run_event for each row execute function rinsebell_run_event_guard();

-- After an event: what follows from it in other tables, as the owner, whatever the app may write itself.
create function rinsebell_run_event_after() returns trigger
language plpgsql volatile security definer set search_path = pg_catalog, public as $$
declare
  r public.run;
  last_ledger public.ledger;
  at timestamptz;
  how text;
begin
  select * into r from public.run x where x.salon_id = new.salon_id and x.run_id = new.run_id;
  if new.kind = 'lot_dispensed' then
    insert into public.dispensed (salon_id, run_id, seq, lot_id, application, grams)
      values (new.salon_id, new.run_id, new.seq, (new.data ->> 'lot_id')::bigint, new.data ->> 'application', (new.data ->> 'grams')::real);
    update public.lot set opened_on = (new.recorded_at at time zone (select zone from public.salon x where x.salon_id = new.salon_id))::date
      where salon_id = new.salon_id and lot_id = (new.data ->> 'lot_id')::bigint and opened_on is null;
  elsif new.kind in ('stop_recorded', 'sting_reported') then
    insert into public.incident (salon_id, client_id, run_id, opened_at, kind, place, opened_by)
      values (new.salon_id, r.client_id, new.run_id, new.recorded_at,
        case new.kind when 'stop_recorded' then 'stop-and-rinse' else 'sting' end, left(new.data ->> 'place', 60), new."by");
  elsif new.kind in ('run_finished', 'run_left') then
    how := case when new.kind = 'run_left' then 'left' else coalesce(new.data ->> 'how', 'finished') end;
    at := new.recorded_at;
    update public.run set ended_at = at, ended_how = how where salon_id = new.salon_id and run_id = new.run_id;
    perform pg_advisory_xact_lock(hashtextextended('ledger ' || new.salon_id, 0));
    select * into last_ledger from public.ledger l where l.salon_id = new.salon_id order by l.ledger_seq desc limit 1;
    insert into public.ledger (salon_id, ledger_seq, run_id, last_seq, head_hash, at, prev_hash, hash)
      values (new.salon_id, coalesce(last_ledger.ledger_seq, 0) + 1, new.run_id, new.seq, new.hash, at, coalesce(last_ledger.hash, ''::bytea),
        sha256(convert_to(concat_ws(E'\x1f', new.salon_id, coalesce(last_ledger.ledger_seq, 0) + 1, new.run_id, new.seq, encode(new.hash, 'hex'),
          to_char(at at time zone 'utc', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"'), encode(coalesce(last_ledger.hash, ''::bytea), 'hex')), 'UTF8')));
  end if;
  return null;
end $$;
create trigger run_event_after after insert on run_event for each row execute function rinsebell_run_event_after();

-- A run begins clean: not ended, its instant the database's, its plan this client's and not refused.
create function rinsebell_run_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  pl public.plan;
begin
  perform public.rinsebell_lock_client(new.salon_id, new.client_id);
  select * into pl from public.plan x where x.salon_id = new.salon_id and x.plan_id = new.plan_id;
  if pl.client_id is distinct from new.client_id or pl.protocol <> new.protocol or pl.revision <> new.revision then
    raise exception 'plan:other' using errcode = 'RB001';
  end if;
  if pl.verdict not in ('clear', 'test-first') then
    raise exception 'plan:not-clear' using errcode = 'RB001';
  end if;
  if not exists (select 1 from public.person p where p.salon_id = new.salon_id and p.person_id = new.started_by
      and p.role in ('manager', 'stylist') and p.left_at is null and p.disabled_at is null) then
    raise exception 'person:role' using errcode = 'RB001';
  end if;
  if not public.rinsebell_by_owner() then
    new.started_at := public.rinsebell_now();
    new.ended_at := null;
    new.ended_how := null;
  end if;
  return new;
end $$;
create trigger run_guard before insert on run for each row execute function rinsebell_run_guard();

-- Steps are written before the first event and never after.
create function rinsebell_run_step_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  perform public.rinsebell_lock_run(new.salon_id, new.run_id);
  if exists (select 1 from public.run_event e where e.salon_id = new.salon_id and e.run_id = new.run_id) then
    raise exception 'the steps of a run are frozen at its start' using errcode = 'RB006';
  end if;
  if new.chemical = 'opening' then
    -- What goes on is what was planned, and whoever starts it is qualified in what it is.
    if not exists (select 1 from public.run r join public.plan_product pp using (salon_id, plan_id)
        where r.salon_id = new.salon_id and r.run_id = new.run_id and pp.application = new.application and pp.product_id = new.product_id) then
      raise exception 'product:not-planned' using errcode = 'RB006';
    end if;
    if not exists (select 1 from public.product p where p.salon_id = new.salon_id and p.product_id = new.product_id
        and public.rinsebell_chemistry(p.family) = new.chemistry) then
      raise exception 'product:other-chemistry' using errcode = 'RB006';
    end if;
  end if;
  return new;
end $$;
create trigger run_step_guard before insert on run_step for each row execute function rinsebell_run_step_guard();

-- Ledger and dispensed rows come from the trigger above; by hand only what a recorded event says.
create function rinsebell_only_by_owner() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  if not public.rinsebell_by_owner() then
    raise exception '% rows are written by the record itself', tg_table_name using errcode = 'RB006';
  end if;
  return new;
end $$;
create trigger ledger_guard before insert on ledger for each row execute function rinsebell_only_by_owner();
create trigger dispensed_guard before insert on dispensed for each row execute function rinsebell_only_by_owner();
