-- How people read and write: lengths, and names.

-- In what lengths are said on the screens: millimetres, or inches of 25.4 mm (the agreement of 1959, ISO 31-1), the
-- salon's or those of the person signed in. What is kept is millimetres, whatever is said.

alter table salon add column length_unit text not null default 'mm';
alter table salon add constraint salon_length_unit_known check (length_unit in ('mm', 'in'));
grant update (length_unit) on salon to rinsebell_app;

alter table person add column length_unit text;
alter table person add constraint person_length_unit_known check (length_unit in ('mm', 'in'));
grant update (length_unit) on person to rinsebell_app;

-- Names are found by any of their words, in any order, without regard to case and accents: a name is one field, and
-- nobody is told which of its words comes first. A word is what stands between blanks and signs, in its plain letters
-- (Unicode's compatibility decomposition without the marks; a few letters that have none by hand).
create function rinsebell_name_words(name text) returns text[]
language plpgsql immutable as $$
declare
  -- Signs between words, and those inside one, which are left out.
  between constant text := E'.,;:!?()[]{}<>/\\_-+*#"&%$@=~^|\t\n\r';
  inside constant text := $signs$'`$signs$;
  folded text := lower(name);
begin
  if folded ~ '[^ -~]' then
    folded := regexp_replace(normalize(folded, NFKD), '[\u0300-\u036f’‘ʼ]', '', 'g');
    folded := regexp_replace(lower(translate(folded, 'øđłıðþæœßØĐŁ', 'odlidtaosodl')), '[\u00a0\u00b7\u2010-\u2015\s]', ' ', 'g');
  end if;
  return array(select distinct left(w, 60) from unnest(string_to_array(
    translate(folded, between || inside, repeat(' ', length(between))), ' ')) w where w <> '');
end $$;

-- Every word asked for, and there is one, begins a word of the name.
create function rinsebell_named(name text, asked text) returns boolean
language plpgsql immutable as $$
declare
  words constant text[] := public.rinsebell_name_words(name);
  wanted constant text[] := public.rinsebell_name_words(asked);
begin
  return wanted <> '{}' and not exists (select from unnest(wanted) a where not exists (select from unnest(words) n where starts_with(n, a)));
end $$;

-- Behind a fence only plain columns are looked up by an index, so the words of those who can be found lie beside them.
create table client_name_word (
  salon_id bigint not null,
  client_id bigint not null,
  word text collate "C" not null,
  primary key (salon_id, client_id, word),
  foreign key (salon_id, client_id) references client
);
create index client_name_word_by_word on client_name_word (salon_id, word, client_id);
call rinsebell_fence('client_name_word');
grant select on client_name_word to rinsebell_app;

create function rinsebell_name_words_come() returns trigger
language plpgsql volatile security definer set search_path = pg_catalog, public as $$
begin
  insert into public.client_name_word (salon_id, client_id, word)
    select c.salon_id, c.client_id, w from come c cross join lateral unnest(public.rinsebell_name_words(c.name)) w
    where c.erased_at is null and c.merged_into is null;
  return null;
end $$;
create trigger name_words_come after insert on client referencing new table as come
  for each statement execute function rinsebell_name_words_come();
create function rinsebell_name_words_follow() returns trigger
language plpgsql volatile security definer set search_path = pg_catalog, public as $$
begin
  delete from public.client_name_word w where w.salon_id = new.salon_id and w.client_id = new.client_id;
  if new.erased_at is null and new.merged_into is null then
    insert into public.client_name_word (salon_id, client_id, word)
      select new.salon_id, new.client_id, w from unnest(public.rinsebell_name_words(new.name)) w;
  end if;
  return null;
end $$;
create trigger name_words_follow after update of name, erased_at, merged_into on client
  for each row execute function rinsebell_name_words_follow();
revoke all on function rinsebell_name_words_come() from public;
revoke all on function rinsebell_name_words_follow() from public;
insert into client_name_word (salon_id, client_id, word)
  select c.salon_id, c.client_id, w from client c cross join lateral unnest(rinsebell_name_words(c.name)) w
  where c.erased_at is null and c.merged_into is null;

-- As before (0033), and "Vane, Ferris" of a file is Ferris Vane here: both are looked up by the name's index.
create or replace function rinsebell_same_clients(salon bigint, lines integer[], names text[], born date[], phones text[], emails text[], most integer)
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
        where c.salon_id = salon and lower(c.name) in (lower(k.name), lower(regexp_replace(k.name, '^\s*([^,]+),\s*([^,]+?)\s*$', '\2 \1'))) and c.erased_at is null and coalesce(c.merged_into, 0) = 0
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
