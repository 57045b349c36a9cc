-- The floor of safety, held again where a protocol is saved and where a run begins.
--
-- shared/tables/floor.toml with its reasons and marks is the source; a test compares the two row by row. Only the
-- domain sees what is no danger to anybody: lengths and words of texts, marks, codes of people's own making.

create function rinsebell_floor() returns jsonb
language sql immutable set search_path = pg_catalog
as $floor$ select '[
  {"id": "opening-patch-test", "of": ["opening"], "asks": "hold-point", "hold_point": "patch-test"},
  {"id": "opening-scalp", "of": ["opening"], "asks": "hold-point", "hold_point": "scalp"},
  {"id": "opening-plan", "of": ["opening"], "asks": "hold-point", "hold_point": "plan"},
  {"id": "opening-consent", "of": ["opening"], "asks": "hold-point", "hold_point": "consent"},
  {"id": "opening-lot", "of": ["opening"], "asks": "hold-point", "hold_point": "lot"},
  {"id": "opening-gloves", "of": ["opening"], "asks": "hold-point", "hold_point": "gloves"},
  {"id": "at-work-gloves", "of": ["opening"], "asks": "at-work-hold-point", "hold_point": "gloves"},
  {"id": "opening-strand-test", "of": ["thio-straightening", "curl-lotion", "alkaline-wave", "acid-wave", "hydroxide", "lightener"], "asks": "first-hold-point", "hold_point": "strand-test"},
  {"id": "straightener-base", "of": ["thio-straightening", "hydroxide"], "asks": "hold-point", "hold_point": "base"},
  {"id": "opening-barrier", "of": ["thio-straightening", "curl-lotion", "alkaline-wave", "acid-wave", "hydroxide"], "asks": "first-hold-point", "hold_point": "barrier"},
  {"id": "straightener-dry", "of": ["thio-straightening", "hydroxide", "lightener"], "asks": "first-hold-point", "hold_point": "hair-dry"},
  {"id": "closing-gloves", "of": ["closing"], "asks": "hold-point", "hold_point": "gloves"},
  {"id": "closing-eyes", "of": ["closing"], "asks": "hold-point", "hold_point": "eye-protection"},
  {"id": "opening-hands", "of": ["opening"], "asks": "stylist-hands"},
  {"id": "opening-qualified", "of": ["opening"], "asks": "qualified"},
  {"id": "opening-not-optional", "of": ["opening", "closing"], "asks": "not-optional"},
  {"id": "opening-rinsed", "of": ["opening"], "asks": "rinsed"},
  {"id": "thio-closed", "of": ["thio-straightening", "curl-lotion", "alkaline-wave", "acid-wave"], "asks": "closed-by", "closer": "neutraliser"},
  {"id": "hydroxide-closed", "of": ["hydroxide"], "asks": "closed-by", "closer": "normalising-shampoo"},
  {"id": "straightener-sheet", "of": ["thio-straightening"], "asks": "exposure-from-sheet"},
  {"id": "straightener-window", "of": ["thio-straightening"], "asks": "window-most", "minutes": 15},
  {"id": "straightener-covered", "of": ["thio-straightening"], "asks": "phase-most", "minutes": 15},
  {"id": "lotion-exposure", "of": ["curl-lotion"], "asks": "exposure-most", "minutes": 65},
  {"id": "lotion-covered", "of": ["curl-lotion"], "asks": "phase-most", "minutes": 20},
  {"id": "wave-sheet", "of": ["alkaline-wave", "acid-wave"], "asks": "exposure-from-sheet"},
  {"id": "wave-covered", "of": ["alkaline-wave", "acid-wave"], "asks": "phase-most", "minutes": 20},
  {"id": "hydroxide-sheet", "of": ["hydroxide"], "asks": "exposure-from-sheet"},
  {"id": "hydroxide-exposure", "of": ["hydroxide"], "asks": "exposure-most", "minutes": 15},
  {"id": "colour-sheet", "of": ["colour", "direct-dye"], "asks": "exposure-from-sheet"},
  {"id": "colour-exposure", "of": ["colour"], "asks": "exposure-most", "minutes": 45},
  {"id": "lightener-sheet", "of": ["lightener"], "asks": "exposure-from-sheet"},
  {"id": "rinse-before-neutraliser", "of": ["curl-lotion", "alkaline-wave", "acid-wave"], "asks": "rinse-least", "minutes": 3},
  {"id": "neutraliser-least", "of": ["neutraliser-reforming"], "asks": "phase-least", "minutes": 10},
  {"id": "neutraliser-most", "of": ["neutraliser-reforming"], "asks": "phase-most", "minutes": 15},
  {"id": "wave-neutraliser-least", "of": ["neutraliser-wave"], "asks": "phase-least", "minutes": 5},
  {"id": "wave-neutraliser-most", "of": ["neutraliser-wave"], "asks": "phase-most", "minutes": 10},
  {"id": "retouch-new-growth", "of": ["thio-straightening", "hydroxide", "lightener", "colour"], "asks": "new-growth", "head": "retouch"},
  {"id": "unknown-not-all", "of": ["thio-straightening", "hydroxide", "lightener"], "asks": "not-root-to-end", "head": "any"},
  {"id": "coloured-mild", "of": ["thio-straightening", "curl-lotion", "alkaline-wave", "acid-wave", "hydroxide"], "asks": "strength-most", "head": "coloured", "strength": "mild"},
  {"id": "hairline-last", "of": ["hydroxide", "lightener"], "asks": "last-section", "section": "hairline"},
  {"id": "lightener-back-first", "of": ["lightener"], "asks": "back-first"},
  {"id": "no-heat", "of": ["thio-straightening", "curl-lotion", "hydroxide"], "asks": "no-heat"},
  {"id": "mixed-for-this-head", "of": ["guanidine", "colour", "lightener"], "asks": "mixed"},
  {"id": "hydroxide-watched", "of": ["hydroxide"], "asks": "watched", "minutes": 5, "look": "comb-back"},
  {"id": "lightener-watched", "of": ["lightener"], "asks": "watched", "minutes": 5, "look": "lift"},
  {"id": "lotion-watched", "of": ["curl-lotion"], "asks": "watched", "minutes": 3, "look": "test-curl"},
  {"id": "wave-watched", "of": ["alkaline-wave", "acid-wave"], "asks": "watched", "minutes": 5, "look": "test-curl"},
  {"id": "thio-not-with-hydroxide", "of": ["thio-straightening", "curl-lotion", "alkaline-wave", "acid-wave"], "asks": "never-with", "group": "hydroxide"},
  {"id": "hydroxide-not-with-thio", "of": ["hydroxide"], "asks": "never-with", "group": "thio"},
  {"id": "colour-not-with-thio", "of": ["colour", "lightener"], "asks": "never-with", "group": "thio"},
  {"id": "colour-not-with-hydroxide", "of": ["colour", "lightener"], "asks": "never-with", "group": "hydroxide"},
  {"id": "stop-skin", "of": ["opening"], "asks": "stop-words", "words": ["skin", "water", "20 minutes"]},
  {"id": "stop-nothing-on-skin", "of": ["opening"], "asks": "stop-words", "words": ["nothing else", "skin"]},
  {"id": "stop-eye", "of": ["opening"], "asks": "stop-words", "words": ["eye", "20 minutes", "emergency"]},
  {"id": "stop-breathing", "of": ["opening"], "asks": "stop-words", "words": ["breathing", "emergency"]},
  {"id": "stop-record", "of": ["opening"], "asks": "stop-words", "words": ["product", "lot"]}
]'::jsonb $floor$;

-- The group a family belongs to, as far as the floor asks.
create function rinsebell_group(family text) returns text
language sql immutable set search_path = pg_catalog
as $$ select case
  when family in ('thio', 'thio-ester', 'sulfite', 'cysteine') then 'thio'
  when family like '%-hydroxide' then 'hydroxide'
  when family like '%-neutraliser' then 'neutraliser'
  else family end $$;

-- A row of the floor speaks of this application of this protocol.
create function rinsebell_floor_is(doc jsonb, a jsonb, subject text) returns boolean
language sql immutable set search_path = pg_catalog
as $$ select case when a ->> 'chemical' = 'opening' then case subject
    when 'opening' then true
    when 'thio-straightening' then u.thio and u.straightens
    when 'curl-lotion' then u.thio and not u.straightens and u.reforms
    when 'alkaline-wave' then u.thio and not u.straightens and not u.reforms
    when 'acid-wave' then u.family = 'thio-ester'
    when 'hydroxide' then u.family like '%-hydroxide'
    when 'guanidine' then u.family = 'guanidine-hydroxide'
    when 'colour' then u.family = 'oxidative-colour'
    when 'direct-dye' then u.family = 'direct-dye'
    when 'lightener' then u.family = 'lightener'
    else false end
  else case subject
    when 'closing' then true
    when 'neutraliser-reforming' then u.neutralises and u.reforms
    when 'neutraliser-wave' then u.neutralises and not u.reforms
    else false end end
  from (select a ->> 'family' as family, (a ->> 'family') in ('thio', 'sulfite', 'cysteine') as thio,
    (a ->> 'straightens')::boolean as straightens, (a ->> 'family') like '%-neutraliser' as neutralises,
    exists (select 1 from jsonb_array_elements(doc -> 'applications') b where b ->> 'chemical' = 'opening'
      and (b ->> 'straightens')::boolean and public.rinsebell_group(b ->> 'family') = 'thio') as reforms) u $$;

-- The steps of a document with their places, from 1.
create function rinsebell_steps_of(doc jsonb) returns table (no integer, s jsonb)
language sql immutable set search_path = pg_catalog
as $$ select o::integer, e from jsonb_array_elements(doc -> 'steps') with ordinality x(e, o) $$;

-- The texts of a list; none where there is no list.
create function rinsebell_texts(list jsonb) returns setof text
language sql immutable set search_path = pg_catalog
as $$ select jsonb_array_elements_text(case jsonb_typeof(list) when 'array' then list else '[]' end) $$;

-- What one row of the floor finds wrong with one application; null when it holds.
create function rinsebell_floor_fault(doc jsonb, a jsonb, r jsonb) returns text
language plpgsql immutable set search_path = pg_catalog, public as $$
declare
  letter text := a ->> 'letter';
  m integer := (r ->> 'minutes')::integer;
  point text := r ->> 'hold_point';
  head text := doc ->> 'head';
  first_on integer;
  last_on integer;
  rinse integer;
  closed integer;
  touched text[];
  bad boolean := false;
begin
  select min(no), max(no) into first_on, last_on from public.rinsebell_steps_of(doc)
    where s ->> 'application' = letter and s ->> 'chemical' <> 'none';
  if first_on is null then return 'no step puts it on'; end if;
  select min(no) into rinse from public.rinsebell_steps_of(doc) where no > last_on and s -> 'rinses' ? letter;
  -- Sections in the order of their first touch.
  select array_agg(code order by at) into touched from (select t.code, min(st.no * 1000 + t.o) as at
    from public.rinsebell_steps_of(doc) st cross join lateral public.rinsebell_texts(st.s -> 'sections') with ordinality t(code, o)
    where st.s ->> 'application' = letter and st.s ->> 'work' = 'apply' group by t.code) x;
  case r ->> 'asks'
    when 'hold-point' then
      bad := exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'application' = letter and s ->> 'chemical' <> 'none' and not s -> 'needs' ? point);
    when 'first-hold-point' then
      bad := exists (select 1 from public.rinsebell_steps_of(doc) where no = first_on and not s -> 'needs' ? point);
    when 'at-work-hold-point' then
      bad := exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'application' = letter and s ->> 'hands' <> 'nobody' and not s -> 'needs' ? point);
    when 'stylist-hands' then
      bad := exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'application' = letter and s ->> 'chemical' <> 'none' and s ->> 'hands' <> 'stylist');
    when 'qualified' then
      bad := exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'application' = letter and s ->> 'chemical' <> 'none'
        and public.rinsebell_group(s ->> 'qualification') is distinct from public.rinsebell_group(a ->> 'family'));
    when 'not-optional' then
      bad := exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'application' = letter and s ->> 'chemical' <> 'none' and (s ->> 'optional')::boolean);
    when 'rinsed' then
      bad := rinse is null or exists (
        select unnest(coalesce(touched, array(select jsonb_array_elements_text(doc -> 'sections'))))
        except select public.rinsebell_texts(s -> 'sections') from public.rinsebell_steps_of(doc) where no > last_on and s -> 'rinses' ? letter);
    when 'closed-by' then
      select max(no) into closed from public.rinsebell_steps_of(doc) where s ->> 'chemical' = 'closing'
        and case r ->> 'closer' when 'neutraliser' then s ->> 'family' like '%-neutraliser' else (s ->> 'normalises')::boolean end;
      bad := rinse is null or closed is null or closed < rinse
        or exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'chemical' = 'closing'
          and not case r ->> 'closer' when 'neutraliser' then coalesce(s ->> 'family' like '%-neutraliser', false) else (s ->> 'normalises')::boolean end)
        or (r ->> 'closer' = 'neutraliser' and not exists (select 1 from public.rinsebell_steps_of(doc) c join public.rinsebell_steps_of(doc) w
          on w.no > c.no and w.s -> 'rinses' ? (c.s ->> 'application') where c.no = closed));
    when 'rinse-least' then
      bad := exists (select 1 from public.rinsebell_steps_of(doc) where no = rinse and coalesce((s #>> '{phase,least}')::integer, 0) < m);
    when 'exposure-from-sheet' then
      bad := exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'application' = letter and s #>> '{exposure,source}' <> 'sheet');
    when 'exposure-most' then
      bad := exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'application' = letter and s #>> '{exposure,source}' <> 'sheet'
        and coalesce((s #>> '{exposure,most}')::integer, 9999) > m);
    when 'phase-most' then
      bad := exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'application' = letter and s #>> '{phase,source}' <> 'sheet'
        and coalesce((s #>> '{phase,most}')::integer, 9999) > m);
    when 'phase-least' then
      bad := not exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'application' = letter and (s #>> '{phase,least}')::integer >= m);
    when 'window-most' then
      bad := exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'application' = letter and s ->> 'chemical' <> 'none'
          and coalesce((s ->> 'window')::integer, 9999) > m)
        or (select sum((s ->> 'typical')::integer) from public.rinsebell_steps_of(doc) where s ->> 'application' = letter and s ->> 'chemical' <> 'none') > m;
    when 'no-heat' then
      bad := exists (select 1 from public.rinsebell_steps_of(doc) where no >= first_on and no < coalesce(rinse, 9999) and s ->> 'heat' <> 'none');
    when 'last-section' then
      bad := touched[cardinality(touched)] is distinct from r ->> 'section';
    when 'back-first' then
      bad := not exists (select 1 from unnest(touched) t where t like 'back-%' or t like '%-crown' or t like '%-nape')
        or exists (select 1 from unnest(touched) with ordinality f(t, o) join unnest(touched) with ordinality b(t, o) on b.o > f.o
          where not (f.t like 'back-%' or f.t like '%-crown' or f.t like '%-nape' or f.t = 'hairline')
            and (b.t like 'back-%' or b.t like '%-crown' or b.t like '%-nape'));
    when 'new-growth' then bad := head = r ->> 'head' and a ->> 'zone' <> 'new-growth';
    when 'not-root-to-end' then bad := head = r ->> 'head' and a ->> 'zone' = 'root-to-end';
    when 'strength-most' then
      bad := head = r ->> 'head' and coalesce(array_position(array['mild', 'regular', 'strong'], a ->> 'strength_most'), 9)
        > array_position(array['mild', 'regular', 'strong'], r ->> 'strength');
    when 'mixed' then
      bad := not exists (select 1 from public.rinsebell_steps_of(doc) where no < first_on and s #>> '{mix,for}' = letter
          and jsonb_array_length(s #> '{mix,parts}') >= 2)
        or exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'application' = letter and s ->> 'chemical' <> 'none' and not s -> 'needs' ? 'mixed');
    when 'watched' then
      bad := not exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'application' = letter and s #>> '{look,what}' = r ->> 'look'
        and (s #>> '{look,every}')::integer between 1 and m);
    when 'never-with' then
      bad := exists (select 1 from jsonb_array_elements(doc -> 'applications') b where public.rinsebell_group(b ->> 'family') = r ->> 'group');
    when 'stop-words' then
      bad := not exists (select 1 from jsonb_array_elements_text(doc -> 'stop_words') w
        where not exists (select 1 from jsonb_array_elements_text(r -> 'words') k where strpos(lower(w), lower(k)) = 0));
    else return 'unknown row ' || (r ->> 'asks');
  end case;
  return case when bad is distinct from false then (r ->> 'id') end;
end $$;

-- Everything wrong with a document, each as "place: reason"; none when it may be saved.
create function rinsebell_protocol_faults(doc jsonb) returns setof text
language plpgsql immutable set search_path = pg_catalog, public as $$
begin
  if jsonb_typeof(doc -> 'steps') is distinct from 'array' or jsonb_typeof(doc -> 'applications') is distinct from 'array'
      or jsonb_typeof(doc -> 'sections') is distinct from 'array' or jsonb_typeof(doc -> 'stop_words') is distinct from 'array'
      or jsonb_array_length(doc -> 'steps') not between 1 and 60 or jsonb_array_length(doc -> 'applications') > 12
      or doc ->> 'kind' not in ('service', 'test-visit') or doc ->> 'head' not in ('virgin', 'coloured', 'retouch', 'any') then
    return next 'protocol:shape';
    return;
  end if;
  -- The floor, row by row.
  return query select 'application ' || coalesce(a ->> 'letter', '?') || ':' || f.why
    from jsonb_array_elements(doc -> 'applications') a
    cross join jsonb_array_elements(public.rinsebell_floor()) r
    cross join lateral (select public.rinsebell_floor_fault(doc, a, r) as why) f
    where exists (select 1 from jsonb_array_elements_text(r -> 'of') o where public.rinsebell_floor_is(doc, a, o)) and f.why is not null
      and not (r -> 'of' = '["closing"]' and r ->> 'asks' = 'hold-point');
  return query select 'step ' || (st.s ->> 'code') || ':' || (r ->> 'id')
    from public.rinsebell_steps_of(doc) st cross join jsonb_array_elements(public.rinsebell_floor()) r
    where st.s ->> 'chemical' = 'closing' and r -> 'of' ? 'closing'
      and ((r ->> 'asks' = 'hold-point' and not st.s -> 'needs' ? (r ->> 'hold_point')) or (r ->> 'asks' = 'not-optional' and (st.s ->> 'optional')::boolean));
  -- A test visit puts nothing on, and somebody may react all the same.
  return query select 'protocol:' || (r ->> 'id') from jsonb_array_elements(public.rinsebell_floor()) r
    where doc ->> 'kind' = 'test-visit' and r ->> 'asks' = 'stop-words'
      and not exists (select 1 from jsonb_array_elements_text(doc -> 'stop_words') w
        where not exists (select 1 from jsonb_array_elements_text(r -> 'words') k where strpos(lower(w), lower(k)) = 0));
  -- That it is whole: what the rows rest on.
  return query select 'protocol:' || why from (values
    ('stop-words', jsonb_array_length(doc -> 'stop_words') = 0),
    ('nothing-put-on', doc ->> 'kind' = 'service' and not exists (select 1 from jsonb_array_elements(doc -> 'applications') a where a ->> 'chemical' = 'opening')),
    ('family-unknown', doc ->> 'family' is null or doc ->> 'family' = 'unknown'),
    ('family', doc ->> 'kind' = 'service' and not exists (select 1 from jsonb_array_elements(doc -> 'applications') a
      where a ->> 'chemical' = 'opening' and a ->> 'family' = doc ->> 'family')),
    ('test-visit', doc ->> 'kind' = 'test-visit' and (jsonb_array_length(doc -> 'applications') > 0 or (doc ->> 'retouch')::boolean
      or not exists (select 1 from public.rinsebell_steps_of(doc) where s ->> 'records' is not null))),
    ('sections', doc ->> 'kind' = 'service' and jsonb_array_length(doc -> 'sections') = 0),
    ('quadrant-left-out', (select count(*) not in (0, 4) from jsonb_array_elements_text(doc -> 'sections') x
      where x in ('back-right', 'back-left', 'front-left', 'front-right'))),
    ('sections-twice', (select count(*) <> count(distinct x) from jsonb_array_elements_text(doc -> 'sections') x)),
    ('codes', (select count(*) <> count(distinct s ->> 'code') from public.rinsebell_steps_of(doc))),
    ('letters', (select count(*) <> count(distinct a ->> 'letter') from jsonb_array_elements(doc -> 'applications') a))) w(why, bad)
    where bad is distinct from false;
  return query select 'application ' || coalesce(a ->> 'letter', '?') || ':' || why from jsonb_array_elements(doc -> 'applications') a cross join lateral (values
    ('chemistry', coalesce(a ->> 'family', 'unknown') in ('unknown', 'metallic-salt', 'plant-colour', 'aldehyde-smoothing')
      or a ->> 'chemical' not in ('opening', 'closing') or (a ->> 'chemical' = 'closing') <> (a ->> 'family' like '%-neutraliser')),
    ('steps', a -> 'steps' is distinct from (select jsonb_agg(s -> 'code' order by no) from public.rinsebell_steps_of(doc)
      where s ->> 'application' = a ->> 'letter' and s ->> 'chemical' <> 'none')),
    ('no-exposure-clock', a ->> 'chemical' = 'opening' and (select count(*) from public.rinsebell_steps_of(doc)
      where s ->> 'application' = a ->> 'letter' and s -> 'exposure' <> 'null') <> 1)) w(why, bad)
    where bad is distinct from false;
  return query select 'step ' || coalesce(st.s ->> 'code', '?') || ':' || why from public.rinsebell_steps_of(doc) st cross join lateral (values
    ('chemical', st.s ->> 'chemical' not in ('none', 'opening', 'closing')),
    ('application', st.s ->> 'application' is not null and not exists (select 1 from jsonb_array_elements(doc -> 'applications') a where a ->> 'letter' = st.s ->> 'application')),
    ('opening-names', st.s ->> 'chemical' = 'opening' and not exists (select 1 from jsonb_array_elements(doc -> 'applications') a
      where a ->> 'letter' = st.s ->> 'application' and a ->> 'family' = st.s ->> 'family' and a ->> 'chemical' = 'opening')),
    ('opening-after-rinse', st.s ->> 'chemical' = 'opening' and exists (select 1 from public.rinsebell_steps_of(doc) b where b.no < st.no and b.s -> 'rinses' ? (st.s ->> 'application'))),
    ('closing-names', st.s ->> 'chemical' = 'closing' and case when (st.s ->> 'normalises')::boolean then st.s ->> 'family' is not null or st.s ->> 'application' is not null
      else not exists (select 1 from jsonb_array_elements(doc -> 'applications') a
        where a ->> 'letter' = st.s ->> 'application' and a ->> 'family' = st.s ->> 'family' and a ->> 'chemical' = 'closing') end),
    ('closing-first', st.s ->> 'chemical' = 'closing' and not exists (select 1 from public.rinsebell_steps_of(doc) b where b.no < st.no and b.s ->> 'chemical' = 'opening')),
    ('names-chemistry', st.s ->> 'chemical' = 'none' and (st.s ->> 'family' is not null or (st.s ->> 'normalises')::boolean)),
    ('rinse-waits', st.s ->> 'work' = 'rinse' and (jsonb_array_length(st.s -> 'needs') > 0 or st.s ->> 'chemical' <> 'none' or st.s ->> 'hands' = 'nobody')),
    ('rinses', jsonb_array_length(st.s -> 'rinses') > 0 and st.s ->> 'work' is distinct from 'rinse'),
    ('rinses-nothing', exists (select 1 from jsonb_array_elements_text(st.s -> 'rinses') l where not exists (select 1 from public.rinsebell_steps_of(doc) b
      where b.no < st.no and b.s ->> 'application' = l and b.s ->> 'chemical' <> 'none'))),
    ('applies', st.s ->> 'work' = 'apply' and (st.s ->> 'chemical' = 'none' or coalesce((st.s ->> 'pass')::integer, 0) < 1 or ((st.s ->> 'pass')::integer > 1
      and not exists (select 1 from public.rinsebell_steps_of(doc) b where b.no < st.no and b.s ->> 'application' = st.s ->> 'application'
        and b.s ->> 'work' = 'apply' and (b.s ->> 'pass')::integer = (st.s ->> 'pass')::integer - 1)))),
    ('sections', exists (select 1 from public.rinsebell_texts(st.s -> 'sections') x
      where not doc -> 'sections' ? x)),
    ('pass-again', st.s ->> 'work' = 'apply' and exists (select 1 from public.rinsebell_steps_of(doc) b
      where b.no < st.no and b.s ->> 'application' = st.s ->> 'application' and b.s ->> 'work' = 'apply' and b.s -> 'pass' = st.s -> 'pass'
        and exists (select public.rinsebell_texts(b.s -> 'sections') intersect select public.rinsebell_texts(st.s -> 'sections')))),
    ('not-named-at-work', st.s ->> 'work' is distinct from 'rinse' and exists (select 1 from jsonb_array_elements(doc -> 'applications') a
      where a ->> 'chemical' = 'opening' and st.s ->> 'application' is distinct from a ->> 'letter'
        and st.no > (select min(b.no) from public.rinsebell_steps_of(doc) b where b.s ->> 'application' = a ->> 'letter' and b.s ->> 'chemical' = 'opening')
        and st.no < coalesce((select min(b.no) from public.rinsebell_steps_of(doc) b where b.s -> 'rinses' ? (a ->> 'letter')), 9999))),
    ('look', st.s -> 'look' <> 'null' and (st.s ->> 'application' is null or jsonb_array_length(st.s -> 'rinses') > 0
      or coalesce((st.s #>> '{look,every}')::integer, 0) not between 1 and 30
      or (st.s #>> '{look,what}' = 'test-curl' and not exists (select 1 from public.rinsebell_steps_of(doc) b where (b.s ->> 'rods')::boolean)))),
    ('window', st.s -> 'window' <> 'null' and (st.s ->> 'chemical' <> 'opening' or (st.s ->> 'window')::integer not between 1 and 120)),
    ('smooth', st.s ->> 'work' = 'smooth' and st.s ->> 'chemical' <> 'none'),
    ('pass', coalesce(st.s ->> 'work' = 'apply', false) is distinct from (st.s ->> 'pass' is not null)),
    ('book', (st.s ->> 'least')::integer > (st.s ->> 'typical')::integer or (st.s ->> 'typical')::integer not between 1 and 240
      or (st.s ->> 'hands' = 'nobody') <> ((st.s ->> 'count')::integer = 0) or (st.s ->> 'count')::integer > 6),
    ('nobody', st.s ->> 'hands' = 'nobody' and st.s ->> 'chemical' <> 'none'),
    ('works-alone', st.s ->> 'hands' = 'nobody' and st.s ->> 'application' is not null
      and not coalesce(st.s #>> '{phase,source}' = 'sheet' or st.s #>> '{phase,most}' is not null, false)),
    ('exposure-step', st.s -> 'exposure' <> 'null' and (st.s ->> 'chemical' <> 'opening' or exists (select 1 from public.rinsebell_steps_of(doc) b
      where b.no < st.no and b.s ->> 'application' = st.s ->> 'application' and b.s ->> 'chemical' = 'opening')
      or not coalesce(st.s #>> '{exposure,source}' = 'sheet' or st.s #>> '{exposure,most}' is not null, false))),
    ('times', exists (select 1 from (values (st.s -> 'phase'), (st.s -> 'exposure')) c(t) where jsonb_typeof(t) = 'object' and (
      (t ->> 'target')::integer > (t ->> 'most')::integer or (t ->> 'least')::integer > (t ->> 'target')::integer
      or (t ->> 'least')::integer > (t ->> 'most')::integer or least((t ->> 'target')::integer, (t ->> 'least')::integer, (t ->> 'most')::integer) < 1
      or greatest((t ->> 'target')::integer, (t ->> 'least')::integer, (t ->> 'most')::integer) > 240
      or (t ->> 'source' = 'sheet') <> (coalesce(t ->> 'target', t ->> 'least', t ->> 'most') is null)))),
    ('heat', st.s ->> 'heat' <> 'none' and (st.s ->> 'application' is null or st.s #>> '{phase,source}' is distinct from 'sheet')),
    ('mix-parts', st.s -> 'mix' <> 'null' and (select count(distinct p) from public.rinsebell_texts(st.s #> '{mix,parts}') p) < 2),
    ('mixed-not-asked', st.s ->> 'chemical' = 'opening' and st.s -> 'needs' ? 'mixed' is distinct from exists (
      select 1 from public.rinsebell_steps_of(doc) b where b.s #>> '{mix,for}' = st.s ->> 'application')),
    ('mix', st.s -> 'mix' <> 'null' and exists (select 1 from public.rinsebell_steps_of(doc) b where b.no <= st.no and b.s ->> 'application' = st.s #>> '{mix,for}')),
    ('protects', (st.s ->> 'optional')::boolean and (jsonb_array_length(st.s -> 'needs') > 0 or st.s ->> 'application' is not null or st.s ->> 'work' is not null
      or st.s -> 'mix' <> 'null' or st.s ->> 'records' is not null))) w(why, bad)
    where bad is distinct from false and bad is not null;
end $$;

-- The document of a revision, written by the app with its text; revisions of before have none and start no new run.
alter table protocol_revision add column document jsonb;
alter table protocol_revision add constraint protocol_revision_document_bound
  check (jsonb_typeof(document) = 'object' and octet_length(document::text) <= 200000);

create function rinsebell_protocol_revision_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  faults text;
begin
  if new.document is null then
    if public.rinsebell_by_owner() then return null; end if;
    raise exception 'protocol:document-missing' using errcode = 'RB008';
  end if;
  if new.document ->> 'code' is distinct from new.protocol or (new.document ->> 'revision')::integer is distinct from new.revision then
    raise exception 'protocol:document-other' using errcode = 'RB008';
  end if;
  select string_agg(f, '; ' order by f) into faults from (select f from public.rinsebell_protocol_faults(new.document) f limit 40) x;
  if faults is not null then
    raise exception '%', faults using errcode = 'RB008';
  end if;
  return null;
end $$;
-- After the row's own fence and constraints.
create trigger protocol_revision_guard after insert on protocol_revision for each row execute function rinsebell_protocol_revision_guard();

-- A run's steps are the revision's: none weaker, none left out of what protects. After the row's own constraints.
create function rinsebell_run_step_protocol() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  doc jsonb;
  s jsonb;
  a jsonb;
begin
  if public.rinsebell_by_owner() then return null; end if;
  select v.document into doc from public.run r join public.protocol_revision v using (salon_id, protocol, revision)
    where r.salon_id = new.salon_id and r.run_id = new.run_id;
  -- Saved before documents were: the newest revision is planned instead.
  if doc is null then raise exception 'plan:stale' using errcode = 'RB001'; end if;
  s := doc -> 'steps' -> (new.step_no - 1);
  if s is null or s ->> 'code' is distinct from new.code or s ->> 'chemical' is distinct from new.chemical
      or s ->> 'application' is distinct from new.application then
    raise exception 'step:not-of-revision' using errcode = 'RB006';
  end if;
  if not new.needs @> array(select jsonb_array_elements_text(s -> 'needs')) then
    raise exception 'step:needs-less' using errcode = 'RB006';
  end if;
  if new.exposure_most_min > (s #>> '{exposure,most}')::real or new.phase_most_min > (s #>> '{phase,most}')::real
      or coalesce(new.exposure_most_min is null and s -> 'exposure' <> 'null', false)
      or (new.phase_least_min is distinct from null and new.phase_least_min < least((s #>> '{phase,least}')::real, new.phase_most_min))
      or (new.phase_least_min is null and s #>> '{phase,least}' is not null)
      or (new.phase_most_min is null and (s #>> '{phase,most}' is not null or s #>> '{phase,source}' = 'sheet')) then
    raise exception 'step:times-weaker' using errcode = 'RB006';
  end if;
  select x into a from jsonb_array_elements(doc -> 'applications') x where x ->> 'letter' = new.application;
  if new.chemical = 'opening' then
    if exists (select 1 from jsonb_array_elements(public.rinsebell_floor()) r where r ->> 'asks' = 'exposure-most'
        and new.exposure_most_min > (r ->> 'minutes')::real
        and exists (select 1 from jsonb_array_elements_text(r -> 'of') o where public.rinsebell_floor_is(doc, a, o))) then
      raise exception 'step:over-ceiling' using errcode = 'RB006';
    end if;
    if array_position(array['mild', 'regular', 'strong'], a ->> 'strength_most')
        < (select array_position(array['mild', 'regular', 'strong'], p.strength) from public.product p where p.salon_id = new.salon_id and p.product_id = new.product_id) then
      raise exception 'product:too-strong' using errcode = 'RB006';
    end if;
  end if;
  return null;
end $$;
create trigger run_step_protocol after insert on run_step for each row execute function rinsebell_run_step_protocol();

-- Nothing is left out: every step of the revision stands in the run before its first event.
create function rinsebell_run_steps_whole() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  if public.rinsebell_by_owner() then return new; end if;
  if (select count(*) from public.run_step s where s.salon_id = new.salon_id and s.run_id = new.run_id)
      is distinct from (select jsonb_array_length(v.document -> 'steps') from public.run r join public.protocol_revision v using (salon_id, protocol, revision)
        where r.salon_id = new.salon_id and r.run_id = new.run_id and v.document is not null)::bigint
      and exists (select 1 from public.run r join public.protocol_revision v using (salon_id, protocol, revision)
        where r.salon_id = new.salon_id and r.run_id = new.run_id and v.document is not null) then
    raise exception 'steps:left-out' using errcode = 'RB006';
  end if;
  return new;
end $$;
create trigger run_event_steps before insert on run_event for each row when (new.kind = 'run_started')
  execute function rinsebell_run_steps_whole();
