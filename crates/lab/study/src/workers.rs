//! Work in parallel with as many items in memory as there are workers.
//!
//! A plain parallel iterator would not do: while one item waits for its inner parallel work, its thread takes up the
//! next item, and their memory adds up. Here each worker has a pool of its own and finishes an item before the next.

use rayon::{ThreadPool, ThreadPoolBuildError, ThreadPoolBuilder};
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::atomic::{AtomicUsize, Ordering};

/// `work(0) .. work(items - 1)` in that order, done by `threads` threads in all.
///
/// # Errors
/// The system refuses threads.
pub(crate) fn in_order<T: Send>(
    items: usize,
    threads: usize,
    work: &(dyn Fn(usize) -> T + Sync),
) -> Result<Vec<T>, ThreadPoolBuildError> {
    let workers = threads.clamp(1, items.max(1));
    let pools = (0..workers)
        .map(|_| {
            ThreadPoolBuilder::new()
                .num_threads((threads / workers).max(1))
                .build()
        })
        .collect::<Result<Vec<ThreadPool>, _>>()?;
    let next = AtomicUsize::new(0);
    let done = Mutex::new(Vec::with_capacity(items));
    let (next, done_ref) = (&next, &done);
    std::thread::scope(|scope| {
        for pool in &pools {
            scope.spawn(move || {
                loop {
                    let item = next.fetch_add(1, Ordering::Relaxed);
                    if item >= items {
                        break;
                    }
                    let result = pool.install(|| work(item));
                    let mut done = done_ref.lock().unwrap_or_else(PoisonError::into_inner);
                    done.push((item, result));
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap_or_else(PoisonError::into_inner);
    done.sort_by_key(|d| d.0);
    Ok(done.into_iter().map(|(_, result)| result).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_come_in_order_and_no_more_are_under_way_than_there_are_threads() {
        for threads in [1, 2, 3, 8] {
            let (under_way, most) = (AtomicUsize::new(0), AtomicUsize::new(0));
            let squares = in_order(7, threads, &|k| {
                let now = under_way.fetch_add(1, Ordering::SeqCst) + 1;
                most.fetch_max(now, Ordering::SeqCst);
                // inner parallel work, during which a shared pool would begin further items
                let sum: usize = rayon::iter::ParallelIterator::sum(
                    rayon::iter::IntoParallelIterator::into_par_iter(0..2_000_usize),
                );
                under_way.fetch_sub(1, Ordering::SeqCst);
                (k * k, sum)
            })
            .expect("a few threads");
            let expected: Vec<(usize, usize)> = (0..7).map(|k| (k * k, 1_999_000)).collect();
            assert_eq!(squares, expected);
            assert!(most.into_inner() <= threads);
        }
    }

    #[test]
    fn nothing_to_do_is_done() {
        assert_eq!(
            in_order(0, 4, &|k| k).expect("no thread needed"),
            Vec::<usize>::new()
        );
    }
}
