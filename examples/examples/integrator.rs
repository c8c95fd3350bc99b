//! Orders into a queue of one's own: handed out in sequence, each only after those that it needs.
//!
//! `cargo run --release -p corymb-examples --example integrator`
#![allow(clippy::print_stdout)] // an example shows what it found

use corymb_examples::demo;
use corymb_job::{JobConfig, run_job};
use corymb_model::orders::Order;
use std::collections::{BTreeSet, VecDeque};
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    let (folder, policy, arm) = demo()?;
    let config = JobConfig::default();
    let out = run_job(&folder.run, Some(&policy), Some(&arm), &config, &|_| ());
    let orders = out.tasks.map(|t| t.orders).unwrap_or_default();
    let mut queue: VecDeque<&Order> = orders.iter().collect();
    let (mut done, mut dropped) = (BTreeSet::new(), Vec::new());
    while let Some(order) = queue.pop_front() {
        // an order whose forerunner was not done is void: the way to it may still be closed
        if order.needs.iter().all(|n| done.contains(n.as_str())) && attempt(order) {
            done.insert(order.id.as_str());
        } else {
            dropped.push(order.id.as_str());
        }
    }
    println!(
        "{} done, {} dropped, of {} orders",
        done.len(),
        dropped.len(),
        orders.len()
    );
    println!("dropped: {dropped:?}");
    Ok(())
}

/// Stands for the machine: here every tenth attempt fails.
fn attempt(order: &Order) -> bool {
    order.seq % 10 != 9
}

#[cfg(test)]
mod tests {
    #[test]
    fn it_runs_to_its_end() {
        super::main().unwrap();
    }
}
