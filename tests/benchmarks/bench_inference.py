"""Speed of the inference, as ratios in one run: ``python tests/benchmarks/bench_inference.py``.

Raw responses in (indents), tests out; median of at least 5 rounds. R (lme4) is timed where Rscript is
installed. Never a timed test: machines differ, ratios less so.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

import quenchbook as qb
from quenchbook.fit.precision import Precision
from quenchbook.fit.reml import cross_products, reml
from quenchbook.fit.small_sample import SmallSample

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.benchmarks.timing import median_seconds

REFERENCE = Path(__file__).parents[1] / "reference" / "mixed_models"
ROUNDS = 5


def balanced_study() -> pd.DataFrame:
    rows = [
        (f"L{load:02d}", f"T{load % 4}", route, f"L{load:02d}{route}{k}", indent)
        for load in range(12)
        for route in "abcd"
        for k in range(2)
        for indent in range(5)
    ]
    return pd.DataFrame(rows, columns=["load", "temp", "route", "coupon", "indent"])


def responses(frame: pd.DataFrame, count: int, rng: np.random.Generator) -> np.ndarray:
    y = rng.normal(0, 0.6, (len(frame), count))
    for unit, sd in (("load", 0.4), ("coupon", 0.45)):
        codes = pd.factorize(frame[unit])[0]
        y += rng.normal(0, sd, (codes.max() + 1, count))[codes]
    return y


def stratum_batch(frame: pd.DataFrame, y: np.ndarray, fixed: str) -> Callable[[], object]:
    model = qb.mixed_model(frame.assign(y=y[:, 0]), "y", fixed=fixed, strata=["load", "coupon"])
    codes = pd.factorize(frame["coupon"])[0]
    order = np.argsort(codes, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(codes[order]) > 0])
    sizes = np.diff(np.r_[starts, len(codes)])

    def work() -> object:
        means = np.add.reduceat(y[order], starts, axis=0) / sizes[:, None]
        own = Precision(model.strata, means)
        return [own.test(term).p_value for term in model.strata.terms.names]

    return work


def reml_batch(frame: pd.DataFrame, y: np.ndarray, fixed: str) -> Callable[[], object]:
    model = qb.mixed_model(frame.assign(y=y[:, 0]), "y", fixed=fixed, strata=["load", "coupon"])
    matrix, codes = model.fixed_matrix(), model.strata.codes
    rows = [np.eye(matrix.shape[1])[place] for place in model.strata.slices.values()]
    groups = pd.factorize(frame["coupon"])[0]
    counts = np.bincount(groups)

    def work() -> object:
        sums = np.zeros((len(counts), y.shape[1]))
        np.add.at(sums, groups, y)
        means = sums / counts[:, None]
        within = np.einsum("nr,nr->r", y, y) - np.einsum("c,cr,cr->r", counts, means, means)
        data = cross_products(means, matrix, codes, readings=counts, within=within)
        own = SmallSample(reml(data))
        return [own.kenward_roger(row).p_value for row in rows]

    return work


def statsmodels_fit(frame: pd.DataFrame, y: np.ndarray, fixed: str) -> Callable[[], object]:
    from statsmodels.regression.mixed_linear_model import MixedLM

    data = frame.assign(y=y[:, 0])
    model = MixedLM.from_formula(
        f"y ~ {fixed}", data, groups="load", vc_formula={"coupon": "0 + C(coupon)"}, re_formula="1"
    )

    def work() -> object:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return model.fit(reml=True)

    return work


R_SCRIPT = """
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest); library(jsonlite)})
d <- read.csv(commandArgs(TRUE)[1]); for (n in c("load","temp","route","coupon")) d[[n]] <- factor(d[[n]])
options(contrasts=c("contr.sum","contr.poly"))
m <- lme4::lmer(y ~ temp*route + (1|load) + (1|coupon), d)
refit_time <- median(replicate(7, system.time(for (i in 1:10) lme4::refit(m, rnorm(nrow(d))))[["elapsed"]]/10))
k <- lmerTest::lmer(y ~ temp*route + (1|load) + (1|coupon), d)
kr_time <- median(replicate(3, system.time(anova(k, ddf="Kenward-Roger"))[["elapsed"]]))
cat(toJSON(list(refit=refit_time, kr=kr_time), auto_unbox=TRUE))
"""


def r_times(frame: pd.DataFrame, y: np.ndarray) -> dict[str, float] | None:
    if shutil.which("Rscript") is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        data, script = Path(folder) / "d.csv", Path(folder) / "bench.R"
        frame.assign(y=y[:, 0]).to_csv(data, index=False)
        script.write_text(R_SCRIPT)
        done = subprocess.run(
            ["Rscript", script, data], capture_output=True, text=True, check=False
        )
    return json.loads(done.stdout[done.stdout.index("{") :]) if done.returncode == 0 else None


def main() -> None:
    rng = np.random.default_rng(1)
    balanced = balanced_study()
    unbalanced = pd.read_csv(REFERENCE / "d_unbalanced.csv", keep_default_na=False)
    unbalanced = unbalanced[["load", "temp", "route", "coupon", "indent"]]
    fixed, many = "temp * route", 10_000
    for name, frame in (
        ("balanced, 96 coupons x 5", balanced),
        ("unbalanced, 98 coupons", unbalanced),
    ):
        y = responses(frame, many, rng)
        stratum = median_seconds(stratum_batch(frame, y, fixed))
        kenward_roger = median_seconds(reml_batch(frame, y[:, :500], fixed)) / 500
        theirs = median_seconds(statsmodels_fit(frame, y, fixed))
        print(f"{name}:")
        print(
            f"  stratum F, {many} studies, all tests: {stratum:.3f} s ({1e6 * stratum / many:.1f} us a study)"
        )
        print(f"  REML refit with 3 Kenward-Roger tests: {1e3 * kenward_roger:.2f} ms")
        print(f"  statsmodels MixedLM fit: {1e3 * theirs:.1f} ms")
        print(f"  ratio, stratum F against statsmodels: {theirs / (stratum / many):.0f}")
        print(f"  ratio, REML with Kenward-Roger against statsmodels: {theirs / kenward_roger:.1f}")
        r = r_times(frame, y)
        if r is None:
            print("  R is not here: no ratio")
        else:
            print(
                f"  R refit {1e3 * r['refit']:.1f} ms, with Kenward-Roger tests {1e3 * (r['refit'] + r['kr']):.0f} ms"
            )
            print(
                f"  ratio against R's refit without tests: {r['refit'] / kenward_roger:.1f}; with tests: {(r['refit'] + r['kr']) / kenward_roger:.0f}"
            )
    data = balanced.assign(y=responses(balanced, 1, rng)[:, 0])
    cold = median_seconds(
        lambda: qb.mixed_model(data, "y", fixed=fixed, strata=["load", "coupon"]).tests()
    )
    print(f"one fit with tests, 480 rows: {1e3 * cold:.1f} ms")
    scale()


def scale() -> None:
    import resource

    rng = np.random.default_rng(2)
    loads = np.repeat(np.arange(1000), 100)
    frame = pd.DataFrame(
        {
            "load": [f"L{n}" for n in loads],
            "temp": [f"T{n % 4}" for n in loads],
            "route": np.tile(list("abcd"), 25_000),
            "y": rng.normal(size=100_000) + rng.normal(0, 0.4, 1000)[loads],
        }
    )
    started = time.perf_counter()
    model = qb.mixed_model(frame, "y", fixed="temp * route", strata=["load"])
    model.tests(), model.variance_components
    seconds = time.perf_counter() - started
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"100,000 coupons in 1,000 loads: {seconds:.1f} s, {peak:.2f} GB at most")


if __name__ == "__main__":
    sys.exit(main())
