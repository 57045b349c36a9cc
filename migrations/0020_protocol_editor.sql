-- A salon's own copy of a shipped protocol: kept as a draft, published as a revision, with who and why.
--
-- Shipped revisions keep their small numbers, a salon's own count from 1001: a later shipped revision is never
-- newer than a salon's copy, so that it is shown and never taken by itself.

alter table protocol_revision
  add column origin text not null default 'shipped',
  add column why text,
  -- The shipped revision this one was compared with last; later ones are news.
  add column based_on integer,
  -- Offered for no new plan from this revision on; runs and plans of before keep theirs.
  add column retired boolean not null default false,
  add constraint protocol_revision_based_on foreign key (salon_id, protocol, based_on) references protocol_revision,
  add constraint protocol_revision_origin_known check (origin in ('shipped', 'salon')),
  add constraint protocol_revision_own_numbers check ((origin = 'salon') = (revision > 1000)),
  add constraint protocol_revision_based_on_shipped check (based_on between 1 and 1000),
  -- Whoever changes what is done to a head is named, with the reason.
  add constraint protocol_revision_who_and_why check (case origin
    when 'salon' then published_by is not null and based_on is not null and why is not null and char_length(btrim(why)) between 3 and 500
    else why is null and based_on is null and not retired end);

create function rinsebell_protocol_revision_by() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  if new.origin = 'shipped' or public.rinsebell_by_owner() then return new; end if;
  new.published_at := public.rinsebell_now();
  if not exists (select 1 from public.person p where p.salon_id = new.salon_id and p.person_id = new.published_by
      and p.role = 'manager' and p.left_at is null and p.disabled_at is null) then
    raise exception 'protocol:not-a-manager' using errcode = 'RB008';
  end if;
  return new;
end $$;
create trigger protocol_revision_by before insert on protocol_revision for each row execute function rinsebell_protocol_revision_by();

-- What a manager is changing; it may be wrong, a revision may not.
create table protocol_draft (
  salon_id bigint not null references salon,
  protocol text not null,
  based_on integer not null,
  body text not null,
  -- Counts up with every save: who saves over an older one is told.
  version integer not null default 1,
  saved_at timestamptz not null default rinsebell_now(),
  saved_by bigint not null,
  primary key (salon_id, protocol),
  foreign key (salon_id, protocol, based_on) references protocol_revision,
  foreign key (salon_id, saved_by) references person,
  constraint protocol_draft_based_on_shipped check (based_on between 1 and 1000),
  constraint protocol_draft_body_bound check (octet_length(body) <= 200000),
  constraint protocol_draft_version_counts check (version between 1 and 1000000)
);
call rinsebell_fence('protocol_draft');
grant select, insert, delete on protocol_draft to rinsebell_app;
grant update (based_on, body, version, saved_at, saved_by) on protocol_draft to rinsebell_app;
