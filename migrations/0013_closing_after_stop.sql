-- A product sheet may forbid closing the hair after a stop: water, medical help, and a stylist signs. The domain says
-- so in words; here the same is held for the permission. Without contact a closing step is still kept as a fact.
create or replace function rinsebell_closing_refused(r run, s run_step) returns text
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
  -- A stop in force, and a sheet that forbids it: of what was begun, or of what would close the hair.
  if exists (select 1 from public.run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind = 'stop_recorded'
        and e.seq > coalesce((select max(c.seq) from public.run_event c where c.salon_id = r.salon_id and c.run_id = r.run_id
          and c.kind = 'stop_closed'), 0))
      and exists (select 1 from public.run_step st join public.product p using (salon_id, product_id)
        where st.salon_id = r.salon_id and st.run_id = r.run_id and p.sheet_forbids_closing_after_stop
        and (st.chemical = 'closing' or exists (select 1 from public.run_event e where e.salon_id = r.salon_id
          and e.run_id = r.run_id and e.kind in ('step_started', 'section_started') and e.step = st.code))) then
    return 'closing:forbidden-by-sheet';
  end if;
  return null;
end $$;
