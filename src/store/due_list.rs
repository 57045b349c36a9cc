//! Regrowth as a list: who is due, in the order of calling, with everything that decides where they stand.

use time::{Date, OffsetDateTime};

use super::dues::Due;
use super::{Scoped, Stored};

/// A row of Regrowth as read; the words are the screen's.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct DueRow {
    #[sqlx(flatten)]
    pub due: Due,
    pub name: String,
    pub no_contact: bool,
    pub usual_name: Option<String>,
    /// Who sees to this client.
    pub assigned_name: Option<String>,
    /// Measurements that the rate was learned from.
    pub measured: i64,
    pub outcome: Option<String>,
    pub said_at: Option<OffsetDateTime>,
    pub said_by: Option<String>,
    /// How the booking stands that the last word told of: booked, cancelled, kept, missed.
    pub said_state: Option<String>,
    pub next_step: Option<String>,
    pub next_on: Option<Date>,
    pub note: Option<String>,
    pub booking_id: Option<i64>,
    pub booked_at: Option<OffsetDateTime>,
    pub patch_visit_at: Option<OffsetDateTime>,
    pub consult_at: Option<OffsetDateTime>,
    pub plan_verdict: Option<String>,
    pub wait_until: Option<Date>,
    /// The day of the next free chair for this service, as the question gave it.
    pub free_on: Date,
    /// Place in the order: `domain::due::Urgency::key`, worked out again so that pages can be turned by it.
    pub rank: i16,
    pub key: f64,
}

/// Who is asked for.
#[derive(Clone, Debug, Default)]
pub struct Filter<'a> {
    /// By code, see `domain::due::Stage`; none: any.
    pub stage: Option<&'a str>,
    /// Latest weeks from this day on: what is before it is not even read.
    pub latest_from: Option<Date>,
    /// With a service booked ahead, without, or either.
    pub booked: Option<bool>,
    /// Something was said since the last service and within a week, or with a next step still to come: whoever is
    /// waited for is among these. None: either.
    pub said: Option<bool>,
    /// The client's usual stylist.
    pub usual: Option<i64>,
    /// Assigned to this person; 0: to nobody.
    pub assigned: Option<i64>,
    pub protocol: Option<&'a str>,
    pub curl: Option<&'a str>,
    /// A word of the name begins with this (case aside), or the phone number holds it; empty: any.
    pub text: &'a str,
}

/// The day a list is read for.
#[derive(Clone, Copy, Debug)]
pub struct Day<'a> {
    pub zone: &'a str,
    pub now: OffsetDateTime,
    pub today: Date,
    /// Early edges up to here.
    pub until: Date,
    /// Latest weeks before this day are long past.
    pub lapsed: Date,
}

/// Most rows read at once.
pub const CHUNK: usize = 100;

/// What a `like` takes as itself.
fn literal(text: &str) -> String {
    text.to_lowercase().chars().fold(String::new(), |mut out, c| {
        if matches!(c, '\\' | '%' | '_') {
            out.push('\\');
        }
        out.push(c);
        out
    })
}

/// Who is due, in the order of calling, after the key of the row before; one row more than [`CHUNK`] when there is
/// another. `free` names the day of the next free chair for each service; a service it does not name has none before
/// `day.until`.
pub async fn list(
    s: &mut Scoped,
    day: Day<'_>,
    free: &[(String, Date)],
    filter: &Filter<'_>,
    after: Option<(i16, f64, i64)>,
) -> Stored<Vec<DueRow>> {
    let (protocols, days): (Vec<String>, Vec<Date>) = free.iter().cloned().unzip();
    let (rank, key, id) = after.unwrap_or((-1, 0.0, 0));
    Ok(sqlx::query_as(
        "with ahead as materialized (select b.client_id from booking b where b.salon_id = $1 and b.state = 'booked' and b.purpose = 'service'
            and b.starts_at > $3::timestamptz - interval '16 hours' and b.span && tstzrange($3, null))
         select d.*, c.name, c.no_contact, u.name as usual_name, ap.name as assigned_name,
            (select count(*) from strand_event e where e.salon_id = $1 and e.client_id = d.client_id and e.did = 'measure') as measured,
            f.outcome, f.at as said_at, fp.name as said_by,
            (select w.state from booking w where w.salon_id = $1 and w.booking_id = f.booking_id) as said_state, f.next_step, f.next_on, f.note,
            b.booking_id, lower(b.span) as booked_at,
            (select lower(v.span) from booking v where v.salon_id = $1 and v.client_id = d.client_id
               and v.patch_for = b.booking_id and v.state = 'booked' limit 1) as patch_visit_at,
            (select max(k.taken_at) from consult k where k.salon_id = $1 and k.client_id = d.client_id) as consult_at,
            pl.verdict as plan_verdict,
            (select max((x ->> 'until')::date) from jsonb_array_elements(pl.findings) x where x ->> 'verdict' = 'wait') as wait_until
         from (
           select d.client_id, d.protocol, d.last_on, d.target_mm, d.rate_mm, d.rate_sd, d.early_on, d.middle_on, d.late_on,
              d.least_on, d.latest_on, d.run_id, o.free_on, o.rank, o.key
           from due d
           left join unnest($7::text[], $8::date[]) free (protocol, on_day) on free.protocol = d.protocol
           cross join lateral (select coalesce(free.on_day, $5) as free_on) g
           cross join lateral (select g.free_on, case when d.latest_on < $4 then 0::int2 else 1::int2 end as rank,
              case when d.latest_on < $4 then (d.latest_on - $4)::float8
                when g.free_on < d.least_on or g.free_on <= d.last_on then 1e9
                else greatest(-1e9, least(1e9, -((d.rate_mm::float8 - d.target_mm::float8 / (g.free_on - d.last_on)) / d.rate_sd::float8))) end as key) o
           where d.salon_id = $1 and d.early_on <= $5
             and ($9::date is null or d.latest_on >= $9)
             and ($10::text is null or $10 = case when d.latest_on < $6 then 'lapsed' when d.latest_on < $4 then 'overdue'
               when d.late_on <= $4 then 'late' when d.middle_on <= $4 then 'middle' when d.early_on <= $4 then 'early' else 'not-yet' end)
             and ($11::bool is null or $11 = (d.client_id in (select client_id from ahead)))
             and ($12::bool is null or $12 = exists (select 1 from followup w where w.salon_id = $1 and w.client_id = d.client_id
               and w.at >= (d.last_on::timestamp at time zone $2) and (w.at > $3 - interval '7 days' or w.next_on > $4)))
             and ($15::text is null or d.protocol = $15)
             and ($14::bigint is null or $14 = coalesce((select a.person_id from due_assignment a
               where a.salon_id = $1 and a.client_id = d.client_id), 0))
             -- One client looked up for each row: an exists would be made into a walk through all clients.
             and (($13::bigint is null and $16::text is null and $17 = '') or coalesce((select true from client c
               where c.salon_id = $1 and c.client_id = d.client_id and ($13 is null or c.usual_person_id = $13)
                 and ($16 is null or c.curl_group = $16)
                 and ($17 = '' or rinsebell_named(c.name, $17) or c.phone like '%' || $17 || '%')), false))
             -- Who sits in the chair now is not rung.
             and not exists (select 1 from run o where o.salon_id = $1 and o.client_id = d.client_id and o.ended_at is null)
             and (o.rank, o.key, d.client_id) > ($18, $19, $20)
           order by o.rank, o.key, d.client_id limit 101
         ) d
         -- Row by row: a hundred look-ups, never a walk through all clients.
         cross join lateral (select c.name, c.no_contact, c.usual_person_id from client c where c.salon_id = $1 and c.client_id = d.client_id offset 0) c
         left join person u on u.salon_id = $1 and u.person_id = c.usual_person_id
         left join due_assignment a on a.salon_id = $1 and a.client_id = d.client_id
         left join person ap on ap.salon_id = $1 and ap.person_id = a.person_id
         left join lateral (select * from followup f where f.salon_id = $1 and f.client_id = d.client_id
            and f.at >= (d.last_on::timestamp at time zone $2) order by f.at desc limit 1) f on true
         left join person fp on fp.salon_id = $1 and fp.person_id = f.by
         left join lateral (select * from booking b where b.salon_id = $1 and b.client_id = d.client_id
            and b.purpose = 'service' and b.state = 'booked' and upper(b.span) > $3 order by lower(b.span) limit 1) b on true
         left join lateral (select * from plan p where p.salon_id = $1 and p.client_id = d.client_id
            -- A test visit plans nothing and is no service: what was planned before it stands.
            and jsonb_array_length(p.applications) > 0
            and p.made_at > coalesce((select max(r.started_at) from run r join plan g using (salon_id, plan_id)
              where r.salon_id = $1 and r.client_id = d.client_id and jsonb_array_length(g.applications) > 0), '-infinity')
            order by p.made_at desc limit 1) pl on true
         order by d.rank, d.key, d.client_id",
    )
    .bind(s.salon.0)
    .bind(day.zone)
    .bind(day.now)
    .bind(day.today)
    .bind(day.until)
    .bind(day.lapsed)
    .bind(protocols)
    .bind(days)
    .bind(filter.latest_from)
    .bind(filter.stage)
    .bind(filter.booked)
    .bind(filter.said)
    .bind(filter.usual)
    .bind(filter.assigned)
    .bind(filter.protocol)
    .bind(filter.curl)
    .bind(literal(filter.text))
    .bind(rank)
    .bind(key)
    .bind(id)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// How many stand at each stage without a booking, and how many have one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, sqlx::FromRow)]
pub struct Counts {
    pub early: i64,
    pub middle: i64,
    pub late: i64,
    pub overdue: i64,
    pub lapsed: i64,
    pub promised: i64,
}

/// Counts the whole due list, filters aside.
pub async fn count(s: &mut Scoped, day: Day<'_>) -> Stored<Counts> {
    Ok(sqlx::query_as(
        "with ahead as materialized (select b.client_id from booking b where b.salon_id = $1 and b.state = 'booked' and b.purpose = 'service'
            and b.starts_at > $2::timestamptz - interval '16 hours' and b.span && tstzrange($2, null))
         select count(*) filter (where stage = 'early' and not booked) as early, count(*) filter (where stage = 'middle' and not booked) as middle,
            count(*) filter (where stage = 'late' and not booked) as late, count(*) filter (where stage = 'overdue' and not booked) as overdue,
            count(*) filter (where stage = 'lapsed' and not booked) as lapsed, count(*) filter (where booked) as promised
         from (select d.client_id in (select client_id from ahead) as booked,
             case when d.latest_on < $5 then 'lapsed' when d.latest_on < $3 then 'overdue' when d.late_on <= $3 then 'late'
               when d.middle_on <= $3 then 'middle' when d.early_on <= $3 then 'early' else 'not-yet' end as stage
           from due d where d.salon_id = $1 and d.early_on <= $4
             and not exists (select 1 from run o where o.salon_id = $1 and o.client_id = d.client_id and o.ended_at is null)) x",
    )
    .bind(s.salon.0)
    .bind(day.now)
    .bind(day.today)
    .bind(day.until)
    .bind(day.lapsed)
    .fetch_one(&mut *s.tx)
    .await?)
}

#[cfg(test)]
mod tests {
    use super::literal;

    #[test]
    fn signs_of_like_are_taken_as_themselves() {
        assert_eq!(literal("Ann_50%\\"), "ann\\_50\\%\\\\");
    }
}
