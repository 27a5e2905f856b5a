"""Make R's results anew on a Debian machine and hold every number against the stored ones.

    python tests/reference/regenerate.py                     # rerun all scripts and compare
    python tests/reference/regenerate.py lmm_oats            # only these
    python tests/reference/regenerate.py --install           # as root: install Debian's R packages first
    python tests/reference/regenerate.py --write lmm_oats    # store the new results

All of it takes about two minutes, in a folder of its own: nothing here changes unless `--write` is given.
"""

from __future__ import annotations

import argparse
import json
import math
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

FOLDER = Path(__file__).parent / "r"
PACKAGES = (
    "r-base-core", "r-cran-lme4", "r-cran-lmertest", "r-cran-pbkrtest", "r-cran-emmeans", "r-cran-mvtnorm",
    "r-cran-car", "r-cran-nlme", "r-cran-survival", "r-cran-jsonlite",
)  # fmt: skip
DIGITS = {
    r"^versions": None,  # told, not compared
    r"_max_differences|largest_relative_difference|survreg_": None,  # measures of rounding, near zero
    r"qmc": 2,  # quasi-Monte Carlo
    r"profile_ci_lme4_confint": 4,  # interpolated by lme4
    r"^satterthwaite/|^emmeans_satterthwaite": 6,  # lmerTest differentiates numerically
    r"^nlme/": 5,  # a general optimiser's stopping rule
    r"^profile_ci": 7,  # re-optimised at every step
    r"": 9,
}
"""Digits that a number must keep, by where it stands in its file; the first pattern that is found counts."""


def cases() -> list[str]:
    """Names of the stored cases."""
    return sorted(path.stem for path in FOLDER.glob("*.json"))


def digits_asked(path: str) -> int | None:
    """Digits that a number must keep; None where it is not compared."""
    return next(digits for pattern, digits in DIGITS.items() if re.search(pattern, path))


def flat(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """All texts and numbers of a file, with the way to each."""
    if isinstance(value, dict | list):
        for key, part in value.items() if isinstance(value, dict) else enumerate(value):
            yield from flat(part, f"{path}/{key}".lstrip("/"))
    else:
        yield path, value


def digits_kept(old: Any, new: Any) -> float:
    """Digits that agree, at most 16; differences below 1e-13 count as none. Texts agree wholly or not at all."""
    numbers = all(isinstance(value, int | float) and not isinstance(value, bool) for value in (old, new))
    if old == new:
        return 16.0
    if not numbers:
        return 0.0
    error = max(abs(old - new) - 1e-13, 0.0) / max(abs(old), 1e-300)
    return 16.0 if error == 0 else max(-math.log10(error), 0.0)


def compare(old: dict[str, Any], new: dict[str, Any]) -> tuple[dict[str, float], list[str]]:
    """Digits kept at every place that is compared, and what falls short in words."""
    before, after = dict(flat(old)), dict(flat(new))
    short = [f"{path} is only in one of the two" for path in sorted(before.keys() ^ after.keys())]
    kept: dict[str, float] = {}
    for path in before.keys() & after.keys():
        asked = digits_asked(path)
        if asked is not None:
            kept[path] = digits_kept(before[path], after[path])
            if kept[path] < asked:
                short.append(f"{path}: {before[path]} became {after[path]} ({kept[path]:.1f} digits, {asked} asked)")
    return kept, short


def run_r(folder: Path, script: str) -> None:
    """Run one script where it finds its data; what R says comes up only if it fails."""
    done = subprocess.run(["Rscript", script], cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode:
        sys.exit(f"{script} failed:\n{done.stdout}{done.stderr}")


def check_data(folder: Path) -> list[str]:
    """Write the data anew from their seeds and packages; names of files that are not the same byte for byte."""
    run_r(folder, "make_data.R")
    stored = sorted(FOLDER.glob("*.csv"))
    return [path.name for path in stored if (folder / path.name).read_bytes() != path.read_bytes()]


def rerun(case: str, folder: Path) -> bool:
    """Run a case and tell what came of it; whether all numbers kept their digits."""
    stored, made = FOLDER / f"{case}.json", folder / f"{case}.json"
    made.unlink(missing_ok=True)
    run_r(folder, f"{case}.R")
    new = json.loads(made.read_text(encoding="utf-8"))
    if not stored.exists():
        print(f"{case:16} new")
        return True
    kept, short = compare(json.loads(stored.read_text(encoding="utf-8")), new)
    worst = min(kept, key=lambda path: kept[path] - (digits_asked(path) or 0))
    least = f"{kept[worst]:.1f} digits of {digits_asked(worst)} asked, at {worst}"
    print(f"{case:16} {len(kept):5} values, {'all the same' if min(kept.values()) == 16 else least}")
    for line in short:
        print(f"    {line}")
    return not short


def main(arguments: list[str]) -> int:
    """Run what was asked for; 1 if a number did not keep its digits."""
    parser = argparse.ArgumentParser(description="Make R's results anew and compare them with the stored ones.")
    parser.add_argument("cases", nargs="*", help="names of cases; left out: all")
    parser.add_argument("--install", action="store_true", help="install Debian's R packages first (as root)")
    parser.add_argument("--write", action="store_true", help="store the new results")
    asked = parser.parse_args(arguments)
    if asked.install:
        subprocess.run(["apt-get", "install", "-y", "--no-install-recommends", *PACKAGES], check=True)
    if shutil.which("Rscript") is None:
        sys.exit("R is not here. On Debian, as root: python tests/reference/regenerate.py --install")
    with TemporaryDirectory() as made:
        folder = Path(made) / "r"
        shutil.copytree(FOLDER, folder)
        differ = check_data(folder)
        print(f"data: {', '.join(differ) if differ else 'all the same'}")
        good = [rerun(case, folder) for case in asked.cases or cases()]
        if asked.write:
            for case in asked.cases or cases():
                shutil.copy(folder / f"{case}.json", FOLDER)
    return 0 if all(good) and not differ else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
