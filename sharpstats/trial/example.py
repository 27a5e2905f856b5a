"""An example trial to edit: plan, run sheet and media, written into a new folder."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from importlib.resources import files
from io import StringIO
from pathlib import Path
from string import Template

import numpy as np

from sharpstats.columns import READINGS
from sharpstats.errors import Problem, TrialError

MEDIA = ("paper on glass", "water stone", "oilstone")
BLADES = ("blade 1", "blade 2", "blade 3", "blade 4")
CONTROL = {"blade": "blade 5", "medium": "oilstone", "role": "control"}
CUTS = 3

# What the example does not vary, or has no use for; anybody may add the columns.
_LEFT_OUT = frozenset({"steel", "strokes", "pressure_n", "block"})


def write_example(folder: str | Path, *, seed: int | None = None) -> tuple[Path, ...]:
    """Write a filled-in plan, an empty run sheet and a list of media into a folder.

    Nothing is overwritten. The run sheet is `readings.csv` with `reading` still empty: the edges
    of each blade in random order, and a control edge at the start, in the middle and at the end.

    Parameters
    ----------
    folder : str or Path
        Made if it does not exist.
    seed : int, optional
        Seed of the random order, at least 0; a fresh one if left out. The plan names it.

    Returns
    -------
    tuple of Path
        The files written.

    Raises
    ------
    TrialError
        If one of the files exists already, or the folder cannot be written to.

    Examples
    --------
    >>> import tempfile
    >>> folder = tempfile.TemporaryDirectory()
    >>> [path.name for path in write_example(folder.name, seed=1)]
    ['trial.toml', 'readings.csv', 'media.csv']
    >>> folder.cleanup()
    """
    drawn = int(np.random.default_rng().integers(1, 10**6)) if seed is None else seed
    texts = {
        "trial.toml": Template(_packaged("example.toml")).substitute(seed=drawn),
        "readings.csv": run_sheet(drawn),
        "media.csv": _packaged("example.media.csv"),
    }
    return write_new(folder, texts)


def run_sheet(seed: int) -> str:
    """Return the example's run sheet as CSV text: one row for each cut, readings empty.

    Examples
    --------
    >>> run_sheet(1).splitlines()[1]
    '1,e01,1,oilstone,blade 5,,,,,,,,,control,,,,,'
    """
    text = StringIO()
    names = [column.name for column in READINGS if column.name not in _LEFT_OUT]
    writer = csv.DictWriter(text, names, lineterminator="\n")
    writer.writeheader()
    for run, edge in enumerate(_edges(np.random.default_rng(seed)), start=1):
        for cut in range(1, CUTS + 1):
            writer.writerow({"run": run, "edge": f"e{run:02d}", "cut": cut, **edge})
    return text.getvalue()


def _edges(rng: np.random.Generator) -> list[dict[str, str]]:
    """Order the edges: blades at random, media at random within each, control edges between."""
    edges = [CONTROL]
    for place, blade in enumerate(rng.permutation(BLADES)):
        media = rng.permutation(MEDIA)
        edges += [{"blade": str(blade), "medium": str(medium), "role": "trial"} for medium in media]
        if place in (1, 3):  # half way, and after the last blade
            edges.append(CONTROL)
    return edges


def _packaged(name: str) -> str:
    return (files("sharpstats.trial") / name).read_text(encoding="utf-8")


def write_new(folder: str | Path, texts: Mapping[str, str]) -> tuple[Path, ...]:
    """Write files into a folder, all of them or none; nothing is overwritten.

    Parameters
    ----------
    folder : str or Path
        Made if it does not exist.
    texts : mapping of str to str
        What goes into each file.

    Raises
    ------
    TrialError
        If one of the files exists already, or the folder cannot be written to.
    """
    target = Path(folder)
    _refuse_to_overwrite(target, tuple(texts))
    try:
        return _write(target, texts)
    except OSError as error:
        reason = error.strerror or error
        message = f"{target}: the example cannot be written here ({reason}). Choose another folder."
        raise TrialError(message) from error


def _refuse_to_overwrite(folder: Path, names: tuple[str, ...]) -> None:
    there = [name for name in names if (folder / name).exists()]
    if there:
        raise TrialError.gather(
            Problem(
                code="file-exists",
                says="This file exists already and is not overwritten; nothing was written.",
                mend="Choose another folder, or move the file away.",
                file=str(folder / name),
            )
            for name in there
        )


def _write(folder: Path, texts: Mapping[str, str]) -> tuple[Path, ...]:
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        with (folder / name).open("x", encoding="utf-8", newline="") as file:
            file.write(text)
    return tuple(folder / name for name in texts)
