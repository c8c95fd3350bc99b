"""Prints the true orchard that a truth file holds as an extra, and ends with 1 where it holds none: python true_orchard.py TRUTH.json.gz"""
import gzip
import json
import sys

with gzip.open(sys.argv[1], "rt") as file:
    orchard = json.load(file).get("x_orchard")
if orchard is None:
    sys.exit(1)
json.dump(orchard, sys.stdout)
