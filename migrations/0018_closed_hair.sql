-- Hair that is being closed is not opened again, not even after a stop was ended: the domain's rule
-- (`run/starts.rs`), held here too. What the guard asked before still stands.
alter function rinsebell_start_refused(run, run_step, bigint, timestamptz) rename to rinsebell_start_refused_open;

create function rinsebell_start_refused(r run, s run_step, starter bigint, at timestamptz) returns text
language plpgsql stable set search_path = pg_catalog, public as $$
begin
  if exists (select 1 from public.run_event e join public.run_step x on x.salon_id = e.salon_id and x.run_id = e.run_id and x.code = e.step
      where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind in ('step_started', 'closing_started')
        and x.chemical = 'closing' and x.step_no > s.step_no) then
    return 'step:closing-begun';
  end if;
  return public.rinsebell_start_refused_open(r, s, starter, at);
end $$;
