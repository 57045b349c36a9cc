//! A desk to book from: hours, chairs, basins, clients who are due, at a fixed day.

use rinsebell::domain::ids::{ClientId, PersonId};
use rinsebell::flow::dues;
use time::OffsetDateTime;

use super::Salon;

impl Salon {
    /// Sets the database's clock.
    pub async fn set_clock(&self, at: OffsetDateTime) {
        sqlx::query("update practice_clock set ahead = $1 - clock_timestamp()")
            .bind(at)
            .execute(&self.owner)
            .await
            .expect("the clock is set");
    }

    /// Everybody who treats hair works Monday to Saturday, 09:00 to 18:00; `chairs` chairs, `basins` basins.
    pub async fn open_desk(&self, chairs: i16, basins: i16) {
        for (kind, count) in [("chair", chairs), ("basin", basins), ("hood", 1)] {
            sqlx::query("insert into place_kind (salon_id, kind, count) values ($1,$2,$3)")
                .bind(self.id.0)
                .bind(kind)
                .bind(count)
                .execute(&self.owner)
                .await
                .expect("a kind of place");
        }
        for person in [self.staff.stylist, self.staff.other_stylist, self.staff.assistant] {
            self.works(person, 1..=6, "09:00", "18:00").await;
        }
    }

    /// Regular hours of somebody, weekdays by ISO number.
    pub async fn works(
        &self,
        person: PersonId,
        weekdays: std::ops::RangeInclusive<i16>,
        from: &str,
        to: &str,
    ) {
        for weekday in weekdays {
            sqlx::query("insert into hours (salon_id, person_id, weekday, opens, closes) values ($1,$2,$3,$4::text::time,$5::text::time)")
                .bind(self.id.0)
                .bind(person.0)
                .bind(weekday)
                .bind(from)
                .bind(to)
                .execute(&self.owner)
                .await
                .expect("hours");
        }
    }

    /// A client by name, with tight curls and the first stylist as usual.
    pub async fn client(&self, name: &str) -> ClientId {
        let id: i64 = sqlx::query_scalar(
            "insert into client (salon_id, name, phone, curl_group, usual_person_id) values ($1,$2,'+44 1632 960001','tight',$3) returning client_id",
        )
        .bind(self.id.0)
        .bind(name)
        .bind(self.staff.stylist.0)
        .fetch_one(&self.owner)
        .await
        .expect("a client");
        ClientId(id)
    }

    /// Writes one line of a strand's story.
    pub async fn strand_event(&self, client: ClientId, on: &str, did: &str, mm: Option<f64>) {
        let apply = did == "apply";
        sqlx::query(
            "insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, known, mm, sd_mm)
             values ($1,$2,(select coalesce(max(seq),0)+1 from strand_event where salon_id=$1 and client_id=$2),$3::text::date,$4,$5,$6,$7,$8,$9)",
        )
        .bind(self.id.0)
        .bind(client.0)
        .bind(on)
        .bind(did)
        .bind(apply.then_some("thio"))
        .bind(apply.then_some("root-to-end"))
        .bind(apply.then_some("told"))
        .bind(mm)
        .bind(mm.map(|_| 2.0))
        .execute(&self.owner)
        .await
        .expect("an event of the strand");
    }

    /// Works the due estimate out as finishing a run or measuring does.
    pub async fn refresh_due(&self, client: ClientId) -> Option<rinsebell::store::dues::Due> {
        let mut s = self.app.begin(self.id).await.expect("begin");
        let due = dues::refresh_due(&mut s, &self.app, client).await.expect("worked out");
        s.commit().await.expect("committed");
        due
    }

    /// A client whose last service was on this day, with the due estimate.
    pub async fn due_client(&self, name: &str, last_on: &str) -> ClientId {
        let client = self.client(name).await;
        self.strand_event(client, last_on, "apply", None).await;
        self.refresh_due(client).await.expect("due again");
        client
    }
}
