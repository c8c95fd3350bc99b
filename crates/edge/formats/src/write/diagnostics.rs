//! `diagnostics.json`.

use crate::wire::diagnostics::{
    BandWire, BoxCountsWire, CameraResidualsWire, DiagnosticsFile, EdgesWire, EventCounts,
    EventWire, RoundWire, SpreadWire, TimeWire,
};
use crate::wire::header::FrameWire;
use crate::wire::num::{Num, metres3};
use crate::write::error::WriteError;
use crate::write::names::Names;
use crate::write::publish::{Header, Publication};
use corymb_model::diagnostics::{
    BoxCounts, BoxFate, CameraResiduals, Diagnostics, DistanceBand, EdgeResiduals, Event,
    EventKind, Round, Spread, TimeReport,
};
use corymb_model::map::CropMap;
use corymb_model::run::Run;

const FILE: &str = "diagnostics.json";

impl Publication {
    /// Adds `diagnostics.json`. The fruitlets of `map` stand in the order of the scene's bodies.
    ///
    /// # Errors
    /// A position without an entry, a number that is not finite, or the disk.
    pub fn diagnostics(
        &mut self,
        header: &Header,
        run: &Run,
        map: &CropMap,
        diagnostics: &Diagnostics,
    ) -> Result<(), WriteError> {
        let names = Names {
            file: FILE,
            run,
            map,
        };
        let d = diagnostics;
        let not_listed = |kind| d.events_not_listed.get(&kind).copied().unwrap_or(0);
        let file = DiagnosticsFile {
            version: crate::read::document::VERSION,
            tool_version: header.tool_version.clone(),
            frame: FrameWire::Orchard,
            inputs: header.inputs.clone(),
            cameras: (d.cameras.iter())
                .map(|c| camera(c, &names))
                .collect::<Result<_, _>>()?,
            times: d.times.iter().map(time).collect(),
            rounds: d.rounds.iter().map(round).collect(),
            events: (d.events.iter())
                .map(|e| event(e, &names))
                .collect::<Result<_, _>>()?,
            events_not_listed: EventCounts {
                begun: not_listed(EventKind::Begun),
                merged: not_listed(EventKind::Merged),
                split: not_listed(EventKind::Split),
                dropped: not_listed(EventKind::Dropped),
            },
            boxes: (d.boxes.iter())
                .map(|b| box_counts(b, &names))
                .collect::<Result<_, _>>()?,
        };
        self.json(FILE, &file)
    }
}

fn edges(e: &EdgeResiduals) -> EdgesWire {
    EdgesWire {
        edges: e.count,
        mean_px: e.mean_px.map(Num::significant),
        spread_px: e.spread_px.map(Num::significant),
        occluded_share: e.occluded_share.map(Num::share),
    }
}

fn camera(c: &CameraResiduals, names: &Names<'_>) -> Result<CameraResidualsWire, WriteError> {
    let [left, top, right, bottom] = c.edges.each_ref().map(edges);
    Ok(CameraResidualsWire {
        camera: names.camera_id(c.camera_idx)?,
        left,
        top,
        right,
        bottom,
        by_distance: c.bands.iter().map(band).collect(),
    })
}

fn band(b: &DistanceBand) -> BandWire {
    BandWire {
        from_m: Num::metres(b.from_m),
        to_m: b.to_m.map(Num::metres),
        residuals: edges(&b.edges),
    }
}

fn spread(s: &Spread) -> SpreadWire {
    SpreadWire {
        median_px: s.median_px.map(Num::significant),
        spread_px: s.spread_px.map(Num::significant),
    }
}

fn time(t: &TimeReport) -> TimeWire {
    TimeWire {
        time_s: Num::seconds(t.time_s),
        pass: t.pass.clone(),
        images: t.images,
        matched: t.matched,
        missed: t.missed,
        unclaimed: t.unclaimed,
        across: spread(&t.across),
        down: spread(&t.down),
        size: spread(&t.size),
        correction_m: Num::significant(t.correction_m),
        correction_deg: Num::significant(t.correction_rad.to_degrees()),
        translation_deviation_m: t.translation_deviation_m.map(Num::significant),
        rotation_deviation_deg: t
            .rotation_deviation_rad
            .map(|r| Num::significant(r.to_degrees())),
        linking_bodies: t.linking_bodies,
        on_prior_alone: t.on_prior_alone,
    }
}

fn round(r: &Round) -> RoundWire {
    RoundWire {
        bodies: r.bodies,
        claimed: r.claimed,
        changed_hands: r.changed_hands,
        begun: r.begun,
        merged: r.merged,
        split: r.split,
        dropped: r.dropped,
        box_edge_px: Num::significant(r.box_edge_px),
        motion_mm: Num::significant(r.motion_m * 1e3),
    }
}

fn event(e: &Event, names: &Names<'_>) -> Result<EventWire, WriteError> {
    let fruitlet = e.body_idx.map(|at| names.fruitlet(at)).transpose()?;
    Ok(EventWire {
        kind: e.kind.into(),
        round: e.round,
        fruitlet: fruitlet.map(|f| f.id.clone()),
        place_m: metres3(&e.place.xyz),
        boxes: e.boxes,
        log_likelihood_before: e.log_likelihood_before.map(Num::significant),
        log_likelihood_after: e.log_likelihood_after.map(Num::significant),
        reason: e.reason.into(),
    })
}

fn box_counts(b: &BoxCounts, names: &Names<'_>) -> Result<BoxCountsWire, WriteError> {
    let of = |fate| b.fates.get(&fate).copied().unwrap_or(0);
    let explained = of(BoxFate::Explained) + of(BoxFate::Cut);
    Ok(BoxCountsWire {
        camera: names.camera_id(b.camera_idx)?,
        class: b.class.into(),
        boxes: b.total(),
        explained_share: Num::share(explained as f64 / b.total().max(1) as f64),
        explained: of(BoxFate::Explained),
        cut: of(BoxFate::Cut),
        duplicate: of(BoxFate::Duplicate),
        merged: of(BoxFate::Merged),
        of_dropped: of(BoxFate::OfDropped),
        unclaimed: of(BoxFate::Unclaimed),
        unusable: of(BoxFate::Unusable),
        left_out: of(BoxFate::LeftOut),
    })
}
