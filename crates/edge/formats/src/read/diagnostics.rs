//! `diagnostics.json` back into the account of a fusion.

use crate::findings::{Findings, place};
use crate::limits::Limits;
use crate::problem::Problems;
use crate::read::checks::{point, share};
use crate::read::document::{Grammar, Loaded, read_document};
use crate::read::known::Known;
use crate::source::locate_needed;
use crate::wire::diagnostics::{
    BoxCountsWire, CameraResidualsWire, DiagnosticsFile, EdgesWire, EventWire, RoundWire,
    SpreadWire, TimeWire,
};
use crate::write::Header;
use corymb_model::diagnostics::{
    BoxCounts, BoxFate, CameraResiduals, Diagnostics, DistanceBand, EdgeResiduals, Event,
    EventKind, Round, Spread, TimeReport,
};
use corymb_model::map::CropMap;
use corymb_model::run::Run;
use std::collections::BTreeMap;
use std::path::Path;

/// Reads `diagnostics.json` of an output folder, with what it says about itself.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_diagnostics(
    dir: &Path,
    run: &Run,
    map: &CropMap,
) -> Result<Loaded<(Header, Diagnostics)>, Problems> {
    let located = locate_needed(dir, "diagnostics.json")?;
    let known = Known::of_map(run, map);
    read_document(
        &located,
        Grammar::Json,
        &Limits::default(),
        |file: DiagnosticsFile, out| {
            let header = Header {
                tool_version: file.tool_version.clone(),
                inputs: file.inputs.clone(),
            };
            (header, check_diagnostics(file, &known, out))
        },
    )
}

fn check_diagnostics(file: DiagnosticsFile, known: &Known<'_>, out: &mut Findings) -> Diagnostics {
    let cameras = file.cameras.iter().enumerate();
    let cameras = cameras.filter_map(|(at, c)| check_camera(c, at, known, out));
    let cameras = cameras.collect();
    let events = file.events.iter().enumerate();
    let events = events
        .map(|(at, e)| check_event(e, at, known, out))
        .collect();
    let boxes = file.boxes.iter().enumerate();
    let boxes = boxes.filter_map(|(at, b)| check_boxes(b, at, known, out));
    let not_listed = file.events_not_listed;
    Diagnostics {
        cameras,
        events,
        boxes: boxes.collect(),
        times: file.times.into_iter().map(time).collect(),
        rounds: file.rounds.iter().map(round).collect(),
        events_not_listed: some([
            (EventKind::Begun, not_listed.begun),
            (EventKind::Merged, not_listed.merged),
            (EventKind::Split, not_listed.split),
            (EventKind::Dropped, not_listed.dropped),
        ]),
    }
}

/// What there is any of.
fn some<K: Ord, const N: usize>(counts: [(K, usize); N]) -> BTreeMap<K, usize> {
    counts.into_iter().filter(|(_, n)| *n > 0).collect()
}

fn edges(wire: &EdgesWire) -> EdgeResiduals {
    EdgeResiduals {
        count: wire.edges,
        mean_px: wire.mean_px.map(|n| n.0),
        spread_px: wire.spread_px.map(|n| n.0),
        occluded_share: wire.occluded_share.map(|n| n.0),
    }
}

fn check_camera(
    wire: &CameraResidualsWire,
    at: usize,
    known: &Known<'_>,
    out: &mut Findings,
) -> Option<CameraResiduals> {
    let bands = wire.by_distance.iter().map(|b| DistanceBand {
        from_m: b.from_m.0,
        to_m: b.to_m.map(|n| n.0),
        edges: edges(&b.residuals),
    });
    Some(CameraResiduals {
        camera_idx: known.camera(&wire.camera, || place!["cameras", at, "camera"], out)?,
        edges: [&wire.left, &wire.top, &wire.right, &wire.bottom].map(edges),
        bands: bands.collect(),
    })
}

fn spread(wire: &SpreadWire) -> Spread {
    Spread {
        median_px: wire.median_px.map(|n| n.0),
        spread_px: wire.spread_px.map(|n| n.0),
    }
}

fn time(wire: TimeWire) -> TimeReport {
    TimeReport {
        time_s: wire.time_s.0,
        images: wire.images,
        matched: wire.matched,
        missed: wire.missed,
        unclaimed: wire.unclaimed,
        across: spread(&wire.across),
        down: spread(&wire.down),
        size: spread(&wire.size),
        correction_m: wire.correction_m.0,
        correction_rad: wire.correction_deg.0.to_radians(),
        translation_deviation_m: wire.translation_deviation_m.map(|n| n.0),
        rotation_deviation_rad: wire.rotation_deviation_deg.map(|n| n.0.to_radians()),
        linking_bodies: wire.linking_bodies,
        on_prior_alone: wire.on_prior_alone,
        pass: wire.pass,
    }
}

fn round(wire: &RoundWire) -> Round {
    Round {
        bodies: wire.bodies,
        claimed: wire.claimed,
        changed_hands: wire.changed_hands,
        begun: wire.begun,
        merged: wire.merged,
        split: wire.split,
        dropped: wire.dropped,
        box_edge_px: wire.box_edge_px.0,
        motion_m: wire.motion_mm.0 * 1e-3,
    }
}

fn check_event(wire: &EventWire, at: usize, known: &Known<'_>, out: &mut Findings) -> Event {
    let fruitlet = wire.fruitlet.as_ref();
    Event {
        kind: wire.kind.into(),
        round: wire.round,
        body_idx: fruitlet
            .and_then(|id| known.fruitlet(id, || place!["events", at, "fruitlet"], out)),
        place: point(&wire.place_m),
        boxes: wire.boxes,
        log_likelihood_before: wire.log_likelihood_before.map(|n| n.0),
        log_likelihood_after: wire.log_likelihood_after.map(|n| n.0),
        reason: wire.reason.into(),
    }
}

fn check_boxes(
    wire: &BoxCountsWire,
    at: usize,
    known: &Known<'_>,
    out: &mut Findings,
) -> Option<BoxCounts> {
    share(
        wire.explained_share,
        || place!["boxes", at, "explained_share"],
        out,
    );
    Some(BoxCounts {
        camera_idx: known.camera(&wire.camera, || place!["boxes", at, "camera"], out)?,
        class: wire.class.into(),
        fates: some([
            (BoxFate::Explained, wire.explained),
            (BoxFate::Cut, wire.cut),
            (BoxFate::Duplicate, wire.duplicate),
            (BoxFate::Merged, wire.merged),
            (BoxFate::OfDropped, wire.of_dropped),
            (BoxFate::Unclaimed, wire.unclaimed),
            (BoxFate::Unusable, wire.unusable),
            (BoxFate::LeftOut, wire.left_out),
        ]),
    })
}
