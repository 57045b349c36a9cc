//! A client ready for a curl retouch: consult, consent, tests read, products with their sheets, lots, a clear plan.
//! Arranged by the owner's hand; the tests of each screen show that the screens can do the same.

use rinsebell::domain::ids::{ClientId, LotId, PlanId, ProductId};

use super::Salon;

/// What a run needs.
#[derive(Clone, Copy, Debug)]
pub struct Stage {
    pub client: ClientId,
    pub plan: PlanId,
    pub straightener: ProductId,
    pub lotion: ProductId,
    pub neutraliser: ProductId,
    pub straightener_lot: LotId,
    pub lotion_lot: LotId,
}

impl Salon {
    async fn one(&self, sql: &'static str, binds: &[i64]) -> i64 {
        let mut query = sqlx::query_scalar(sqlx::AssertSqlSafe(sql));
        for b in binds {
            query = query.bind(*b);
        }
        query.fetch_one(&self.owner).await.unwrap_or_else(|e| panic!("{sql}: {e}"))
    }

    async fn product(&self, name: &str, family: &str, use_as: &str) -> ProductId {
        let id: i64 = sqlx::query_scalar(
            "insert into product (salon_id, name, family, use_as, form, strength) values ($1,$2,$3,$4,'cream','regular') returning product_id",
        )
        .bind(self.id.0)
        .bind(name)
        .bind(family)
        .bind(use_as)
        .fetch_one(&self.owner)
        .await
        .expect("a product");
        ProductId(id)
    }

    async fn lot(&self, product: ProductId) -> LotId {
        LotId(
            self.one(
                "insert into lot (salon_id, product_id, code, received_on, best_before, opened_life_days, received_grams)
                 values ($1, $2, '7K-' || $2, current_date - 20, current_date + 300, 180, 900) returning lot_id",
                &[self.id.0, product.0],
            )
            .await,
        )
    }

    /// Sets the stage: everything holds, nothing has begun.
    pub async fn stage(&self) -> Stage {
        let mut s = self.app.begin(self.id).await.expect("begin");
        rinsebell::flow::protocols::publish_shipped(&mut s).await.expect("published");
        s.commit().await.expect("committed");
        let n = self.one("select count(*) + 1 from client where salon_id = $1", &[self.id.0]).await;
        let straightener = self.product(&format!("Straightening cream {n}"), "thio", "straightener").await;
        let lotion = self.product(&format!("Curl lotion {n}"), "thio", "lotion").await;
        let neutraliser =
            self.product(&format!("Neutraliser {n}"), "peroxide-neutraliser", "neutraliser").await;
        for (product, target, most) in [(straightener, 35, 42), (lotion, 45, 65)] {
            self.one(
                "insert into product_time (salon_id, product_id, clock, target_min, most_min, counts_from, entered_by)
                 values ($1,$2,'exposure',$3,$4,'first-touch',$5) returning product_id",
                &[self.id.0, product.0, target, most, self.staff.stylist.0],
            )
            .await;
        }
        let client = ClientId(
            self.one("insert into client (salon_id, name, born_on, curl_index) values ($1, 'Nerys Amblin', '1994-03-02', 1.5) returning client_id", &[self.id.0])
                .await,
        );
        for product in [straightener, lotion] {
            let lot = self.lot(product).await;
            self.one(
                "insert into skin_test (salon_id, client_id, product_id, lot_id, formula, place, placed_at, placed_by, taken_off_at, taken_off_by, read_at, read_by, outcome)
                 values ($1,$2,$3,$4,1,'behind-left-ear', rinsebell_now() - interval '60 hours', $5, rinsebell_now() - interval '12 hours', $5,
                   rinsebell_now() - interval '1 hour', $5, 'no-reaction') returning skin_test_id",
                &[self.id.0, client.0, product.0, lot.0, self.staff.stylist.0],
            )
            .await;
        }
        let lots: Vec<i64> = sqlx::query_scalar(
            "select lot_id from lot where salon_id = $1 and product_id in ($2, $3) order by product_id",
        )
        .bind(self.id.0)
        .bind(straightener.0)
        .bind(lotion.0)
        .fetch_all(&self.owner)
        .await
        .expect("lots");
        self.lot(neutraliser).await;
        self.told_and_signed(client).await;
        let plan = self.clear_plan(client, [straightener, lotion, neutraliser]).await;
        Stage {
            client,
            plan,
            straightener,
            lotion,
            neutraliser,
            straightener_lot: LotId(lots[0]),
            lotion_lot: LotId(lots[1]),
        }
    }

    async fn told_and_signed(&self, client: ClientId) {
        self.one(
            "insert into consult (salon_id, client_id, taken_at, taken_by, black_henna_reaction, black_henna, scalp, scratched_within_3_days,
               pregnant, medication, scalp_treatment, home_colour, silver_in_history)
             values ($1,$2, rinsebell_now() - interval '30 minutes', $3, false, false, 'intact', false, false, false, false, 'never', false) returning consult_id",
            &[self.id.0, client.0, self.staff.stylist.0],
        )
        .await;
        self.one(
            "insert into consent (salon_id, client_id, words, signed_name, signer, witnessed_by, signed_at)
             values ($1,$2,'The words shown.','Nerys Amblin','client',$3, rinsebell_now() - interval '20 minutes') returning consent_id",
            &[self.id.0, client.0, self.staff.stylist.0],
        )
        .await;
        self.one(
            "insert into strand (salon_id, client_id, length_mm, on_day) values ($1,$2,180, current_date - 100) returning client_id",
            &[self.id.0, client.0],
        )
        .await;
        self.one(
            "insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, known)
             values ($1,$2,1,current_date - 100,'apply','thio','root-to-end','recorded') returning client_id",
            &[self.id.0, client.0],
        )
        .await;
    }

    /// A plan of the curl retouch with no findings.
    pub async fn clear_plan(&self, client: ClientId, products: [ProductId; 3]) -> PlanId {
        let plan = self
            .one(
                "insert into plan (salon_id, client_id, protocol, revision, made_by, as_of, strand_seq, verdict, findings, applications)
                 values ($1,$2,'curl-retouch',(select max(revision) from protocol_revision where salon_id = $1 and protocol = 'curl-retouch'),$3,current_date,
                   (select coalesce(max(seq),0) from strand_event where salon_id = $1 and client_id = $2),
                   'clear','[]','[{\"letter\":\"A\"}]') returning plan_id",
                &[self.id.0, client.0, self.staff.stylist.0],
            )
            .await;
        for (letter, product) in ["A", "B", "C"].iter().zip(products) {
            sqlx::query(
                "insert into plan_product (salon_id, plan_id, application, product_id) values ($1,$2,$3,$4)",
            )
            .bind(self.id.0)
            .bind(plan)
            .bind(letter)
            .bind(product.0)
            .execute(&self.owner)
            .await
            .expect("a product of the plan");
        }
        PlanId(plan)
    }
}
