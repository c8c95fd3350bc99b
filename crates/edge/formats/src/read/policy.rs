//! `policy.toml`.

use crate::codes::Code;
use crate::findings::{Finding, Findings, place};
use crate::limits::Limits;
use crate::problem::Problems;
use crate::read::checks::{filled, positive, share};
use crate::read::document::{Grammar, Loaded, read_document};
use crate::source::at_path;
use crate::wire::policy::{PinWire, PolicyFile, TargetWire};
use corymb_model::policy::{Losses, Pin, Pinned, Policy, Prefer, Target};
use std::path::Path;

/// Reads a policy.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_policy(path: &Path) -> Result<Loaded<Policy>, Problems> {
    read_document(
        &at_path(path)?,
        Grammar::Toml,
        &Limits::default(),
        check_policy,
    )
}

fn check_policy(file: PolicyFile, out: &mut Findings) -> Policy {
    filled(&file.name, || place!["name"], out);
    let target = check_target(&file.target, out);
    let keep = file.cluster.keep_at_most;
    out.unless(keep > 0, || {
        Finding::new(
            Code::NotPositive,
            place!["cluster", "keep_at_most"],
            "1 or more",
        )
    });
    let spacing = file
        .spacing
        .map(|s| positive(s.along_limb_m, || place!["spacing", "along_limb_m"], out));
    let act_above = share(
        file.confidence.act_above,
        || place!["confidence", "act_above"],
        out,
    );
    let losses = file.losses.map_or_else(Losses::default, |l| Losses {
        natural_drop: l
            .natural_drop
            .map(|n| share(n, || place!["losses", "natural_drop"], out)),
        tool_success: l
            .tool_success
            .map(|n| share(n, || place!["losses", "tool_success"], out)),
        count_unseen: l.count_unseen,
    });
    Policy {
        name: file.name,
        target,
        keep_at_most: keep as usize,
        spacing_along_limb_m: spacing,
        prefer: Prefer {
            king: file.prefer.king.0,
            diameter: file.prefer.diameter.0,
            reach: file.prefer.reach.0,
        },
        act_above,
        losses,
        pins: check_pins(file.pin, "pin", out),
    }
}

fn check_target(wire: &TargetWire, out: &mut Findings) -> Target {
    let mut bound = |n: Option<crate::wire::num::Num>, name: &str| {
        n.map(|n| positive(n, || place!["target", name], out))
    };
    let target = Target {
        fruit_per_cm2_trunk: bound(wire.fruit_per_cm2_trunk, "fruit_per_cm2_trunk"),
        fruit_per_tree: bound(wire.fruit_per_tree, "fruit_per_tree"),
        fruit_per_cm2_limb: bound(wire.fruit_per_cm2_limb, "fruit_per_cm2_limb"),
    };
    out.unless(target != Target::default(), || {
        Finding::new(Code::TargetNone, place!["target"], "at least one bound").found("none")
    });
    target
}

/// Pins, listed in the field `list`.
pub(crate) fn check_pins(pins: Vec<PinWire>, list: &str, out: &mut Findings) -> Vec<Pin> {
    let mut checked: Vec<Pin> = Vec::with_capacity(pins.len());
    for (at, pin) in pins.into_iter().enumerate() {
        let as_ = pin.as_.into();
        let named = [
            pin.fruitlet.map(Pinned::Fruitlet),
            pin.cluster.map(Pinned::Cluster),
            pin.limb.map(Pinned::Limb),
            pin.tree.map(Pinned::Tree),
        ];
        let mut named = named.into_iter().flatten();
        let (Some(what), None) = (named.next(), named.next()) else {
            out.push(Finding::new(
                Code::PinUnclear,
                place![list, at],
                "exactly one of fruitlet, cluster, limb and tree",
            ));
            continue;
        };
        if checked.iter().any(|earlier| earlier.what == what) {
            out.push(Finding::new(
                Code::PinConflict,
                place![list, at],
                "something that is not pinned already",
            ));
        }
        checked.push(Pin { what, as_ });
    }
    checked
}
