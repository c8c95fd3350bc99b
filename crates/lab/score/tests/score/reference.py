"""Prints the reference values that `figures.rs` and `agreement.rs` hold.

    pip install numpy==2.4.6 scipy==1.17.1 scikit-learn==1.9.1 motmetrics==1.4.0
    python reference.py
"""
import motmetrics
import numpy
from scipy.stats import binomtest
from sklearn.metrics import adjusted_rand_score, homogeneity_completeness_v_measure

for num, den in ((0, 10), (5, 10), (9, 10), (10, 10), (45, 50), (80, 100), (15, 148), (81, 263)):
    interval = binomtest(num, den).proportion_ci(method="wilson")
    print(f"wilson {num}/{den}: {interval.low:.4f} {interval.high:.4f}")

print("quantiles", numpy.percentile([1, 2, 4, 8, 16], [50, 90, 95]))

for pair in ("0011 0011", "0011 1100", "0012 0011", "0011 0012", "0000 0123", "0011 0101", "000111 001122"):
    truth, predicted = map(list, pair.split())
    hcv = homogeneity_completeness_v_measure(truth, predicted)
    print(pair, f"ARI {adjusted_rand_score(truth, predicted):.4f}, h c v", *(f"{x:.4f}" for x in hcv))


def toy(name, frames):
    """frames: a list of (true names, claimed names, pairs of positions that overlap)."""
    accumulator = motmetrics.MOTAccumulator(auto_id=True)
    for truth, claimed, overlaps in frames:
        distance = numpy.full((len(truth), len(claimed)), numpy.nan)
        for row, column in overlaps:
            distance[row, column] = 0.0
        accumulator.update(truth, claimed, distance)
    values = motmetrics.metrics.create().compute(accumulator, metrics=["mota", "idf1", "num_switches"])
    print(name, values.values.tolist()[0])


toy("one object changes name", [([0], [int(f >= 3)], [(0, 0)]) for f in range(6)])
toy("two swap halfway", [([0, 1], [int(f >= 2), int(f < 2)], [(0, 0), (1, 1)]) for f in range(4)])
toy("one miss, one false", [([0], [0], [(0, 0)]), ([0], [0], [(0, 0)]), ([0], [1], []), ([0], [0], [(0, 0)])])
