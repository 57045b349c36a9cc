-- Sheet times by hair, held where a run begins; the floor of watching and the sections as strict here as in the domain.

-- A sheet that gives other minutes for fine or for coarse hair: 'any' is the general row, the others refine it.
alter table product_time add column hair text not null default 'any';
alter table product_time drop constraint product_time_pkey;
alter table product_time add primary key (salon_id, product_id, clock, hair);
alter table product_time add constraint product_time_hair_known check (hair in ('any', 'fine', 'medium', 'coarse'));

-- Weaker hair is never given longer than stronger: such a sheet was misread.
create function rinsebell_product_time_order() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  if exists (select 1 from public.product_time w join public.product_time t using (salon_id, product_id, clock)
      where w.salon_id = new.salon_id and w.product_id = new.product_id and w.clock = new.clock
        and (w.most_min > t.most_min or w.target_min > t.target_min)
        and (array_position(array['fine', 'medium', 'coarse'], w.hair) < array_position(array['fine', 'medium', 'coarse'], t.hair)
          or (w.hair = 'fine' and t.hair = 'any'))) then
    raise exception 'product_time_weaker_longer' using errcode = 'RB010';
  end if;
  return null;
end $$;
create trigger product_time_order_by_hair after insert or update on product_time for each row execute function rinsebell_product_time_order();

-- The weakest hair felt on a head, by the latest reading of each place; null where no texture was felt. Porous, lightened
-- or breaking hair counts as fine: it takes as fast (src/domain/sheet.rs says the same).
create function rinsebell_weakest_hair(salon bigint, client bigint) returns text
language sql stable set search_path = pg_catalog
as $$ select case
    when bool_or(r.texture = 'fine' or r.porosity = 'high' or r.lightened or r.breakage) then 'fine'
    else (array['medium', 'coarse'])[min(array_position(array['medium', 'coarse'], r.texture))] end
  from unnest(array['whole', 'hairline', 'temples', 'crown', 'nape']) w(place)
    cross join lateral (select h.texture, h.porosity, h.lightened, h.breakage from public.hair_reading h
      where h.salon_id = $1 and h.client_id = $2 and h.place = w.place order by h.taken_at desc, h.reading_id desc limit 1) r $$;

-- The longest a product's sheet gives hair of a kind; where neither its row nor the general one stands, the shortest of
-- what does. Null where the sheet says nothing of this clock.
create function rinsebell_sheet_most(salon bigint, product bigint, of_clock text, of_hair text) returns real
language sql stable set search_path = pg_catalog
as $$ select coalesce(
    (select t.most_min from public.product_time t where t.salon_id = $1 and t.product_id = $2 and t.clock = $3 and t.hair in ($4, 'any')
      order by t.hair = 'any' limit 1),
    (select min(t.most_min) from public.product_time t where t.salon_id = $1 and t.product_id = $2 and t.clock = $3)) $$;

-- What a run is held to is never longer than the sheet gives this hair. Permission to start, so refused like one.
create function rinsebell_run_step_sheet() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  felt text;
  doc jsonb;
begin
  if public.rinsebell_by_owner() or new.application is null then return null; end if;
  select public.rinsebell_weakest_hair(r.salon_id, r.client_id), v.document -> 'steps' -> (new.step_no - 1) into felt, doc
    from public.run r join public.protocol_revision v using (salon_id, protocol, revision)
    where r.salon_id = new.salon_id and r.run_id = new.run_id;
  if new.exposure_most_min > public.rinsebell_sheet_most(new.salon_id, new.product_id, 'exposure', felt)
      or new.phase_most_min > public.rinsebell_sheet_most(new.salon_id, new.product_id, 'phase', felt) then
    raise exception 'sheet:longer' using errcode = 'RB006';
  end if;
  if (doc #>> '{exposure,source}' = 'sheet' and public.rinsebell_sheet_most(new.salon_id, new.product_id, 'exposure', felt) is null)
      or (doc #>> '{phase,source}' = 'sheet' and public.rinsebell_sheet_most(new.salon_id, new.product_id, 'phase', felt) is null) then
    raise exception 'sheet:missing' using errcode = 'RB006';
  end if;
  return null;
end $$;
create trigger run_step_sheet after insert on run_step for each row execute function rinsebell_run_step_sheet();

-- The rows of shared/tables/floor.toml as they stand now.
create or replace function rinsebell_floor() returns jsonb
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
  {"id": "hydroxide-watched", "of": ["hydroxide"], "asks": "watched", "minutes": 5, "from": 5, "look": "comb-back"},
  {"id": "lightener-watched", "of": ["lightener"], "asks": "watched", "minutes": 5, "from": 5, "look": "lift"},
  {"id": "lotion-watched", "of": ["curl-lotion"], "asks": "watched", "minutes": 3, "from": 10, "look": "test-curl"},
  {"id": "wave-watched", "of": ["alkaline-wave", "acid-wave"], "asks": "watched", "minutes": 5, "from": 10, "look": "test-curl"},
  {"id": "colour-watched", "of": ["colour"], "asks": "watched", "minutes": 15, "from": 15, "look": "colour"},
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

-- A product that is watched: no look of another kind or a rarer one stands before the look that is asked (a run is belled
-- by an application's first look), and the first look is early.
alter function rinsebell_floor_fault(jsonb, jsonb, jsonb) rename to rinsebell_floor_fault_of_row;
create function rinsebell_floor_fault(doc jsonb, a jsonb, r jsonb) returns text
language sql immutable set search_path = pg_catalog
as $$ select case when r ->> 'asks' <> 'watched' then public.rinsebell_floor_fault_of_row(doc, a, r)
  when (select bool_and(coalesce(s #>> '{look,what}' = r ->> 'look' and (s #>> '{look,every}')::numeric between 1 and (r ->> 'minutes')::numeric
        and coalesce((s #>> '{look,from}')::numeric, (s #>> '{look,every}')::numeric) between 1 and (r ->> 'from')::numeric, false))
      from public.rinsebell_steps_of(doc) where s ->> 'application' = a ->> 'letter' and s -> 'look' <> 'null') then null
  else r ->> 'id' end $$;

-- Sections and figures: one parting, known names, each once, and whole minutes that are numbers.
alter function rinsebell_protocol_faults(jsonb) rename to rinsebell_protocol_faults_of_floor;
create function rinsebell_protocol_faults(doc jsonb) returns setof text
language plpgsql immutable set search_path = pg_catalog, public as $$
declare
  quadrants text[] := array['back-right', 'back-left', 'front-left', 'front-right'];
  blocks text[] := array['centre-top', 'centre-crown', 'centre-nape', 'left-top', 'left-crown', 'left-nape', 'right-top', 'right-crown', 'right-nape'];
  worked text[];
begin
  if jsonb_typeof(doc -> 'sections') = 'array' and jsonb_typeof(doc -> 'steps') = 'array' then
    -- Figures first: what is no whole number is not compared with one.
    return query select 'step ' || coalesce(st.s ->> 'code', '?') || ':figure ' || f.key
      from public.rinsebell_steps_of(doc) st cross join lateral (
        select x.key, x.value from jsonb_each(st.s) x where x.key in ('pass', 'window', 'count', 'least', 'typical')
        union all select 'phase.' || x.key, x.value from jsonb_each(case jsonb_typeof(st.s -> 'phase') when 'object' then st.s -> 'phase' else '{}' end) x where x.key <> 'source'
        union all select 'exposure.' || x.key, x.value from jsonb_each(case jsonb_typeof(st.s -> 'exposure') when 'object' then st.s -> 'exposure' else '{}' end) x where x.key <> 'source'
        union all select 'look.' || x.key, x.value from jsonb_each(case jsonb_typeof(st.s -> 'look') when 'object' then st.s -> 'look' else '{}' end) x where x.key <> 'what') f
      where f.value <> 'null' and (jsonb_typeof(f.value) <> 'number' or f.value::text !~ '^[0-9]{1,4}$');
    if found then return; end if;
    worked := array(select jsonb_array_elements_text(doc -> 'sections'));
    return query select 'protocol:' || why from (values
      ('sections-two-partings', worked && quadrants and worked && blocks),
      ('sections-edge-alone', worked = array['hairline']),
      ('sections-unknown', not worked <@ (quadrants || blocks || array['hairline']))) w(why, bad) where bad;
    return query select 'step ' || coalesce(st.s ->> 'code', '?') || ':sections-twice' from public.rinsebell_steps_of(doc) st
      where (select count(*) <> count(distinct x) from public.rinsebell_texts(st.s -> 'sections') x);
  end if;
  return query select public.rinsebell_protocol_faults_of_floor(doc);
end $$;
