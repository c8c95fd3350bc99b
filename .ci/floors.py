"""A short table of scores, and exit code 1 where one is under its floor: python floors.py NAME.json ..."""
import json
import pathlib
import sys

FLOORS = {"perfect": 0.99, "close": 0.93, "platform": 0.80, "hard": 0.35}  # F1 of fruitlets, after relocalising


def figure(value, digits=3):
    if isinstance(value, dict):
        value = value.get("value")
    return "-" if value is None else f"{value:.{digits}f}"


def row(name, scores):
    s = scores.get("relocalised", {})
    detection = s.get("detection", {})
    return [
        name,
        figure(detection.get("f1")),
        figure(detection.get("position_mm", {}).get("median"), 2),
        figure(detection.get("diameter_mm", {}).get("median_abs"), 2),
        figure(s.get("clusters", {}).get("exact")),
        figure(s.get("orders", {}).get("good")),
        figure(s.get("clusters_right")),
    ]


def main(paths):
    under = []
    print(f"{'run':20} {'F1':>6} {'mm':>6} {'dia mm':>6} {'exact':>6} {'orders':>6} {'right':>6}")
    for path in map(pathlib.Path, paths):
        cells = row(path.stem, json.loads(path.read_text()))
        print(f"{cells[0]:20} " + " ".join(f"{c:>6}" for c in cells[1:]))
        floor = FLOORS.get(path.stem)
        if floor is not None and (cells[1] == "-" or float(cells[1]) < floor):
            under.append(f"{path.stem}: F1 {cells[1]}, floor {floor}")
    missing = set(FLOORS) - {pathlib.Path(p).stem for p in paths}
    under += [f"{name}: not scored" for name in sorted(missing)]
    print(*under, sep="\n")
    return 1 if under else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
