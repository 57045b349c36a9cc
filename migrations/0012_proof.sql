-- The sign-off book is read by day, newest first.
create index run_by_start on run (salon_id, started_at desc, run_id desc);
