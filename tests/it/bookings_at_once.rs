//! Many bookings at once: hands and places are never exceeded, whoever is quicker.

use rinsebell::store::StoreError;
use rinsebell::store::bookings::{self, NewBooking};
use time::Duration;
use time::macros::datetime;

use crate::bookings::{deepest, desk_in_may, form_of, live_hands, live_places, search, send};

/// A generator of our own, so that a failing run is a seed (xorshift, from memory).
struct Dice(u64);

impl Dice {
    fn below(&mut self, most: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % most
    }
}

/// Straight into the database, without the calendar's lock: what is refused is refused by the tables themselves.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn random_bookings_at_once_never_exceed_hands_or_places() {
    let salon = desk_in_may(2, 1).await;
    let client = salon.client("Juno Ashby").await;
    let team = [salon.staff.stylist, salon.staff.other_stylist, salon.staff.assistant];
    let mut tasks = Vec::new();
    for seed in 1..=6_u64 {
        let (app, id, by) = (salon.app.clone(), salon.id, salon.staff.reception);
        tasks.push(tokio::spawn(async move {
            let mut dice = Dice(0x9E37_79B9_7F4A_7C15 ^ (seed << 20));
            let (mut done, mut refused) = (0, 0);
            for _ in 0..25 {
                let from = datetime!(2026-05-20 21:00 UTC) + Duration::minutes(15 * dice.below(24) as i64);
                let to = from + Duration::minutes(15 * (1 + dice.below(6) as i64));
                let person = team[dice.below(3) as usize];
                let kind = ["chair", "basin"][dice.below(2) as usize];
                let mut s = app.begin(id).await.expect("begin");
                let new = NewBooking {
                    client,
                    purpose: "service",
                    protocol: Some("curl-retouch"),
                    from,
                    to,
                    patch_for: None,
                    made_by: by,
                    hands: &[(person, from, to)],
                    places: &[(kind.to_string(), from, to)],
                };
                match bookings::insert(&mut s, &new).await {
                    Ok(_) => {
                        s.commit().await.expect("committed");
                        done += 1;
                    }
                    Err(StoreError::Refused { code, .. }) if code == "23P01" || code == "RB007" => {
                        refused += 1
                    }
                    // Two that wait for each other: one of them is ended, and nothing of it stays.
                    Err(StoreError::Away(_)) => refused += 1,
                    Err(other) => panic!("{other}"),
                }
            }
            (done, refused)
        }));
    }
    let (mut done, mut refused) = (0, 0);
    for task in tasks {
        let (d, r) = task.await.unwrap();
        done += d;
        refused += r;
    }
    assert!(done >= 6 && refused >= 20, "{done} booked, {refused} refused: the test must be able to fail");
    for person in team {
        assert!(deepest(&live_hands(&salon, person).await) <= 1);
    }
    assert!(deepest(&live_places(&salon, "chair").await) <= 2);
    assert!(deepest(&live_places(&salon, "basin").await) <= 1);
}

/// Through the screens: six clients wanted at one time from three browsers, each taking what it is shown.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn several_desks_at_once_fill_the_day_without_meeting() {
    let salon = desk_in_may(3, 1).await;
    let mut tasks = Vec::new();
    for (n, person) in
        [salon.staff.reception, salon.staff.stylist, salon.staff.manager].into_iter().enumerate()
    {
        let mut desk = salon.seat(&format!("Desk {n}"), "desk", person).await;
        let mut clients = Vec::new();
        for m in 0..3 {
            clients.push(salon.due_client(&format!("Client {n}{m}"), "2026-02-20").await);
        }
        tasks.push(tokio::spawn(async move {
            let mut booked = 0;
            for client in clients {
                let mut page = desk.get(&search(client)).await;
                for _ in 0..8 {
                    let done = send(&mut desk, &form_of(&page, 0)).await;
                    match done.status {
                        303 => {
                            booked += 1;
                            break;
                        }
                        409 => page = done,
                        other => panic!("{other}: {}", done.body),
                    }
                }
            }
            booked
        }));
    }
    let mut booked = 0;
    for task in tasks {
        booked += task.await.unwrap();
    }
    assert_eq!(booked, 9, "a week has room for nine");
    for person in [salon.staff.stylist, salon.staff.other_stylist, salon.staff.assistant] {
        assert!(deepest(&live_hands(&salon, person).await) <= 1);
    }
    assert!(
        deepest(&live_places(&salon, "basin").await) <= 1
            && deepest(&live_places(&salon, "chair").await) <= 3
    );
}
