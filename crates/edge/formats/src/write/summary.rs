//! `summary.json`.

use crate::summary::{StageSummary, Summary};
use crate::wire::header::FrameWire;
use crate::wire::num::Num;
use crate::wire::summary::{StageWire, StoppedWire, SummaryFile};
use crate::write::error::WriteError;
use crate::write::publish::{Header, Publication};

impl Publication {
    /// Adds `summary.json`.
    ///
    /// # Errors
    /// A number that is not finite, or the disk.
    pub fn summary(&mut self, header: &Header, summary: &Summary) -> Result<(), WriteError> {
        let file = SummaryFile {
            version: crate::read::document::VERSION,
            tool_version: header.tool_version.clone(),
            frame: FrameWire::Orchard,
            inputs: header.inputs.clone(),
            run: summary.run.clone(),
            stopped: StoppedWire {
                after: summary.stopped_after.clone(),
                because: summary.stopped_because.clone(),
            },
            left_out: summary.left_out.clone(),
            stages: summary.stages.iter().map(stage).collect(),
            refusals: summary.refusals.clone(),
            threads: summary.threads,
            seconds: Num::seconds(summary.seconds),
            settings: summary.settings.clone(),
        };
        self.json("summary.json", &file)
    }
}

fn stage(s: &StageSummary) -> StageWire {
    StageWire {
        name: s.name.clone(),
        seconds: Num::seconds(s.seconds),
        items: s.items,
        item: s.item.clone(),
        counts: s.counts.clone(),
    }
}
