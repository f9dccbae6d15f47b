"""How long does a REML fit of a clone trial take, against lme4?

value ~ site + (site:block) + (clone) + (clone:site) + (plot), simulated with a fixed seed: S 6 sites × 6 blocks × 40
clones × 4 trees a plot, M 10 × 10 × 150 × 4, L 20 × 10 × 400 × 4, 5 % of the trees missing; and lme4's open data set
InstEval, y ~ 1 + (s) + (d) + (dept:service), where R has it. Each fit runs in a process of its own: wall seconds of
the fit (the smallest of three runs, reading of the file excluded), the largest memory, and −2 log restricted
likelihood. Our fit includes the prediction error variance of every level, lme4's leaves it out. lme4 runs by default
and with its faster settings (nloptwrap, derivatives not computed), once each; where Rscript or lme4 is missing, its
columns stay empty. `python benchmarks/reml.py S M` takes only those sizes.
"""

import json
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import numpy as np
import pandas as pd

from reports.calc.mixed_terms import MixedModel
from reports.calc.reml_fit import fit_mixed_model

SIZES = {"S": (6, 6, 40, 4), "M": (10, 10, 150, 4), "L": (20, 10, 400, 4)}
TRIAL = MixedModel(
    "value", fixed=("site",), random=("site:block", "clone", "clone:site", "plot"), ranked="clone"
)
LECTURES = MixedModel("y", random=("s", "d", "dept:service"))
RUNS = 3
SEED = 7
R_FIT = """
suppressMessages(library(lme4)); args <- commandArgs(TRUE)
d <- read.csv(args[1], stringsAsFactors = TRUE); for (n in c("s", "d", "dept", "service"))
  if (n %in% names(d)) d[[n]] <- factor(d[[n]])
f <- if ("y" %in% names(d)) y ~ 1 + (1|s) + (1|d) + (1|dept:service) else
  value ~ site + (1|site:block) + (1|clone) + (1|clone:site) + (1|plot)
control <- if (args[2] == "fast") lmerControl(calc.derivs = FALSE, optimizer = "nloptwrap") else lmerControl()
t <- system.time(m <- suppressMessages(lmer(f, d, REML = TRUE, control = control)))[["elapsed"]]
cat(sprintf("%.4f %.6f", t, REMLcrit(m)))
"""


def simulate(sites: int, blocks: int, clones: int, trees: int, seed: int = SEED) -> pd.DataFrame:
    """A trial with variances clone 1.1, clone × site 0.5, block 0.3, plot 0.4, residual 2.6."""
    rng = np.random.default_rng(seed)
    site, block, clone, _ = (a.ravel() for a in np.indices((sites, blocks, clones, trees)))
    plot = (site * blocks + block) * clones + clone
    value = 10 + 0.8 * site + rng.normal(0, 1.1**0.5, clones)[clone]
    value += rng.normal(0, 0.5**0.5, (clones, sites))[clone, site]
    value += rng.normal(0, 0.3**0.5, (sites, blocks))[site, block]
    value += rng.normal(0, 0.4**0.5, plot.max() + 1)[plot] + rng.normal(0, 2.6**0.5, len(plot))
    names = {"site": ("S", site), "block": ("B", block), "clone": ("C", clone), "plot": ("P", plot)}
    frame = pd.DataFrame({n: np.char.add(p, v.astype(str)) for n, (p, v) in names.items()})
    return frame.assign(value=value.round(4))[rng.random(len(value)) > 0.05].reset_index(drop=True)


def one_fit(path: Path) -> dict[str, Any]:
    """Our fit of one file, three times; for the process of its own."""
    frame = pd.read_csv(path)
    model = LECTURES if "y" in frame.columns else TRIAL
    before = _memory_mb()
    seconds = []
    for _ in range(RUNS):
        began = time.perf_counter()
        result = fit_mixed_model(frame, model)
        seconds.append(time.perf_counter() - began)
    return {
        "n": result.n,
        "seconds": min(seconds),
        "first": seconds[0],
        "memory_mb": _memory_mb(),
        "memory_before_mb": before,
        "criterion": result.reml_criterion,
        "steps": result.iterations,
        "converged": result.converged,
    }


def lme4_fit(path: Path, setting: str) -> tuple[float, float] | None:
    """Seconds and criterion of lme4, or None where it is not to be had."""
    if not shutil.which("Rscript"):
        return None
    done = subprocess.run(["Rscript", "-e", R_FIT, str(path), setting], capture_output=True, text=True)
    if done.returncode:
        print(f"  lme4: {done.stderr.strip()[-200:]}")
        return None
    seconds, criterion = done.stdout.split()[-2:]
    return float(seconds), float(criterion)


def export_lectures(path: Path) -> bool:
    """InstEval from R, if R has lme4."""
    if not shutil.which("Rscript"):
        return False
    script = (
        'data("InstEval", package = "lme4"); write.csv(InstEval, commandArgs(TRUE)[1], row.names = FALSE)'
    )
    return subprocess.run(["Rscript", "-e", script, str(path)], capture_output=True).returncode == 0


def compare(name: str, path: Path) -> None:
    done = subprocess.run(
        [sys.executable, __file__, "--one", str(path)], capture_output=True, text=True, check=True
    )
    ours = json.loads(done.stdout)
    print(
        f"{name:9} n {ours['n']:7d}  ours {ours['seconds']:7.3f} s (first {ours['first']:.3f}, {ours['steps']} steps),"
        f" {ours['memory_mb']:.0f} MB (of them {ours['memory_before_mb']:.0f} before the fit),"
        f" criterion {ours['criterion']:.6f}{'' if ours['converged'] else ', NOT CONVERGED'}"
    )
    for setting in ("default", "fast"):
        theirs = lme4_fit(path, setting)
        if theirs:
            print(
                f"          lme4 {setting:8} {theirs[0]:8.3f} s, {theirs[0] / ours['seconds']:6.1f} times as long,"
                f" criterion {theirs[1]:.6f} ({theirs[1] - ours['criterion']:+.1e})"
            )


def _memory_mb() -> float:
    """Largest memory of this process since it was started (getrusage would pass on its parent's)."""
    line = next(x for x in Path("/proc/self/status").read_text().splitlines() if x.startswith("VmHWM"))
    return int(line.split()[1]) / 1024


def main(names: list[str]) -> None:
    if not shutil.which("Rscript"):
        print("Rscript is not on this machine: our fits only")
    with tempfile.TemporaryDirectory() as folder:
        for name in names or [*SIZES, "InstEval"]:
            path = Path(folder) / f"{name}.csv"
            if name in SIZES:
                simulate(*SIZES[name]).to_csv(path, index=False)
            elif not export_lectures(path):
                print(f"{name}: needs R with lme4")
                continue
            compare(name, path)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(json.dumps(one_fit(Path(sys.argv[2]))))
    else:
        main(sys.argv[1:])
