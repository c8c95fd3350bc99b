//! The files through the public interface: written and read back, published, read whatever the threads and the order.
#![allow(clippy::unwrap_used, clippy::panic)] // a helper of a test may fail as the test does

#[path = "files/samples.rs"]
mod samples;

#[path = "files/anything.rs"]
mod anything;
#[path = "files/publishing.rs"]
mod publishing;
#[path = "files/reading.rs"]
mod reading;
#[path = "files/round_trips.rs"]
mod round_trips;
#[path = "files/settings.rs"]
mod settings;
