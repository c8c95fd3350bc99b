//! The figures of `corymb score`: charts, and the tables that they rest on.

mod charts;
mod tables;

use crate::exit::Failure;
use crate::{interrupt, talk};
use corymb_formats::Publication;
use corymb_model::scene::Calibration;
use corymb_score::{ScoreInput, Scores};
use std::path::Path;

/// A file to be: its name and its text.
type Named = (&'static str, String);

/// Writes all charts and tables into `dir`, all at once, and says so. Without a map there is nothing to draw.
///
/// # Errors
/// The disk; the folder is then as it was.
pub(crate) fn write(
    dir: &Path,
    input: &ScoreInput<'_>,
    calibration: Option<&Calibration>,
    scores: &Scores,
) -> Result<(), Failure> {
    let Some(details) = corymb_score::details(input, calibration) else {
        talk::note("no figures: there is no map");
        return Ok(());
    };
    let mut files = charts::all(&input.run.name, scores, &details);
    files.extend(tables::all(&details));
    let names: Vec<&str> = files.iter().map(|(name, _)| *name).collect();
    let _interrupts_wait = interrupt::begin_writing();
    let mut publication = Publication::folder(dir, &names)?;
    for (name, text) in &files {
        publication.bytes(name, text.as_bytes())?;
    }
    publication.publish()?;
    talk::note(&format!("{} files in {}", files.len(), dir.display()));
    Ok(())
}
