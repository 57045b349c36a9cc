-- Promises of the library, kept by the database as well: a revision marked as shipped is the shipped text, and a service
-- is not ended with hair that was opened and not closed. And which way hair was re-formed, where a service here did it.

alter table strand_event add column straightened boolean,
  add constraint strand_event_straightened_of_thio check (straightened is null
    or did = 'apply' and family in ('thio', 'thio-ester', 'sulfite', 'cysteine'));

-- What builds of rinsebell ship: written by the owner at every start, the same for every salon.
create table shipped_protocol (
  protocol text not null,
  revision integer not null,
  title text not null,
  chemistry text not null,
  -- SHA-256 of the text.
  fingerprint bytea not null,
  document jsonb not null,
  primary key (protocol, revision),
  constraint shipped_protocol_revision_small check (revision between 1 and 1000),
  constraint shipped_protocol_fingerprint_length check (octet_length(fingerprint) = 32)
);
grant select on shipped_protocol to rinsebell_app;

-- The app writes rows marked as shipped for a salon; what they say is the owner's word alone. After the floor's guard.
create function rinsebell_protocol_revision_shipped() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  if new.origin = 'shipped' and not public.rinsebell_by_owner() and not exists (select 1 from public.shipped_protocol p
      where p.protocol = new.protocol and p.revision = new.revision and p.title = new.title and p.chemistry = new.chemistry
        and p.fingerprint = sha256(convert_to(new.body, 'UTF8')) and p.fingerprint = new.fingerprint and p.document = new.document) then
    raise exception 'protocol:not-shipped' using errcode = 'RB008';
  end if;
  return null;
end $$;
create trigger protocol_revision_shipped after insert on protocol_revision for each row execute function rinsebell_protocol_revision_shipped();

-- Something that must be closed was put on in this run, and a step that closes it is not done. Never stricter than the
-- domain (`run/asks.rs`), which also weighs when the hair was rinsed.
create function rinsebell_hair_left_open(r run) returns boolean
language sql stable set search_path = pg_catalog
as $$ with doc as (select v.document as d from public.protocol_revision v
    where v.salon_id = r.salon_id and v.protocol = r.protocol and v.revision = r.revision),
  closes as (select x.code from public.run_step x, doc where x.salon_id = r.salon_id and x.run_id = r.run_id
    and (x.chemical = 'closing' or (coalesce(doc.d -> 'steps' -> (x.step_no - 1) -> 'rinses', '[]') = '[]'
      and exists (select 1 from jsonb_array_elements(doc.d -> 'applications') a
        where a ->> 'letter' = x.application and a ->> 'chemical' = 'closing')))),
  begun as (select e.step, e.seq, e.happened_at from public.run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id
    and e.kind in ('step_started', 'closing_started')),
  done as (select e.step, e.seq, e.happened_at from public.run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id
    and e.kind = 'step_finished')
  select exists (select 1 from public.run_event e join public.run_step x on x.salon_id = e.salon_id and x.run_id = e.run_id and x.code = e.step
      where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind = 'section_started' and x.chemical = 'opening'
        and not public.rinsebell_taken_back(e))
    and exists (select 1 from closes c
      left join lateral (select max(b.seq) as seq, max(b.happened_at) as at from begun b where b.step = c.code) last on true
      -- Done when it was said to be, or when another step was begun after it.
      where last.seq is null or not exists (select 1 from done f where f.step = c.code and (f.seq > last.seq or f.happened_at > last.at)
        union all select 1 from begun b where b.step <> c.code and (b.seq > last.seq or b.happened_at > last.at))) $$;

create function rinsebell_run_event_open() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  r public.run;
  stop record;
begin
  select * into r from public.run x where x.salon_id = new.salon_id and x.run_id = new.run_id;
  if not public.rinsebell_hair_left_open(r) then return new; end if;
  select * into stop from public.rinsebell_stop_of(r);
  -- After a stop that left the skin not whole the hair is closed later; where the sheet forbids closing it stays open.
  if stop.stopped_at is not null and (stop.whole is false or (stop.whole is not null
      and exists (select 1 from public.run_step st join public.product p using (salon_id, product_id)
        where st.salon_id = r.salon_id and st.run_id = r.run_id and p.sheet_forbids_closing_after_stop
        and (st.chemical = 'closing' or exists (select 1 from public.run_event e where e.salon_id = r.salon_id
          and e.run_id = r.run_id and e.kind in ('step_started', 'section_started') and e.step = st.code))))) then
    return new;
  end if;
  raise exception 'hair:left-open' using errcode = 'RB001';
end $$;
-- Sorts after run_event_hair: product still on is said first.
create trigger run_event_open before insert on run_event for each row
  when (new.kind = 'run_finished') execute function rinsebell_run_event_open();
