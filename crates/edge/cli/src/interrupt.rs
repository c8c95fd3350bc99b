//! Interrupts (Ctrl-C) leave no half file.
//!
//! While files are on their way to their places the interrupt waits: either all of them arrive or none is begun. At
//! any other moment nothing of ours is on the disk, and the program ends at once. A kill that cannot be caught may
//! leave complete files and files that end in `.partial`, never a half file under a real name.

use crate::exit::Failure;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// What a shell reports for a program ended by SIGINT: 128 + 2.
const INTERRUPTED: i32 = 130;

/// Held while files are written.
static WRITING: Mutex<()> = Mutex::new(());

/// Ends the program on an interrupt, once nothing is being written.
///
/// # Errors
/// The system refuses the handler.
pub(crate) fn listen() -> Result<(), Failure> {
    ctrlc::set_handler(|| {
        let _nothing_is_written = begin_writing();
        crate::talk::note("interrupted");
        std::process::exit(INTERRUPTED);
    })?;
    Ok(())
}

/// Holds interrupts back until the guard is dropped.
pub(crate) fn begin_writing() -> MutexGuard<'static, ()> {
    WRITING.lock().unwrap_or_else(PoisonError::into_inner)
}
