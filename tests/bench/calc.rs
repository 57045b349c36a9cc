//! Benches of every area of `rinsebell calc`, document to answer, at sizes that grow tenfold.
//!
//! `cargo bench --bench calc` prints a line a size; `tests/bench/growth.py` turns criterion's figures into growth factors.

mod documents;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use documents as made;
use std::hint::black_box;
use std::time::Duration;

fn area(c: &mut Criterion, name: &str, area: &str, sizes: &[usize], document: &dyn Fn(usize) -> String) {
    let mut group = c.benchmark_group(name);
    for &size in sizes {
        let input = document(size);
        if let Err(bad) = rinsebell::calc::run(area, input.as_bytes()) {
            panic!("{name} {size}: {bad}");
        }
        group.throughput(Throughput::Elements(size as u64));
        group.bench_with_input(BenchmarkId::from_parameter(size), &input, |b, input| {
            b.iter(|| rinsebell::calc::run(area, black_box(input.as_bytes())));
        });
    }
    group.finish();
}

const TENFOLD: &[usize] = &[1, 10, 100, 1_000, 10_000];
const TO_A_THOUSAND: &[usize] = &[1, 10, 100, 1_000];

fn areas(c: &mut Criterion) {
    area(c, "regrowth/observations", "regrowth", TENFOLD, &made::regrowth_observations);
    area(c, "regrowth/documents", "regrowth", TENFOLD, &made::regrowth_documents);
    area(c, "strand/events", "strand", TO_A_THOUSAND, &made::strand_events);
    area(c, "strand/pieces", "strand", TO_A_THOUSAND, &made::strand_pieces);
    area(c, "strand/applications", "strand", &[1, 10, 100], &made::strand_applications);
    area(c, "limits/contents", "limits", TENFOLD, &made::limits_contents);
    area(c, "rods/documents", "rods", TENFOLD, &made::rods_documents);
    area(c, "exposure/events", "exposure", TENFOLD, &made::exposure_events);
    area(c, "exposure/quadrants", "exposure", TO_A_THOUSAND, &made::exposure_quadrants);
    area(c, "amounts/documents", "amounts", TENFOLD, &made::amounts_documents);
    area(c, "openings/days", "openings", &[3, 30, 300], &|days| made::openings(days, 40, 6, 5.0));
    area(c, "openings/staff", "openings", &[4, 40, 400], &|staff| made::openings(30, staff, 6, 5.0));
    area(c, "openings/segments", "openings", &[6, 60], &|segments| made::openings(30, 40, segments, 5.0));
}

/// A second a size: the growth is what is looked for.
fn quick() -> Criterion {
    Criterion::default()
        .sample_size(10)
        .warm_up_time(Duration::from_millis(300))
        .measurement_time(Duration::from_secs(1))
        .without_plots()
}

criterion_group! { name = benches; config = quick(); targets = areas }
criterion_main!(benches);
