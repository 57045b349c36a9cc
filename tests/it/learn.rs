//! The salon's own prior: what `rinsebell learn` says is what the due list starts from.

use rinsebell::cli::learn;
use rinsebell::domain::growth::{Lesson, Rate};
use rinsebell::domain::ids::ClientId;

use crate::support::Salon;

/// Int J Dermatol 2005;44 Suppl 1:6-9, tight curl.
const PUBLISHED: Rate = Rate { mean: 0.280, sd: 0.050 };

/// Clients of one curl with four intervals of 90 days each: client n grows 0.30 to 0.40 mm a day, spread evenly.
async fn measured_clients(salon: &Salon, curl: &str, clients: i64) {
    sqlx::query(
        "with c as (insert into client (salon_id, name, phone, curl_group)
            select $1, 'Client ' || n, '', $2 from generate_series(1, $3) n returning client_id)
         insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, known, mm, sd_mm)
         select $1, client_id, 2 * i + k, date '2023-01-02' + i * 90, d.did,
            case d.did when 'apply' then 'thio' end, case d.did when 'apply' then 'root-to-end' end,
            case d.did when 'apply' then 'told' end,
            case d.did when 'measure' then 90 * (0.30 + 0.001 * ((client_id * 37 + i * 3) % 100)) end,
            case d.did when 'measure' then 2 end
         from c, generate_series(0, 4) i, (values (0, 'measure'), (1, 'apply')) d(k, did)
         where not (i = 0 and d.did = 'measure')",
    )
    .bind(salon.id.0)
    .bind(curl)
    .bind(clients)
    .execute(&salon.owner)
    .await
    .expect("clients who were measured");
}

async fn lesson(salon: &Salon, curl: &str) -> Lesson {
    let salons = learn::read(&salon.database.owner, Some(salon.id)).await.expect("read");
    let group = salons[0].groups.iter().find(|g| g.curl == curl);
    group.expect("a curl with a published row").lesson.clone()
}

/// The rate of a client nobody has measured: the prior itself.
async fn unmeasured_rate(salon: &Salon, name: &str) -> (f64, f64) {
    let client: ClientId = salon.due_client(name, "2026-02-26").await;
    let due = salon.refresh_due(client).await.expect("due");
    (f64::from(due.rate_mm), f64::from(due.rate_sd))
}

#[tokio::test]
async fn from_thirty_clients_of_a_curl_on_their_own_prior_is_used_and_learn_says_the_same() {
    let salon = Salon::open().await;
    measured_clients(&salon, "tight", 29).await;
    measured_clients(&salon, "loose", 40).await;
    let few = lesson(&salon, "tight").await;
    assert!(!few.used() && few.clients == 29 && few.intervals == 116, "{few:?}");
    let (mean, sd) = unmeasured_rate(&salon, "Amabel Thorne").await;
    assert!(
        (mean - PUBLISHED.mean).abs() < 1e-6 && (sd - PUBLISHED.sd).abs() < 1e-6,
        "other curls teach nothing"
    );

    measured_clients(&salon, "tight", 11).await;
    let enough = lesson(&salon, "tight").await;
    assert!(enough.used() && enough.clients == 40, "{enough:?}");
    let (mean, sd) = unmeasured_rate(&salon, "Coralie Beck").await;
    assert!((mean - enough.prior().mean).abs() < 1e-6 && (sd - enough.prior().sd).abs() < 1e-6);
    assert!((mean - 0.35).abs() < 0.02, "{mean}");
    let straight = lesson(&salon, "straight").await;
    assert_eq!((straight.clients, straight.learned.is_none()), (0, true));
}

#[tokio::test]
async fn five_thousand_measured_clients_do_not_slow_the_due_list() {
    let salon = Salon::open().await;
    measured_clients(&salon, "tight", 4000).await;
    measured_clients(&salon, "loose", 1000).await;
    sqlx::query("analyze client, strand_event").execute(&salon.owner).await.expect("analyzed");
    let client = salon.due_client("Amabel Thorne", "2026-02-26").await;
    let mut best = std::time::Duration::MAX;
    for _ in 0..3 {
        let began = std::time::Instant::now();
        salon.refresh_due(client).await.expect("due");
        best = best.min(began.elapsed());
    }
    println!("a due estimate among 5,000 measured clients: {best:?}");
    // Unoptimised and on a busy machine; the newest thousand teach, however many there are.
    assert!(best < std::time::Duration::from_secs(2), "{best:?}");
    assert_eq!(lesson(&salon, "tight").await.clients, rinsebell::store::dues::MOST_TEACHERS);
}
