-- The days on which the salon is closed.

create table closed_day (
  salon_id bigint not null,
  on_day date not null,
  why text not null,
  noted_by bigint not null,
  noted_at timestamptz not null default rinsebell_now(),
  primary key (salon_id, on_day),
  foreign key (salon_id, noted_by) references person,
  constraint closed_day_why_length check (char_length(why) between 1 and 120)
);
call rinsebell_fence('closed_day');
grant select, insert, delete on closed_day to rinsebell_app;
