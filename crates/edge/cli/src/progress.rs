//! Progress on stderr and the times of the stages. The only clock of the whole program ticks here.

use crate::args::ProgressStyle;
use corymb_job::StageEvent;
use indicatif::{ProgressBar, ProgressStyle as BarStyle};
use std::io::Write;
use std::sync::Mutex;
use std::time::{Duration, Instant};

/// All stages so far and the time since the beginning.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Times {
    /// In order.
    pub(crate) stages: Vec<StageTime>,
    /// Since the beginning, seconds.
    pub(crate) seconds: f64,
}

/// A finished stage.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StageTime {
    /// Its name.
    pub(crate) stage: String,
    /// How long it took, seconds.
    pub(crate) seconds: f64,
    /// How many things it produced.
    pub(crate) items: usize,
}

/// Listens to the job.
pub(crate) struct Progress {
    style: ProgressStyle,
    bar: ProgressBar,
    started: Instant,
    state: Mutex<State>,
}

#[derive(Default)]
struct State {
    begun: Option<Instant>,
    done: Vec<StageTime>,
}

impl Progress {
    /// Ready to listen; a moving line is shown only where stderr is a terminal.
    pub(crate) fn new(style: ProgressStyle) -> Self {
        let bar = match style {
            ProgressStyle::Auto => ProgressBar::new_spinner(),
            ProgressStyle::Json | ProgressStyle::Off => ProgressBar::hidden(),
        };
        if let Ok(look) = BarStyle::with_template("{spinner} {msg} {elapsed}") {
            bar.set_style(look);
        }
        Self {
            style,
            bar,
            started: Instant::now(),
            state: Mutex::default(),
        }
    }

    /// Takes note of an event of the job.
    pub(crate) fn hear(&self, event: StageEvent) {
        match event {
            StageEvent::Begin { stage } => self.begin(stage.name()),
            StageEvent::End { stage, items } => self.end(stage.name(), items),
        }
    }

    /// A stage begins.
    pub(crate) fn begin(&self, stage: &str) {
        self.with(|state| state.begun = Some(Instant::now()));
        self.bar.set_message(stage.to_owned());
        self.bar.enable_steady_tick(Duration::from_millis(120));
        self.tell(&serde_json::json!({ "stage": stage, "event": "begin" }));
    }

    /// The stage that began last ends.
    pub(crate) fn end(&self, stage: &str, items: usize) {
        let seconds = self.with(|state| {
            let seconds = state
                .begun
                .take()
                .map_or(0.0, |t| t.elapsed().as_secs_f64());
            state.done.push(StageTime {
                stage: stage.to_owned(),
                seconds,
                items,
            });
            seconds
        });
        self.tell(&serde_json::json!({
            "stage": stage, "event": "end", "items": items, "seconds": seconds,
        }));
    }

    /// The times so far.
    pub(crate) fn times(&self) -> Times {
        Times {
            stages: self.with(|state| state.done.clone()),
            seconds: self.started.elapsed().as_secs_f64(),
        }
    }

    fn tell(&self, line: &serde_json::Value) {
        if self.style == ProgressStyle::Json {
            // progress that nobody can read is no reason to stop
            let _ = writeln!(std::io::stderr(), "{line}");
        }
    }

    fn with<T>(&self, change: impl FnOnce(&mut State) -> T) -> T {
        let mut state = self
            .state
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        change(&mut state)
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

/// The name under which reading stands beside the stages of the job.
pub(crate) const READ: &str = "read";
/// The name of writing.
pub(crate) const WRITE: &str = "write";
