"""The validity study: how often claims err, intervals cover and true claims are shown, over the whole grid.

    python tests/validity/study.py              # all of it, some twenty minutes; writes RESULTS.md and results/
    python tests/validity/study.py --quick      # a hundredth of the trials, only shown
    python tests/validity/study.py --only family
"""

from __future__ import annotations

import os
import sys
from argparse import ArgumentParser
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
if __name__ == "__main__":
    sys.path[:0] = [str(HERE.parents[1]), str(HERE.parent)]
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the settings themselves are shared out among the cores

import pandas as pd  # noqa: E402
from validity import differences, family, grid, page, pictures, reaches, steadiness  # noqa: E402
from validity.layouts import ONCE, TWICE, Layout  # noqa: E402

TRIALS = 20_000
FAMILY_TRIALS = GAP_TRIALS = 10_000
DRAWN_TRIALS, STEADIER_TRIALS = 2_000, 1_000
"""Trials a setting where each takes milliseconds: a bound is drawn, or spreads are fitted."""
QUICK = 100
RESULTS = HERE / "results"
Job = tuple[Callable[..., dict[str, float]], tuple[Any, ...], dict[str, Any]]
"""What measures a setting, with what it is given, and what is told of the setting."""


def difference_jobs(settings: Sequence[grid.Setting], trials: int) -> list[Job]:
    """Claims about a difference or a gap."""
    return [
        (differences.measure, (setting, trials), {
            "layout": setting.layout.kind, "edges": setting.layout.edges, "lost": setting.layout.lost,
            "spread": setting.spread, "shape": setting.shape, "scale": setting.scale, "trials": trials,
        })
        for setting in settings
    ]  # fmt: skip


def reaches_jobs(trials: int, drawn_trials: int) -> list[Job]:
    """Claims that a share of edges reads below a level."""
    jobs: list[Job] = []
    for method, edges in reaches.settings():
        count = drawn_trials if method == reaches.DRAWN else trials
        jobs.append((reaches.measure, (method, edges, count), {
            "method": method, "edges": edges.edges, "a_blade": edges.a_blade, "spread": edges.spread,
            "shape": edges.shape, "share": edges.share, "apart": edges.apart, "lost": edges.lost, "trials": count,
        }))  # fmt: skip
    return jobs


def steadier_jobs(trials: int) -> list[Job]:
    """Claims about how far edges spread."""
    return [
        (steadiness.measure, (setting, trials), {
            "layout": setting.layout.kind, "edges": setting.layout.edges, "lost": setting.layout.lost,
            "spread": setting.spread, "shape": setting.shape, "ratio": setting.ratio, "trials": trials,
        })
        for setting in steadiness.settings()
    ]  # fmt: skip


def family_jobs(trials: int) -> list[Job]:
    """Three claims under Holm."""
    layouts = [Layout(ONCE, 6, media=3), Layout(TWICE, 12, lost=True, media=3), Layout(TWICE, 24, media=3)]
    return [
        (family.measure, (layout, spread, trials), {
            "layout": layout.kind, "edges": layout.edges, "lost": layout.lost, "spread": spread, "trials": trials,
        })
        for layout in layouts for spread in (grid.ALIKE, "edges most")
    ]  # fmt: skip


def measured(job: Job) -> dict[str, Any]:
    """One row of a table of results."""
    measure, given, told = job
    return {**told, **measure(*given)}


def run(jobs: Iterable[Job], workers: int) -> pd.DataFrame:
    """Measure all settings, in their order."""
    with ProcessPoolExecutor(workers) as pool:
        return pd.DataFrame(list(pool.map(measured, jobs, chunksize=4)))


def jobs_of(part: int = 1) -> dict[str, list[Job]]:
    """Every table of results, with so small a part of the trials."""
    return {
        "differences": difference_jobs(grid.settings(), TRIALS // part),
        "gaps": difference_jobs(grid.gaps(), GAP_TRIALS // part),
        "reaches": reaches_jobs(TRIALS // part, DRAWN_TRIALS // part),
        "steadier": steadier_jobs(STEADIER_TRIALS // part),
        "family": family_jobs(FAMILY_TRIALS // part),
    }


def main() -> None:
    """Run the study from the command line."""
    parser = ArgumentParser(description="How often claims err, intervals cover and true claims are shown.")
    parser.add_argument("--quick", action="store_true", help="a hundredth of the trials; nothing is written")
    parser.add_argument("--only", choices=list(jobs_of()), help="one table anew, the others as they are stored")
    parser.add_argument("--workers", type=int, default=os.cpu_count(), help="processes at once")
    given = parser.parse_args()
    jobs = {name: group for name, group in jobs_of(QUICK if given.quick else 1).items() if given.only in (None, name)}
    tables = {**page.stored(RESULTS), **{name: run(group, given.workers) for name, group in jobs.items()}}
    if not given.quick:
        page.store(tables, RESULTS)
        write()
    print(page.page(tables))


def write() -> None:
    """Write page and pictures from the stored tables, so that they tell the digits that are stored."""
    tables = page.stored(RESULTS)
    pictures.draw_all(tables, RESULTS)
    (HERE / "RESULTS.md").write_text(page.page(tables), encoding="utf-8")


if __name__ == "__main__":
    main()
