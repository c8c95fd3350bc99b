//! Boxes a second on one thread and on two: the whole job, the map alone, and the map of a short and of a long row.

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
    on_threads(bencher, &bench, threads, || {
        bench.run().expect("the run reads");
    });
}

#[divan::bench(args = [1, 2], sample_count = 20, sample_size = 1)]
fn read_to_map(bencher: Bencher<'_, '_>, threads: usize) {
    map_of(bencher, &Bench::platform(SEED), threads);
}

/// Thirty trees beside three: the seconds a box should be the same.
#[divan::bench(consts = [3, 30], args = [1, 2], sample_count = 5, sample_size = 1)]
fn read_to_map_of_trees<const TREES: u32>(bencher: Bencher<'_, '_>, threads: usize) {
    map_of(bencher, &Bench::row(TREES, SEED), threads);
}

fn map_of(bencher: Bencher<'_, '_>, bench: &Result<Bench, String>, threads: usize) {
    let bench = bench.as_ref().expect("the invented run can be made");
    on_threads(bencher, bench, threads, || {
        bench.map().expect("the run reads");
    });
}

/// Measures `job` in a pool of its own, in boxes of the run.
fn on_threads(
    bencher: Bencher<'_, '_>,
    bench: &Bench,
    threads: usize,
    job: impl Fn() + Send + Sync,
) {
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .expect("a pool of so few threads");
    bencher
        .counter(ItemsCount::new(bench.boxes))
        .bench_local(|| pool.install(&job));
}
