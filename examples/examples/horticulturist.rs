//! What two policies would leave on each tree, and why one fruitlet goes.
//!
//! `cargo run --release -p corymb-examples --example horticulturist`
#![allow(clippy::print_stdout)] // an example shows what it found

use corymb_examples::demo;
use corymb_job::{JobConfig, run_job};
use corymb_model::decisions::Action;
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    let (folder, policy, _) = demo()?;
    let trees: Vec<&str> = folder
        .run
        .orchard
        .iter()
        .flat_map(|o| &o.trees)
        .map(|t| t.id.as_str())
        .collect();
    for fruit_per_cm2_trunk in [2.0, 8.0] {
        let mut wanted = policy.clone();
        wanted.target.fruit_per_cm2_trunk = Some(fruit_per_cm2_trunk);
        let out = run_job(
            &folder.run,
            Some(&wanted),
            None,
            &JobConfig::default(),
            &|_| (),
        );
        let Some(decisions) = &out.decisions else {
            return Err("no decisions".into());
        };
        println!("{fruit_per_cm2_trunk} fruit per cm2 of trunk:");
        for load in &decisions.trees {
            let tree = load.tree_idx.map_or("no tree", |t| trees[t]);
            println!(
                "  {tree}: found {}, target {:?}, keep {}, remove {}, look again {}",
                load.found, load.target, load.kept, load.removed, load.look_again
            );
        }
        if let Some(d) = decisions
            .decisions
            .iter()
            .find(|d| d.action == Action::Remove)
        {
            println!("  {}: {}", out.map.fruitlets[d.fruitlet_idx].id, d.reason);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    #[test]
    fn it_runs_to_its_end() {
        super::main().unwrap();
    }
}
