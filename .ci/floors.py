"""A short table of scores, and exit code 1 where one is under its floor: python floors.py NAME.json ..."""
import json
import pathlib
import sys

FLOORS = {  # after relocalising: run -> column -> least value
    "perfect": {"F1": 1.0, "exact": 1.0, "limb": 0.97, "tree": 1.0, "axis": 0.95, "orders": 0.98, "right": 0.90},
    "close": {"F1": 0.93},
    "platform": {"F1": 0.80},
    "hard": {"F1": 0.35},
}
COLUMNS = {
    "F1": ("detection", "f1"),
    "mm": ("detection", "position_mm", "median"),
    "dia mm": ("detection", "diameter_mm", "median_abs"),
    "exact": ("clusters", "exact", "value"),
    "limb": ("clusters", "limb", "value"),
    "tree": ("clusters", "tree", "value"),
    "axis": ("axes", "within_30_deg_of_all_matched", "value"),
    "orders": ("orders", "good", "value"),
    "right": ("clusters_right", "value"),
}


def value(scores, path):
    for key in path:
        scores = scores.get(key) if isinstance(scores, dict) else None
    return scores


def main(paths):
    under = []
    print(f"{'run':20} " + " ".join(f"{c:>7}" for c in COLUMNS))
    for path in map(pathlib.Path, paths):
        scores = json.loads(path.read_text()).get("relocalised", {})
        row = {column: value(scores, at) for column, at in COLUMNS.items()}
        print(f"{path.stem:20} " + " ".join(f"{'-' if v is None else format(v, '.3f'):>7}" for v in row.values()))
        for column, floor in FLOORS.get(path.stem, {}).items():
            if row[column] is None or row[column] < floor:
                under.append(f"{path.stem}: {column} {row[column]}, floor {floor}")
    missing = set(FLOORS) - {pathlib.Path(p).stem for p in paths}
    under += [f"{name}: not scored" for name in sorted(missing)]
    print(*under, sep="\n")
    return 1 if under else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
