"""Fits published data with scipy and compares with what feedproof says of the same files.

An independent program: scipy maximises the likelihood of its own laws numerically, with its own treatment of times that were cut
off. Tolerances: 1e-3 of a parameter (the search of scipy stops there), 1e-6 of a log likelihood; feedproof may not be below it.
"""
import csv
import json
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
from scipy import stats

DATA = Path(__file__).parent.parent / "data" / "times"
# File, column of times, further arguments, how to tell times that ended.
SETS = [
    ("bearings.csv", "turns", [], None),
    ("test-stopped.csv", "hours", ["--censored", "stopped"], ("stopped", "0")),
    ("intervals.csv", "hours", [], None),
    ("fleet.csv", "distance", ["--censored", "still_running"], ("still_running", "0")),
    ("mileage.csv", "distance", [], None),
    ("strikes.csv", "days", [], None),
    ("remissions.csv", "weeks", ["--ended", "ended"], ("ended", "1")),
    ("flies.csv", "days", ["--ended", "ended"], ("ended", "1")),
]


def natural(law, found):
    """The parameters of scipy's law in feedproof's terms."""
    if law == "exponential":
        return [found[1]]
    if law == "lognormal":
        return [math.log(found[2]), found[0]]
    return [found[0], found[2]]


LAWS = {
    "exponential": stats.expon,
    "weibull": stats.weibull_min,
    "lognormal": stats.lognorm,
    "gamma": stats.gamma,
}


def log_likelihood(law, parameters, ended, cut_off):
    return law.logpdf(ended, *parameters).sum() + law.logsf(cut_off, *parameters).sum()


def check(program, name, column, arguments, mark):
    rows = list(csv.DictReader((DATA / name).open()))
    times = np.array([float(row[column]) for row in rows])
    ended = np.array([mark is None or row[mark[0]] == mark[1] for row in rows])
    data = stats.CensoredData(uncensored=times[ended], right=times[~ended])
    command = [program, "fit", DATA / name, "--column", column, *arguments, "--bootstrap", "0", "--json"]
    result = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    assert (result["n"], result["n_ended"]) == (len(times), ended.sum()), (name, result["n"], result["n_ended"])
    assert len(result["laws"]) == 4, f"{name}: all laws are fitted"
    for fit in result["laws"]:
        law = LAWS[fit["law"]]
        found = law.fit(data, floc=0)
        best = log_likelihood(law, found, times[ended], times[~ended])
        what = f"{name} {fit['law']}"
        # Ours is evaluated by scipy's densities too, so that both are judged by the same likelihood.
        own = [p["value"] for p in fit["natural"]]
        theirs = {"exponential": lambda p: (0, p[0]), "weibull": lambda p: (p[0], 0, p[1]),
                  "lognormal": lambda p: (p[1], 0, math.exp(p[0])), "gamma": lambda p: (p[0], 0, p[1])}
        judged = log_likelihood(law, theirs[fit["law"]](own), times[ended], times[~ended])
        assert judged >= best - 1e-6, f"{what}: likelihood {judged}, scipy finds {best}"
        assert abs(judged - fit["log_likelihood"]) < 1e-6 * abs(best), f"{what}: {fit['log_likelihood']} is said, {judged} found"
        for mine, other in zip(own, natural(fit["law"], found)):
            assert abs(mine - other) <= 1e-3 * abs(other), f"{what}: {mine} for {other}"
        print(f"  {what}: {', '.join(f'{value:.6g}' for value in own)}, ln L {judged:.4f}")


for entry in SETS:
    check(sys.argv[1], *entry)
print("fits agree with scipy")
