#!/usr/bin/env python3
"""Leg finding on simulated flights: pairspeed compared with the change-point package ruptures.

    pip install ruptures
    python3 benches/leg_finding.py [FLIGHTS]

A true leg counts as found if the overlap with a detected leg is more than 70 % of the shorter of the two and more than half of their union. Every other detected leg counts as wrong. ruptures gives
segments, not legs; segments of 5 s or more that are faster than 0.35 times the usual speed count as legs.
It is given two things that pairspeed is not: the penalty that scores best on the truth, and, for the second
method, the number of true legs.
"""

import csv
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

import numpy as np
import ruptures

DISPLAY_LAG_S = 0.7
STEP_S = 0.2
MIN_LEG_S = 5.0


def simulated(folder, flights):
    root = Path(__file__).resolve().parent.parent
    command = ["cargo", "run", "--quiet", "--example", "leg_series", "--", folder, str(flights)]
    subprocess.run(command, cwd=root, check=True)
    speeds, legs = defaultdict(list), defaultdict(lambda: defaultdict(list))
    with open(Path(folder) / "speeds.csv", newline="") as file:
        for row in csv.DictReader(file):
            speeds[row["flight"]].append((float(row["time_s"]), float(row["speed"])))
    with open(Path(folder) / "legs.csv", newline="") as file:
        for row in csv.DictReader(file):
            legs[row["flight"]][row["who"]].append((float(row["start_s"]), float(row["end_s"])))
    return speeds, legs


def on_grid(points):
    times, values = map(np.array, zip(*points))
    grid = np.arange(times[0], times[-1], STEP_S)
    return grid, np.interp(grid, times, values)


def matches(true, found):
    start, end = true[0] + DISPLAY_LAG_S, true[1] + DISPLAY_LAG_S
    common = min(end, found[1]) - max(start, found[0])
    either = max(end, found[1]) - min(start, found[0])
    return common > 0.7 * min(end - start, found[1] - found[0]) and common > 0.5 * either


def score(true, found):
    right = sum(any(matches(leg, stretch) for stretch in found) for leg in true)
    wrong = sum(not any(matches(leg, stretch) for leg in true) for stretch in found)
    return np.array([right, wrong, len(true)])


def stretches(grid, speed, ends):
    slowest = 0.35 * np.quantile(speed, 0.9)
    starts = [0, *ends[:-1]]
    return [
        (grid[start], grid[end - 1])
        for start, end in zip(starts, ends)
        if (end - start) * STEP_S >= MIN_LEG_S and np.median(speed[start:end]) > slowest
    ]


def report(name, total, seconds=None, flights=1):
    right, wrong, true = total
    taken = "" if seconds is None else f", {1000 * seconds / flights:.0f} ms a flight"
    print(f"{name:44} found {right:4} of {true:4} ({100 * right / true:.1f} %), wrong {wrong:4}{taken}")


def main():
    flights = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    with tempfile.TemporaryDirectory() as folder:
        speeds, legs = simulated(folder, flights)
    total = sum(score(of["true"], of["found"]) for of in legs.values())
    report("pairspeed", total)
    grids = {flight: on_grid(points) for flight, points in speeds.items()}

    for model in ("l2", "l1"):
        best = None
        for factor in (2, 5, 10, 20, 40, 80):
            total, seconds = np.zeros(3, int), 0.0
            for flight, (grid, speed) in grids.items():
                noise = np.median(np.abs(np.diff(speed))) + 0.3
                penalty = factor * (noise**2 if model == "l2" else noise) * np.log(len(speed))
                begin = time.perf_counter()
                search = ruptures.Pelt(model=model, min_size=10, jump=2).fit(speed)
                ends = search.predict(pen=penalty)
                seconds += time.perf_counter() - begin
                total += score(legs[flight]["true"], stretches(grid, speed, ends))
            if best is None or total[0] - total[1] > best[0][0] - best[0][1]:
                best = (total, seconds, factor)
        report(f"ruptures Pelt {model}, best penalty ({best[2]})", best[0], best[1], flights)

    total, seconds = np.zeros(3, int), 0.0
    for flight, (grid, speed) in grids.items():
        begin = time.perf_counter()
        search = ruptures.Binseg(model="l2", min_size=10, jump=2).fit(speed)
        ends = search.predict(n_bkps=2 * len(legs[flight]["true"]) + 4)
        seconds += time.perf_counter() - begin
        total += score(legs[flight]["true"], stretches(grid, speed, ends))
    report("ruptures Binseg l2, number of legs given", total, seconds, flights)


if __name__ == "__main__":
    main()
