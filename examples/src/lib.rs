//! What the examples share: the demonstration run that ships with corymb (two invented trees), read from disk.

use corymb_formats::{Problems, RunFolder, read_arm, read_policy, read_run};
use corymb_model::arm::ArmSetup;
use corymb_model::policy::Policy;
use std::path::PathBuf;

/// The folder of the demonstration run.
#[must_use]
pub fn demo_folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../fixtures/two_trees")
}

/// The run, its policy and its arm.
///
/// # Errors
/// Every problem of the first file that cannot be used.
pub fn demo() -> Result<(RunFolder, Policy, ArmSetup), Problems> {
    let folder = demo_folder();
    Ok((
        read_run(&folder)?,
        read_policy(&folder.join("policy.toml"))?.value,
        read_arm(&folder.join("arm.toml"))?.value,
    ))
}
