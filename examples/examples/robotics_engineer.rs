//! From a run folder to a task list that a machine can walk, and why something was refused.
//!
//! `cargo run --release -p corymb-examples --example robotics_engineer`
#![allow(clippy::print_stdout)] // an example shows what it found

use corymb_examples::demo;
use corymb_job::{JobConfig, run_job};
use corymb_model::orders::Work;
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    let (folder, policy, arm) = demo()?;
    let config = JobConfig::default();
    let out = run_job(&folder.run, Some(&policy), Some(&arm), &config, &|_| ());
    let Some(tasks) = &out.tasks else {
        return Err("no task list".into());
    };
    let id = |idx: usize| out.map.fruitlets[idx].id.as_str();
    for order in tasks.orders.iter().take(5) {
        if let Work::Remove { plan, .. } = &order.work {
            let at = plan.orchard_from_tool.origin().xyz;
            println!(
                "{} {}: stop {:?}, tool to ({:.3}, {:.3}, {:.3}) m in the orchard frame, clearance {:.1} mm, success {:.2}",
                order.seq,
                order.id,
                order.stop,
                at.x,
                at.y,
                at.z,
                1e3 * plan.clearance_m,
                plan.success_probability
            );
        }
    }
    for refusal in tasks.refusals.iter().take(5) {
        println!(
            "{} refused: {}, in the way: {:?}",
            id(refusal.fruitlet_idx),
            refusal.reason.name(),
            refusal.blocked_by
        );
    }
    println!(
        "{} orders, {} refusals",
        tasks.orders.len(),
        tasks.refusals.len()
    );
    Ok(())
}

#[cfg(test)]
mod tests {
    #[test]
    fn it_runs_to_its_end() {
        super::main().unwrap();
    }
}
