//! The whole job, reading included, on one thread and on two: boxes a second.

#![allow(clippy::expect_used)] // a benchmark without its input has nothing to report

use corymb_benches::Bench;
use divan::Bencher;
use divan::counter::ItemsCount;

/// Any number does; `benches/README.md` gives figures for this one.
const SEED: u64 = 1;

fn main() {
    divan::main();
}

#[divan::bench(args = [1, 2], sample_count = 10, sample_size = 1)]
fn read_to_orders(bencher: Bencher<'_, '_>, threads: usize) {
    let bench = Bench::platform(SEED).expect("the invented run can be made");
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .expect("a pool of so few threads");
    bencher
        .counter(ItemsCount::new(bench.boxes))
        .bench_local(|| pool.install(|| bench.run().expect("the run reads")));
}
