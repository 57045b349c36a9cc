//! A run begun by the app's own hand with its first opening step alone, round the domain: what the database says of it.

use rinsebell::store::Scoped;

use super::{Salon, Stage};

/// A transaction in which a run of the stage's plan has the one step `apply-1`; `needs` and `most` are SQL over the step's
/// own `needs`. Refused in the database's words.
pub async fn bare_run(
    salon: &Salon,
    stage: &Stage,
    needs: &str,
    most: &str,
) -> Result<(Scoped, i64), String> {
    let mut s = salon.app.begin(salon.id).await.expect("a transaction");
    let run: i64 = sqlx::query_scalar(
        "insert into run (salon_id, client_id, plan_id, protocol, revision, reference_fingerprint, chair, started_by)
         select salon_id, client_id, plan_id, protocol, revision, '-', 'Chair 1', made_by from plan where salon_id = $1 and plan_id = $2
         returning run_id",
    )
    .bind(salon.id.0)
    .bind(stage.plan.0)
    .fetch_one(&mut *s.tx)
    .await
    .map_err(words)?;
    let sql = format!(
        "insert into run_step (salon_id, run_id, step_no, code, chemical, chemistry, application, product_id, needs, exposure_most_min)
         select $1, $2, t.no, t.s ->> 'code', t.s ->> 'chemical', 'thio', t.s ->> 'application', $3, {needs}, {most}
         from run r join protocol_revision v using (salon_id, protocol, revision) cross join lateral rinsebell_steps_of(v.document) t
         cross join lateral (select array(select jsonb_array_elements_text(t.s -> 'needs')) as needs) n
         where r.salon_id = $1 and r.run_id = $2 and t.s ->> 'code' = 'apply-1'"
    );
    sqlx::query(sqlx::AssertSqlSafe(sql))
        .bind(salon.id.0)
        .bind(run)
        .bind(stage.straightener.0)
        .execute(&mut *s.tx)
        .await
        .map_err(words)?;
    Ok((s, run))
}

/// The database's own words.
pub fn words(e: sqlx::Error) -> String {
    e.as_database_error().map_or_else(|| e.to_string(), |d| d.message().to_owned())
}
