-- A day on which the salon opens later or closes earlier than on others: open from one minute of the day to another. Neither:
-- closed all day.
alter table closed_day add column open_from_min smallint, add column open_to_min smallint;
alter table closed_day add constraint closed_day_open_part check ((open_from_min is null) = (open_to_min is null)
  and (open_from_min is null or open_from_min >= 0 and open_from_min < open_to_min and open_to_min <= 1440
    and (open_from_min > 0 or open_to_min < 1440)));
