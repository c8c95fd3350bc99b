"""Compares the figures of an independent scorer with those of `corymb score --json`, wherever both define the same one.

    python agreement.py NAME THEIRS.json OURS.json

Lists every pair and counts them; exit code 1 where two differ by more than their tolerance, or where a figure of theirs
is neither compared nor named here as defined differently.
"""
import json
import sys

TOLERANCE = 1e-9
ENDS = 2e-8        # ends of intervals: their quantile of the normal distribution has seven digits
AXES = 1e-6        # angles: they do not bring the written true axis, of six digits, to unit length

# theirs -> ours, once for the whole output
WHOLE = {
    "truth.objects": "truth.objects",
    "truth.considered": "truth.considered",
    "truth.seen_once": "truth.seen_once",
    "truth.never_detected": "truth.never_seen",
    "truth.clusters": "truth.clusters",
    "truth.median_views_considered": "truth.images_per_fruitlet.median",
    "truth.frames_with_wrong_label_count": "truth.images_with_other_label_count",
    "assoc.claims_of_unknown_boxes": "association.unknown_boxes_claimed",
    "assoc.boxes_claimed_twice": "association.boxes_claimed_twice",
}
for kind in ("bodies", "stems", "calyces"):
    for theirs, ours in (("boxes_true", "boxes_true"), ("boxes_claimed", "boxes_claimed"), ("DetA", "det_a"), ("AssA", "ass_a"),
                         ("HOTA", "hota"), ("pairwise_f1", "pairwise_f1"), ("IDF1", "idf1")):
        WHOLE[f"assoc.{kind}.{theirs}"] = f"association.{kind}.{ours}"

# theirs -> ours below `absolute` and `shift_removed`
PLACED = {
    "detection.precision": "fruitlets.precision",
    "detection.recall": "fruitlets.recall",
    "detection.f1": "fruitlets.f1",
    "detection.matched_but_not_considered": "fruitlets.not_considered",
    "detection.position_mm.median": "fruitlets.position_error_mm.median",
    "detection.position_mm.p95": "fruitlets.position_error_mm.p95",
    "detection.position_mm.mean": "fruitlets.position_error_mm.mean",
    "detection.diameter_mm.bias": "fruitlets.diameter_bias_mm",
    "detection.diameter_mm.median_abs": "fruitlets.diameter_error_mm.median",
    "detection.diameter_mm.p95_abs": "fruitlets.diameter_error_mm.p95",
    "detection.existence.brier": "calibration.existence.brier",
    "detection.existence.calibration_error": "calibration.existence.calibration_error",
    "detection.inside_90_centre": "calibration.inside_90_centre",
    "detection.inside_90_centre_and_radius": "calibration.inside_90_centre_and_radius",
    "axes.within_30_deg": "orientation.within_30_deg",
    "axes.within_30_deg_of_all_matched": "orientation.within_30_deg_of_all_matched",
    "axes.mean_deg": "orientation.error_deg.mean",
    "axes.mean_stated_deg": "orientation.stated_deg",
    "axes.no_axis": "orientation.no_axis",
    "clusters.pairwise_f1": "clusters.pairwise_f1",
    "clusters.ari": "clusters.adjusted_rand",
    "clusters.exact": "clusters.exact",
    "clusters.pure": "clusters.pure",
    "clusters.spur_mm.n": "clusters.spur_error_mm.n",
    "clusters.king": "kings.right",
    "clusters.tree": "trees.tree",
    "clusters.limb": "trees.limb",
    **{f"pairing.{kind}.{name}": f"pairing.{kind}.{name}" for kind in ("stem", "calyx") for name in ("right", "right_of_assigned", "unassigned")},
    "decisions.exact": "decisions.as_allowed",
    "decisions.exact_of_overfull": "decisions.as_allowed_of_overfull",
    "decisions.all_gone": "decisions.all_gone",
    "decisions.too_few": "decisions.too_few",
    "decisions.still_overloaded": "decisions.overloaded",
    "decisions.king_kept": "decisions.king_kept",
    "decisions.look_again": "decisions.look_again",
    "decisions.removals_of_nothing": "decisions.removals_of_nothing",
    "decisions.map_fruit_without_decision": "decisions.without_decision",
    "decisions.load_mean_abs_error_share": "decisions.load_error_share",
    "orders.orders": "orders.good.den",
    "orders.looks": "orders.looks",
    "orders.in_reach": "orders.in_reach",
    "orders.needs_broken": "orders.needs_broken",
    "orders.decided_without_order_or_refusal": "orders.neither_ordered_nor_refused",
}

# what an order does to fruit, stems and wood: the same question with other conditions and shapes; compared where asked for
DEEDS = {
    "orders.good": "orders.good",
    "orders.touch_or_cut_kept": "orders.hurt_kept",
    "orders.touch_any_other_fruit": "orders.touched",
    "orders.hit_limb": "orders.hits_limb",
    "orders.hit_obstacle": "orders.hits_obstacle",
    "orders.tilt_ok": "orders.tilt_ok",
    "orders.yield_of_true_excess": "orders.excess_removed",
    "orders.yield_of_decided": "orders.decided_and_done",
    "clusters_right": "orders.clusters_right",
}

DIFFERENT = {  # theirs -> why there is nothing to compare
    "missing": "which output files are absent; ours says so part by part",
    "detection.f1_interval": "another random stream, and other groups",
    "detection.position_mm.median_interval": "another random stream",
    "detection.existence.table": "in the errors of calibration, bin by bin",
    "detection.count": "ours by tree: compared below where the run has an orchard",
    "clusters.spur_mm.median": "with the shift removed, theirs moves a spur as the last fruit of the cluster, ours as its own place",
    "clusters.spur_mm.p95": "as the median",
    "decisions.trees_where_bound_binds": "ours by tree: compared below",
    "decisions.load": "ours by tree: compared below",
    "orders.enclose_and_cut_right_fruit": "ours asks three questions for it: enclosed, stem_crosses, targets_cut",
    "orders.aimed_at_nothing": "the other way round: compared below",
    "orders.without_needed_poses": "our reader refuses such an output",
    "orders.duplicates": "ours is a count: compared below",
    "orders.seq_increases": "ours is a count: compared below",
    "orders.success_brier": "ours holds the probability without finding the place again to the absolute figures",
    "orders.success_stated": "as above",
    "orders.refusals": "a count of lines, no score",
    "orders.travel": "a length of the way, no score",
    "shift_mm_median": "compared below",
    "relocalised": "compared in its turn",
}
WHY_DEEDS = "theirs lets a fruit stand 2 mm into the cutting plane, knows curved stems, and samples limbs as points"


def at(tree, path):
    for key in path.split("."):
        tree = tree.get(key) if isinstance(tree, dict) else None
    return tree


def plain(value):
    """The number of a figure."""
    return value["value"] if isinstance(value, dict) and "value" in value else value


class Comparison:
    def __init__(self):
        self.rows, self.bad = [], []

    def number(self, name, theirs, ours, tolerance=TOLERANCE):
        theirs, ours = plain(theirs), plain(ours)
        if theirs is None or ours is None:
            same = theirs is None and ours is None
            self.rows.append((name, theirs, ours, 0.0 if same else float("inf"), tolerance))
        else:
            self.rows.append((name, theirs, ours, abs(theirs - ours), tolerance))
        if not self.rows[-1][3] <= tolerance:
            self.bad.append(self.rows[-1])

    def figure(self, name, theirs, ours):
        if isinstance(theirs, dict) and "num" in theirs:
            ours = ours if isinstance(ours, dict) else {}
            for part, tolerance in (("num", 0), ("den", 0), ("value", TOLERANCE), ("low", ENDS), ("high", ENDS)):
                self.number(f"{name}.{part}", theirs.get(part), ours.get(part), tolerance)
        else:
            self.number(name, theirs, ours, AXES if name.endswith("axes.mean_deg") else TOLERANCE)

    def placed(self, prefix, theirs, ours, trees, with_deeds):
        for a, b in {**PLACED, **(DEEDS if with_deeds else {})}.items():
            # theirs leaves a part out where ours gives a share of no cases
            if at(theirs, a) is not None or plain(at(ours, b)) is not None:
                self.figure(prefix + a, at(theirs, a), at(ours, b))
        if not prefix:                             # where nothing is moved, a spur is not either
            for part in ("median", "p95"):
                self.number(f"clusters.spur_mm.{part}", at(theirs, f"clusters.spur_mm.{part}"), at(ours, f"clusters.spur_error_mm.{part}"))
        found = at(ours, "fruitlets")
        self.number(prefix + "detection.count.true", at(theirs, "detection.count.true"), found["right"] + found["missed"], 0)
        self.number(prefix + "detection.count.map", at(theirs, "detection.count.map"),
                    found["right"] + found["false_ones"] + found["not_considered"] + found["not_judged"], 0)
        for tree, count in (at(theirs, "detection.count.per_tree") or {}).items():
            if tree in trees:
                considered, in_map = trees[tree]
                self.number(f"{prefix}detection.count.{tree}.true", count["true"], considered, 0)
                self.number(f"{prefix}detection.count.{tree}.map", count["map"], in_map, 0)
        share = plain(at(ours, "trees.count_error_share"))
        if share is not None:
            self.number(prefix + "detection.count.mean_abs_error_share", at(theirs, "detection.count.mean_abs_error_share"), share)
        loads = {x["tree"]: x for x in at(ours, "decisions.loads") or []}
        for tree, load in (at(theirs, "decisions.load") or {}).items():
            row = loads.get(tree) or {}
            self.number(f"{prefix}decisions.load.{tree}.left", load["left"], row.get("left"))
            # theirs does not round a product of the policy down
            self.number(f"{prefix}decisions.load.{tree}.want", int(load["want"]), row.get("allowed"))
        if loads:
            self.number(prefix + "decisions.trees_where_bound_binds", at(theirs, "decisions.trees_where_bound_binds"),
                        sum(x["bound_holds"] for x in loads.values()))
        orders = at(theirs, "orders")
        if orders:
            aimed = at(ours, "orders.aimed_at_fruit")
            self.number(prefix + "orders.aimed_at_nothing.num", orders["aimed_at_nothing"]["num"], aimed["den"] - aimed["num"], 0)
            self.number(prefix + "orders.duplicates.num", orders["duplicates"]["num"], at(ours, "orders.repeated"), 0)
            self.number(prefix + "orders.seq_increases", float(orders["seq_increases"]), float(at(ours, "orders.out_of_sequence") == 0), 0)


def unmapped(theirs, prefix=""):
    """Figures of theirs that this file does not know."""
    known = WHOLE.keys() | PLACED.keys() | DEEDS.keys() | DIFFERENT.keys()
    for key, value in theirs.items():
        path = prefix + key
        if path in known:
            continue
        if isinstance(value, dict) and "num" not in value:
            yield from unmapped(value, path + ".")
        elif value is not None:
            yield path


def compare(theirs, ours, with_deeds=False):
    """`with_deeds`: also what orders do; for cases in which the two definitions of that come to the same."""
    c = Comparison()
    for a, b in WHOLE.items():
        c.number(a, at(theirs, a), at(ours, b))
    in_map = {place["id"]: place["map"] for place in at(ours, "counts.places") or [] if place["place"] == "tree"}
    rows = at(ours, "rows.trees") or []
    trees = {row["unit"]: (row["tally"]["fruit_considered"], in_map.get(row["unit"])) for row in rows if row["unit"] in in_map}
    if "detection" in theirs:
        c.placed("", theirs, ours["absolute"], trees, with_deeds)
    again = theirs.get("relocalised") or {}
    if "shift_mm_median" in again:
        c.number("shift_mm_median", again["shift_mm_median"], at(ours, "common_shift.identified_error_mm.median"))
        c.placed("relocalised.", again, ours["shift_removed"], trees, with_deeds)
    return c


def main(name, theirs_path, ours_path, *options):
    theirs, ours = (json.load(open(p)) for p in (theirs_path, ours_path))
    c = compare(theirs, ours, "--deeds" in options)
    unknown = list(unmapped(theirs)) + list(unmapped(theirs.get("relocalised") or {}))
    if "--list" in options:
        for row in c.rows:
            print("{:70} {!s:24} {!s:24} {:.1e}".format(*row[:4]))
    strict = [r for r in c.rows if r[4] <= TOLERANCE]
    greatest = max((r[3] for r in strict), default=0.0)
    print(f"{name}: {len(c.rows)} figures compared, {len(c.bad)} differ; greatest difference {greatest:.1e} "
          f"of the {len(strict)} that are held to {TOLERANCE:g}")
    for row in c.bad:
        print("  differs: {} theirs {} ours {}".format(*row[:3]))
    for path in unknown:
        print(f"  not known to this comparison: {path}")
    if "--deeds" not in options:
        for part, of in (("absolute", theirs), ("shift_removed", theirs.get("relocalised") or {})):
            pairs = [(a, plain(at(of, a)), plain(at(ours[part], b))) for a, b in DEEDS.items() if at(of, a)]
            apart = [f"{a} {t:.4f} / {o:.4f}" for a, t, o in pairs if t is not None and o is not None and abs(t - o) > TOLERANCE]
            if apart:
                print(f"  {part}, defined differently ({WHY_DEEDS}): " + ", ".join(apart))
    return 1 if c.bad or unknown or not c.rows else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
