-- Clients in and out: files taken in, records merged, copied out and erased; and the book that says so.
--
-- Erasing and the chain. What is said of health lies in `answer`, apart from the chain, which holds its salted
-- digest: emptying it breaks nothing. Three kinds of event carry words of people in their own data (why a stop was
-- ended, why a client left, why a fact was taken back). The digest of such a line is its commitment: the line's
-- `hash` stays as it was, so every line after it, the ledger and every printed head still fit. The words go, and
-- `erased_line` keeps the digest of what is left, so that what is left cannot be changed unseen either. From here on
-- such a line carries 16 random bytes which go with the words: without them nobody can try words against the digest.
-- `erased_line` itself is bound into `record_act`, which is chained like the ledger.

-- The book of what was done with whole records, in one chain a salon. Counts and numbers only, never a word of a person.
create table record_act (
  salon_id bigint not null references salon,
  act_seq bigint not null,
  at timestamptz not null default rinsebell_now(),
  by bigint not null,
  kind text not null,
  client_id bigint,
  other_id bigint,
  facts jsonb not null default '{}',
  prev_hash bytea not null default '',
  hash bytea not null default '',
  primary key (salon_id, act_seq),
  foreign key (salon_id, by) references person,
  foreign key (salon_id, client_id) references client,
  foreign key (salon_id, other_id) references client,
  constraint record_act_kind_known check (kind in ('import', 'export', 'copy', 'merge', 'erasure')),
  constraint record_act_of_whom check ((kind in ('copy', 'merge', 'erasure')) = (client_id is not null)
    and (kind = 'merge') = (other_id is not null)),
  constraint record_act_facts_bound check (jsonb_typeof(facts) = 'object' and octet_length(facts::text) <= 2000)
);
create index record_act_by_client on record_act (salon_id, client_id);
create index record_act_by_other on record_act (salon_id, other_id);
call rinsebell_fence('record_act');
grant select, insert on record_act to rinsebell_app;

create function rinsebell_act_words(a record_act) returns text
language sql stable set search_path = pg_catalog
as $$ select concat_ws(E'\x1f', a.salon_id, a.act_seq, to_char(a.at at time zone 'utc', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"'), a.by, a.kind,
  coalesce(a.client_id::text, '~'), coalesce(a.other_id::text, '~'), a.facts::text, encode(a.prev_hash, 'hex')) $$;

create function rinsebell_record_act_guard() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  last public.record_act;
begin
  if new.kind in ('merge', 'erasure') and not public.rinsebell_by_owner() then
    raise exception 'a merge or an erasure is written by what does it' using errcode = 'RB006';
  end if;
  if current_setting('transaction_isolation') <> 'read committed' then
    raise exception 'the book is written at read committed only' using errcode = 'RB002';
  end if;
  perform pg_advisory_xact_lock(hashtextextended('record acts ' || new.salon_id, 0));
  select * into last from public.record_act a where a.salon_id = new.salon_id order by a.act_seq desc limit 1;
  new.act_seq := coalesce(last.act_seq, 0) + 1;
  new.at := public.rinsebell_now();
  new.prev_hash := coalesce(last.hash, ''::bytea);
  new.hash := sha256(convert_to(public.rinsebell_act_words(new), 'UTF8'));
  return new;
end $$;
create trigger record_act_guard before insert on record_act for each row execute function rinsebell_record_act_guard();

-- A record that is no longer one: merged into another, or erased. Written by the two functions below alone.
alter table client
  add column merged_into bigint,
  add column merged_at timestamptz,
  add column erased_at timestamptz,
  add foreign key (salon_id, merged_into) references client,
  add constraint client_merged_whole check ((merged_into is null) = (merged_at is null) and merged_into <> client_id);
create index client_merged_into on client (salon_id, merged_into);

-- What the record of another brought along, and when: known here from then on, not before.
alter table consult add column joined_at timestamptz;
alter table consent add column joined_at timestamptz;
alter table hair_reading add column joined_at timestamptz;
alter table skin_test add column joined_at timestamptz;
alter table hair_test add column joined_at timestamptz;

create or replace function rinsebell_plan_stale(p plan, run bigint, at timestamptz) returns boolean
language sql stable set search_path = pg_catalog
as $$ select exists (select 1 from public.strand_event e where e.salon_id = p.salon_id and e.client_id = p.client_id
      and e.seq > p.strand_seq and e.run_id is distinct from run and e.recorded_at <= at)
  or exists (select 1 from public.consult c where c.salon_id = p.salon_id and c.client_id = p.client_id
      and coalesce(c.joined_at, c.taken_at) > p.made_at and coalesce(c.joined_at, c.taken_at) <= at)
  or exists (select 1 from public.hair_reading h where h.salon_id = p.salon_id and h.client_id = p.client_id
      and coalesce(h.joined_at, h.taken_at) > p.made_at and coalesce(h.joined_at, h.taken_at) <= at)
  or exists (select 1 from public.skin_test t where t.salon_id = p.salon_id and t.client_id = p.client_id
      and t.joined_at > p.made_at and t.joined_at <= at)
  or exists (select 1 from public.hair_test m where m.salon_id = p.salon_id and m.client_id = p.client_id
      and m.joined_at > p.made_at and m.joined_at <= at)
  or exists (select 1 from public.hair_test m where m.salon_id = p.salon_id and m.client_id = p.client_id
      and m.kind = 'metallic-salt' and not m.passed and m.done_at > p.made_at and m.done_at <= at) $$;

-- Nothing more is written about a record that is none.
create function rinsebell_client_stands() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  gone public.client;
begin
  if public.rinsebell_by_owner() then return new; end if;
  select * into gone from public.client c where c.salon_id = new.salon_id and c.client_id = new.client_id;
  if gone.erased_at is not null then raise exception 'client:erased' using errcode = 'RB016'; end if;
  if gone.merged_into is not null then raise exception 'client:merged' using errcode = 'RB016'; end if;
  return new;
end $$;
create trigger client_stands before insert on answer for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on consult for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on consent for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on hair_reading for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on strand for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on strand_event for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on skin_test for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on hair_test for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on plan for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on run for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on booking for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on due for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on followup for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on contact_wish for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on client_link for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on home_answer for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on call_claim for each row execute function rinsebell_client_stands();
create trigger client_stands before insert or update on due_assignment for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on waiting for each row execute function rinsebell_client_stands();
create trigger client_stands before insert on message for each row execute function rinsebell_client_stands();

-- A name that was erased is not written back, and nobody is un-merged by a form left open.
create function rinsebell_client_gone() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  if not public.rinsebell_by_owner() and (old.erased_at is not null or old.merged_into is not null) then
    raise exception 'client:gone' using errcode = 'RB016';
  end if;
  return new;
end $$;
create trigger client_gone before update on client for each row execute function rinsebell_client_gone();

-- Words of people in a line of the record get company that nobody can guess (the commitment's salt).
create function rinsebell_event_salt() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  if new.kind in ('stop_closed', 'run_left', 'fact_withdrawn') then
    new.data := new.data || jsonb_build_object('salt', replace(gen_random_uuid()::text, '-', ''));
  end if;
  return new;
end $$;
-- Sorts before run_event_guard, which makes the hash.
create trigger run_event_a_salt before insert on run_event for each row execute function rinsebell_event_salt();

-- A line whose words were erased: the digest of what is left of it.
create table erased_line (
  salon_id bigint not null,
  run_id bigint not null,
  seq integer not null,
  act_seq bigint not null,
  left_hash bytea not null,
  primary key (salon_id, run_id, seq),
  foreign key (salon_id, run_id, seq) references run_event,
  foreign key (salon_id, act_seq) references record_act,
  constraint erased_line_hash_length check (octet_length(left_hash) = 32)
);
create index erased_line_by_act on erased_line (salon_id, act_seq, run_id, seq);
call rinsebell_fence('erased_line');
grant select on erased_line to rinsebell_app;

-- What binds the erased lines of one act into its chain: their numbers, what they were, what they are.
create function rinsebell_erased_digest(salon bigint, act bigint) returns text
language sql stable set search_path = pg_catalog
as $$ select encode(sha256(convert_to(coalesce(string_agg(concat_ws(':', l.run_id, l.seq, encode(e.hash, 'hex'), encode(l.left_hash, 'hex')), ','
    order by l.run_id, l.seq), ''), 'UTF8')), 'hex')
  from public.erased_line l join public.run_event e using (salon_id, run_id, seq) where l.salon_id = salon and l.act_seq = act $$;

-- Files of clients being taken in: kept between the steps, emptied when taken in, gone after a day.
create table client_import (
  salon_id bigint not null references salon,
  import_id bigint generated by default as identity,
  made_at timestamptz not null default rinsebell_now(),
  made_by bigint not null,
  file_name text not null,
  body bytea,
  columns jsonb,
  act_seq bigint,
  primary key (salon_id, import_id),
  foreign key (salon_id, made_by) references person,
  foreign key (salon_id, act_seq) references record_act,
  constraint client_import_name_length check (char_length(file_name) <= 120),
  constraint client_import_body_bound check (octet_length(body) between 1 and 20971520),
  constraint client_import_columns_bound check (jsonb_typeof(columns) = 'object' and octet_length(columns::text) <= 8000),
  constraint client_import_emptied check ((body is null) = (act_seq is not null))
);
create index client_import_by_age on client_import (salon_id, made_at);
create index client_import_by_act on client_import (salon_id, act_seq);
call rinsebell_fence('client_import');
grant select, insert, delete on client_import to rinsebell_app;
grant update (body, columns, act_seq) on client_import to rinsebell_app;

-- Telephone numbers as compared: the last nine digits, so that +44 1632 960001 and 01632 960001 are one.
create function rinsebell_phone_key(phone text) returns text
language sql immutable set search_path = pg_catalog
as $$ select case when length(regexp_replace(phone, '[^0-9]', '', 'g')) >= 7 then right(regexp_replace(phone, '[^0-9]', '', 'g'), 9) end $$;
create index client_by_phone on client (salon_id, rinsebell_phone_key(phone), client_id);
create index client_by_email on client (salon_id, lower(btrim(email)), client_id);

-- Clients that lines of a file seem to be: by 1 name and birth day, 2 email, 3 phone, 4 name; of each sign the first few
-- entered. The owner's, because behind a fence an index on an expression finds nothing: lower() may not look first.
-- "+ 0" and "coalesce": before statistics are made other indexes look as good and read every client for each line.
create function rinsebell_same_clients(salon bigint, lines integer[], names text[], born date[], phones text[], emails text[], most integer)
returns table (line integer, client_id bigint, name text, by integer)
language plpgsql stable security definer set search_path = pg_catalog, public set enable_seqscan = off as $$
#variable_conflict use_column
begin
  if salon is distinct from nullif(current_setting('rinsebell.salon', true), '')::bigint then
    raise exception 'salon:other' using errcode = 'RB016';
  end if;
  return query
    select k.line, m.client_id, m.name, m.by
    from unnest(lines, names, born, phones, emails) as k(line, name, born_on, phone, email)
    cross join lateral (
      (select c.client_id, c.name, case when c.born_on = k.born_on then 1 else 4 end as by from public.client c
        where c.salon_id = salon and lower(c.name) = lower(k.name) and c.erased_at is null and coalesce(c.merged_into, 0) = 0
          and coalesce(c.born_on = k.born_on, true) order by c.client_id + 0 limit most)
      union all
      (select c.client_id, c.name, 2 from public.client c
        where c.salon_id = salon and k.email <> '' and lower(btrim(c.email)) = lower(btrim(k.email)) and c.erased_at is null and coalesce(c.merged_into, 0) = 0
        order by c.client_id + 0 limit most)
      union all
      (select c.client_id, c.name, 3 from public.client c
        where c.salon_id = salon and public.rinsebell_phone_key(c.phone) = public.rinsebell_phone_key(k.phone)
          and c.erased_at is null and coalesce(c.merged_into, 0) = 0
        order by c.client_id + 0 limit most)) m;
end $$;
revoke all on function rinsebell_same_clients(bigint, integer[], text[], date[], text[], text[], integer) from public;
grant execute on function rinsebell_same_clients(bigint, integer[], text[], date[], text[], text[], integer) to rinsebell_app;

grant usage on all sequences in schema public to rinsebell_app;
revoke all on function rinsebell_record_act_guard() from public;
revoke all on function rinsebell_client_stands() from public;
revoke all on function rinsebell_client_gone() from public;
revoke all on function rinsebell_event_salt() from public;

-- Merging two records of one person, and erasing a person: what only the owner may do, for a manager of the salon.

-- A message or link that ended changes once more only here: it goes with its client, or its words go.
create function rinsebell_keeping() returns boolean
language sql stable set search_path = pg_catalog, public
as $$ select public.rinsebell_by_owner() and coalesce(current_setting('rinsebell.keeping', true), '') = 'on' $$;

drop trigger message_guard on message;
create trigger message_guard before insert or update on message for each row
  when (not rinsebell_keeping()) execute function rinsebell_message_guard();
drop trigger client_link_guard on client_link;
create trigger client_link_guard before update on client_link for each row
  when (not rinsebell_keeping()) execute function rinsebell_client_link_guard();

-- The salon this transaction is of, and a manager of it who is here; else nothing is done.
create function rinsebell_asked_by_manager(salon bigint, who bigint) returns void
language plpgsql stable set search_path = pg_catalog, public as $$
begin
  if salon is distinct from nullif(current_setting('rinsebell.salon', true), '')::bigint then
    raise exception 'salon:other' using errcode = 'RB016';
  end if;
  if not exists (select from public.person p where p.salon_id = salon and p.person_id = who and p.role = 'manager'
      and p.left_at is null and p.disabled_at is null) then
    raise exception 'person:role' using errcode = 'RB016';
  end if;
end $$;

-- Brings `gone` into `kept`, with what stands from now on. The record that goes has no visit: runs, and what was
-- judged by them, are never moved. Everything it told and everything tried on it comes along, marked with when.
create function rinsebell_merge_client(salon bigint, kept bigint, gone bigint, who bigint, kept_version integer, gone_version integer,
  new_name text, new_born date, new_phone text, new_email text) returns bigint
language plpgsql volatile security definer set search_path = pg_catalog, public as $$
declare
  k public.client;
  g public.client;
  t timestamptz := public.rinsebell_now();
  told integer; tried integer; felt integer; booked integer; lines integer;
  act bigint;
begin
  perform public.rinsebell_asked_by_manager(salon, who);
  if kept = gone then raise exception 'client:same' using errcode = 'RB016'; end if;
  perform public.rinsebell_lock_client(salon, least(kept, gone));
  perform public.rinsebell_lock_client(salon, greatest(kept, gone));
  select * into k from public.client c where c.salon_id = salon and c.client_id = kept for update;
  select * into g from public.client c where c.salon_id = salon and c.client_id = gone for update;
  if k.client_id is null or g.client_id is null then raise exception 'client:unknown' using errcode = 'RB016'; end if;
  if k.erased_at is not null or g.erased_at is not null or k.merged_into is not null or g.merged_into is not null then
    raise exception 'client:gone' using errcode = 'RB016';
  end if;
  if k.version <> kept_version or g.version <> gone_version then raise exception 'client:changed' using errcode = 'RB016'; end if;
  if exists (select from public.run r where r.salon_id = salon and r.client_id = gone) then
    raise exception 'client:has-visits' using errcode = 'RB016';
  end if;
  if exists (select from public.run r where r.salon_id = salon and r.client_id = kept and r.ended_at is null) then
    raise exception 'client:under-way' using errcode = 'RB016';
  end if;
  -- A story is told in the order it was recorded: two cannot be laid over one another afterwards.
  if exists (select from public.strand x where x.salon_id = salon and x.client_id = kept union all
        select from public.strand_event x where x.salon_id = salon and x.client_id = kept)
      and exists (select from public.strand x where x.salon_id = salon and x.client_id = gone union all
        select from public.strand_event x where x.salon_id = salon and x.client_id = gone) then
    raise exception 'client:two-stories' using errcode = 'RB016';
  end if;
  perform set_config('rinsebell.keeping', 'on', true);
  update public.answer set client_id = kept where salon_id = salon and client_id = gone;
  update public.consult set client_id = kept, joined_at = t where salon_id = salon and client_id = gone;
  get diagnostics told = row_count;
  update public.consent set client_id = kept, joined_at = t where salon_id = salon and client_id = gone;
  update public.hair_reading set client_id = kept, joined_at = t where salon_id = salon and client_id = gone;
  get diagnostics felt = row_count;
  update public.skin_test set client_id = kept, joined_at = t where salon_id = salon and client_id = gone;
  get diagnostics tried = row_count;
  update public.hair_test set client_id = kept, joined_at = t where salon_id = salon and client_id = gone;
  get diagnostics lines = row_count;
  tried := tried + lines;
  update public.incident_account set client_id = kept where salon_id = salon and client_id = gone;
  update public.incident set client_id = kept where salon_id = salon and client_id = gone;
  update public.booking set client_id = kept where salon_id = salon and client_id = gone;
  get diagnostics booked = row_count;
  update public.followup set client_id = kept where salon_id = salon and client_id = gone;
  update public.contact_wish set client_id = kept where salon_id = salon and client_id = gone;
  update public.message set client_id = kept where salon_id = salon and client_id = gone;
  update public.client_link set client_id = kept where salon_id = salon and client_id = gone;
  update public.home_answer set client_id = kept where salon_id = salon and client_id = gone;
  -- Waiting twice for one service is waiting once, that of the record which stays.
  update public.waiting w set ended_at = t, ended_how = 'taken-off', ended_by = who where w.salon_id = salon and w.client_id = gone and w.ended_at is null
    and exists (select from public.waiting o where o.salon_id = salon and o.client_id = kept and o.protocol = w.protocol and o.ended_at is null);
  update public.waiting set client_id = kept where salon_id = salon and client_id = gone;
  delete from public.due_assignment where salon_id = salon and client_id = gone;
  delete from public.call_claim where salon_id = salon and client_id = gone;
  -- The hair's story moves whole, known here from now on.
  update public.strand set client_id = kept where salon_id = salon and client_id = gone;
  update public.strand_event set client_id = kept, recorded_at = t where salon_id = salon and client_id = gone;
  get diagnostics lines = row_count;
  delete from public.due where salon_id = salon and client_id = gone;
  update public.client set name = new_name, born_on = new_born, phone = new_phone, email = new_email, version = version + 1,
      no_contact = k.no_contact or g.no_contact, curl_group = coalesce(k.curl_group, g.curl_group),
      curl_index = coalesce(k.curl_index, g.curl_index), curl_index_sd = case when k.curl_index is null then g.curl_index_sd else k.curl_index_sd end,
      usual_person_id = coalesce(k.usual_person_id, g.usual_person_id)
    where salon_id = salon and client_id = kept;
  update public.client set merged_into = kept, merged_at = t, version = version + 1 where salon_id = salon and client_id = gone;
  insert into public.record_act (salon_id, act_seq, by, kind, client_id, other_id, facts)
    values (salon, 0, who, 'merge', kept, gone, jsonb_build_object('consults', told, 'tests', tried, 'readings', felt,
      'bookings', booked, 'strand_lines', lines)) returning act_seq into act;
  perform set_config('rinsebell.keeping', '', true);
  return act;
end $$;
revoke all on function rinsebell_merge_client(bigint, bigint, bigint, bigint, integer, integer, text, date, text, text) from public;
grant execute on function rinsebell_merge_client(bigint, bigint, bigint, bigint, integer, integer, text, date, text, text) to rinsebell_app;

-- Takes a person out of a record: name, ways to reach, words, signatures, photos. What happened to a head stays
-- under a number: what was put on, when, for how long, from which lot, and the coded answers a start was judged by.
create function rinsebell_erase_client(salon bigint, asked bigint, who bigint, asked_version integer, why text) returns bigint
language plpgsql volatile security definer set search_path = pg_catalog, public as $$
declare
  c public.client;
  ids bigint[];
  t timestamptz := public.rinsebell_now();
  cancelled integer; dropped integer; words integer; photos integer; n integer;
  act bigint;
begin
  perform public.rinsebell_asked_by_manager(salon, who);
  if why not in ('client-asked', 'no-longer-needed', 'entered-by-mistake') then raise exception 'erasure:why' using errcode = 'RB016'; end if;
  perform public.rinsebell_lock_client(salon, asked);
  select * into c from public.client x where x.salon_id = salon and x.client_id = asked for update;
  if c.client_id is null then raise exception 'client:unknown' using errcode = 'RB016'; end if;
  if c.erased_at is not null or c.merged_into is not null then raise exception 'client:gone' using errcode = 'RB016'; end if;
  if c.version <> asked_version then raise exception 'client:changed' using errcode = 'RB016'; end if;
  if exists (select from public.run r where r.salon_id = salon and r.client_id = asked and r.ended_at is null) then
    raise exception 'client:under-way' using errcode = 'RB016';
  end if;
  -- With every record that was merged into it.
  with recursive family(id) as (select asked union select x.client_id from public.client x join family f on x.salon_id = salon and x.merged_into = f.id)
    select array_agg(id order by id) into ids from family;
  perform set_config('rinsebell.keeping', 'on', true);
  update public.booking set state = 'cancelled', version = version + 1
    where salon_id = salon and client_id = any (ids) and state = 'booked' and upper(span) > t;
  get diagnostics cancelled = row_count;
  update public.booking set reason = null where salon_id = salon and client_id = any (ids) and reason is not null;
  update public.message set state = 'stopped', ended_at = t, leased_until = null where salon_id = salon and client_id = any (ids) and state = 'waiting';
  get diagnostics dropped = row_count;
  update public.message set address = 'erased', subject = '', body = '', said = '' where salon_id = salon and client_id = any (ids);
  update public.client_link set revoked_at = t where salon_id = salon and client_id = any (ids) and used_at is null and revoked_at is null;
  delete from public.home_answer where salon_id = salon and client_id = any (ids);
  update public.waiting set note = '', ended_at = coalesce(ended_at, t), ended_how = coalesce(ended_how, 'taken-off'), ended_by = coalesce(ended_by, who)
    where salon_id = salon and client_id = any (ids);
  delete from public.due_assignment where salon_id = salon and client_id = any (ids);
  delete from public.call_claim where salon_id = salon and client_id = any (ids);
  update public.followup set note = '' where salon_id = salon and client_id = any (ids) and note <> '';
  -- The salt goes with the words: no digest kept elsewhere can be tried against guesses.
  update public.answer set body = '', salt = '\x00000000000000000000000000000000' where salon_id = salon and client_id = any (ids);
  get diagnostics words = row_count;
  update public.consult set read_by_guardian = 'erased' where salon_id = salon and client_id = any (ids) and read_by_guardian is not null;
  update public.consent set words = 'erased', signed_name = 'erased', drawing = null where salon_id = salon and client_id = any (ids);
  update public.hair_photo p set jpeg = null, taken_back_at = t, taken_back_noted_by = who from public.hair_test h
    where p.salon_id = salon and h.salon_id = salon and h.hair_test_id = p.hair_test_id and h.client_id = any (ids) and p.jpeg is not null;
  get diagnostics photos = row_count;
  update public.incident_account set sites = '' where salon_id = salon and client_id = any (ids) and sites <> '';
  update public.plan set offer = null, offer_answer = null where salon_id = salon and client_id = any (ids);
  update public.stock_note s set reason = '' from public.run r
    where s.salon_id = salon and r.salon_id = salon and r.run_id = s.run_id and r.client_id = any (ids);
  delete from public.due where salon_id = salon and client_id = any (ids);
  -- Files waiting to be taken in may name anybody.
  delete from public.client_import where salon_id = salon and body is not null;
  update public.client set name = 'No name, number ' || client_id, born_on = null, phone = '', email = '', curl_group = null, curl_index = null,
      curl_index_sd = null, usual_person_id = null, no_contact = true, erased_at = t, version = version + 1
    where salon_id = salon and client_id = any (ids);
  insert into public.record_act (salon_id, act_seq, by, kind, client_id, facts) values (salon, 0, who, 'erasure', asked, '{}') returning act_seq into act;
  with lines as (
    update public.run_event e set data = (e.data - 'salt') || '{"reason": ""}' from public.run r
      where e.salon_id = salon and r.salon_id = salon and r.run_id = e.run_id and r.client_id = any (ids)
        and e.kind in ('stop_closed', 'run_left', 'fact_withdrawn')
      returning e.run_id, e.seq, sha256(convert_to(public.rinsebell_event_words(e), 'UTF8')) as left_hash)
    insert into public.erased_line (salon_id, run_id, seq, act_seq, left_hash) select salon, l.run_id, l.seq, act, l.left_hash from lines l;
  get diagnostics n = row_count;
  -- The act's own line is written last, over all it did; nothing can have followed it: its lock is held.
  update public.record_act a set facts = jsonb_build_object('why', why, 'records', cardinality(ids), 'bookings_cancelled', cancelled,
      'messages_dropped', dropped, 'answers', words, 'photos', photos, 'lines', n, 'lines_digest', public.rinsebell_erased_digest(salon, act))
    where a.salon_id = salon and a.act_seq = act;
  update public.record_act a set hash = sha256(convert_to(public.rinsebell_act_words(a), 'UTF8')) where a.salon_id = salon and a.act_seq = act;
  perform set_config('rinsebell.keeping', '', true);
  return act;
end $$;
revoke all on function rinsebell_erase_client(bigint, bigint, bigint, integer, text) from public;
grant execute on function rinsebell_erase_client(bigint, bigint, bigint, integer, text) to rinsebell_app;
