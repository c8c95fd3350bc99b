//! Writing the output folder of a run, all files at once.

use crate::args::RunArgs;
use crate::exit::Failure;
use crate::inputs::Inputs;
use crate::progress::{Progress, WRITE};
use crate::{interrupt, summary};
use corymb_formats::{Header, Publication};
use corymb_job::{JobConfig, JobOutput};
use corymb_report::overlay;
use std::io::ErrorKind;
use std::path::Path;

/// Folder of the pictures in the output folder.
const OVERLAYS: &str = "overlays";

/// Writes everything that the job produced and returns the names of the files.
///
/// # Errors
/// The disk, or a result that cannot be written; the folder is then as it was.
pub(crate) fn publish(
    args: &RunArgs,
    inputs: &Inputs,
    output: &JobOutput,
    config: &JobConfig,
    progress: &Progress,
) -> Result<Vec<String>, Failure> {
    let _interrupts_wait = interrupt::begin_writing();
    progress.begin(WRITE);
    let header = Header {
        tool_version: env!("CARGO_PKG_VERSION").to_owned(),
        inputs: inputs.sha256.clone(),
    };
    let mut publication = Publication::output_folder(&args.out)?;
    let mut files = results(&mut publication, &header, inputs, output)?;
    let pictures = pictures(&mut publication, usize::from(args.overlays), inputs, output)?;
    progress.end(WRITE, files.len() + pictures.len() + 1);
    let told = summary::for_machines(inputs, output, config, &progress.times())?;
    publication.summary(&header, &told)?;
    publication.publish()?;
    clear_old_pictures(&args.out.join(OVERLAYS), &pictures)?;
    files.push("summary.json".to_owned());
    files.extend(pictures);
    Ok(files)
}

fn results(
    publication: &mut Publication,
    header: &Header,
    inputs: &Inputs,
    output: &JobOutput,
) -> Result<Vec<String>, Failure> {
    let (run, map) = (&inputs.run, &output.map);
    let mut files = vec!["map.json", "calibration.json", "diagnostics.json"];
    publication.map(header, run, map)?;
    publication.calibration(header, run, &output.scene.calibration)?;
    publication.diagnostics(header, run, map, &output.scene.diagnostics)?;
    if let Some(decisions) = &output.decisions {
        publication.decisions(header, run, map, decisions)?;
        files.push("decisions.json");
    }
    if let (Some(tasks), Some(arm)) = (&output.tasks, &inputs.arm) {
        publication.orders(run, map, arm, &tasks.orders)?;
        publication.refusals(run, map, &tasks.refusals)?;
        files.extend(["orders.jsonl", "refusals.jsonl"]);
    }
    Ok(files.into_iter().map(str::to_owned).collect())
}

/// Draws evenly spaced images; a picture is named by the position of its image in the run, in the order of time.
fn pictures(
    publication: &mut Publication,
    wanted: usize,
    inputs: &Inputs,
    output: &JobOutput,
) -> Result<Vec<String>, Failure> {
    let mut names = Vec::new();
    for frame_idx in overlay::evenly_spaced(&output.scene, wanted) {
        if let Some(svg) = overlay::svg(&inputs.run, &output.scene, &output.map, frame_idx) {
            let name = format!("{OVERLAYS}/image_{frame_idx:06}.svg");
            publication.bytes(&name, svg.as_bytes())?;
            names.push(name);
        }
    }
    Ok(names)
}

/// Removes the pictures of an earlier run, which show another map.
fn clear_old_pictures(folder: &Path, new: &[String]) -> Result<(), Failure> {
    let stale = |path: &Path, source| Failure::Stale {
        path: path.to_owned(),
        source,
    };
    let entries = match folder.read_dir() {
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(()),
        entries => entries.map_err(|e| stale(folder, e))?,
    };
    for entry in entries {
        let entry = entry.map_err(|e| stale(folder, e))?;
        let name = entry.file_name().to_string_lossy().into_owned();
        let ours = name.starts_with("image_") && name.ends_with(".svg");
        if ours && !new.contains(&format!("{OVERLAYS}/{name}")) {
            std::fs::remove_file(entry.path()).map_err(|e| stale(&entry.path(), e))?;
        }
    }
    Ok(())
}
