-- The demo salon's service under way began before it was loaded. The owner (who loads it, and who could switch any
-- trigger off) may say when an event of a demo salon was recorded, for the past only. The guard has judged the event
-- at the clock's own instant before this; the hash is made anew over what is kept. Sorts after run_event_guard.

create function rinsebell_run_event_guard_demo() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  asked timestamptz := nullif(current_setting('rinsebell.demo_at', true), '')::timestamptz;
begin
  if asked is null or asked >= new.recorded_at or not public.rinsebell_by_owner()
      or not exists (select 1 from public.salon x where x.salon_id = new.salon_id and x.demo) then
    return new;
  end if;
  new.recorded_at := asked;
  new.happened_at := least(new.happened_at, asked);
  new.hash := sha256(convert_to(public.rinsebell_event_words(new), 'UTF8'));
  return new;
end $$;
create trigger run_event_guard_demo before insert on run_event for each row execute function rinsebell_run_event_guard_demo();
