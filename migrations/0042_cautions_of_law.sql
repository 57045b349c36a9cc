-- A salon's own copy keeps every caution of law word by word. The document of a revision says them, step by step
-- ("law"); documents written before have none, and a revision that is published from now on has.

-- What the newest shipped revision says by law and this document does not: at the step of that code, else anywhere where
-- the salon has no such step. The domain says the same (`protocol/lawful.rs`).
create function rinsebell_law_lost(doc jsonb, shipped jsonb) returns setof text
language sql immutable set search_path = pg_catalog
as $$ select (st ->> 'code') || ': ' || words
  from jsonb_array_elements(shipped -> 'steps') st
  cross join lateral jsonb_array_elements_text(case jsonb_typeof(st -> 'law') when 'array' then st -> 'law' else '[]' end) words
  where not exists (select 1 from jsonb_array_elements(doc -> 'steps') own
    where jsonb_typeof(own -> 'law') = 'array' and own -> 'law' ? words
      and (own ->> 'code' = st ->> 'code'
        or not exists (select 1 from jsonb_array_elements(doc -> 'steps') x where x ->> 'code' = st ->> 'code'))) $$;

create function rinsebell_protocol_revision_law() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  lost text;
begin
  select string_agg(l, '; ' order by l) into lost
    from (select p.document from public.shipped_protocol p where p.protocol = new.protocol order by p.revision desc limit 1) newest
    cross join lateral public.rinsebell_law_lost(new.document, newest.document) l;
  if lost is not null then raise exception 'protocol:law-lost %', lost using errcode = 'RB008'; end if;
  return null;
end $$;
create trigger protocol_revision_law after insert on protocol_revision for each row
  when (new.origin = 'salon') execute function rinsebell_protocol_revision_law();
