-- A test visit is a run like any other, from a plan that puts nothing on: no application, no product, nothing to check.

alter table plan drop constraint plan_applications_bound;
alter table plan add constraint plan_applications_bound
  check (jsonb_typeof(applications) = 'array' and jsonb_array_length(applications) <= 12);

-- Only a test visit puts nothing on, and it never puts anything on: a service without its products would pass
-- every check of a plan, because there is nothing to check.
create function rinsebell_plan_kind() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
declare
  visit boolean;
begin
  select coalesce(v.document ->> 'kind' = 'test-visit', false) into visit from public.protocol_revision v
    where v.salon_id = new.salon_id and v.protocol = new.protocol and v.revision = new.revision;
  if coalesce(visit, false) <> (jsonb_array_length(new.applications) = 0) then
    raise exception 'plan:applications' using errcode = 'RB001';
  end if;
  return new;
end $$;
create trigger plan_kind before insert on plan for each row execute function rinsebell_plan_kind();

-- Nothing of a test visit's plan is dispensed or put on.
create function rinsebell_plan_product_kind() returns trigger
language plpgsql volatile set search_path = pg_catalog, public as $$
begin
  if exists (select 1 from public.plan p where p.salon_id = new.salon_id and p.plan_id = new.plan_id
      and jsonb_array_length(p.applications) = 0) then
    raise exception 'plan:applications' using errcode = 'RB001';
  end if;
  return new;
end $$;
create trigger plan_product_kind before insert on plan_product for each row execute function rinsebell_plan_product_kind();

-- What a consult was read for, and the answers to that service's own questions, by their codes.

alter table consult add column sought text;
alter table consult add column own_answers jsonb not null default '{}';
alter table consult add constraint consult_sought_known check (sought in ('curl', 'wave', 'relaxer', 'colour', 'lightener'));
alter table consult add constraint consult_own_answers_bound
  check (jsonb_typeof(own_answers) = 'object' and octet_length(own_answers::text) <= 2000);
-- An answer belongs to a question that was asked: none without a kind of service, and with one at least one.
alter table consult add constraint consult_own_answers_asked check ((sought is null) = (own_answers = '{}'::jsonb));
