"""`tester.toml` to `TesterPlan`. Every mistake is told by file, line, key and mend, all of them at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, get_args

from sharpstats.errors import PlanError
from sharpstats.tester.contributions import read_contributions
from sharpstats.tester.plan import CheckMasses, Kind, StudyLayout, StudyPublishing, TesterPlan
from sharpstats.trial.claimvalues import Ground, margin_above_zero
from sharpstats.trial.item import Item, Key, read_table
from sharpstats.trial.plan import Operators, Scale
from sharpstats.trial.plankeys import PUBLISHING_KEYS, unknown_in_plan
from sharpstats.trial.toml import plan_text, section, toml_root
from sharpstats.trial.values import any_text, choice, force, number_between, table, text, whole_number
from sharpstats.units import FORCE_UNITS, ForceUnit

TESTER_FILE = "tester.toml"
PUBLISHED_STUDY = "tester-study"
"""Folder inside a published trial that holds the study that its plan names, wherever it lay before."""
NEW = "sharpstats new --tester DIR"

SECTIONS: dict[str, Any] = {"layout": {}, "masses": {}, "publishing": {}, "contribution": None}
"""The tables of a plan, and what stands for one that is left out."""

TOP_KEYS: tuple[Key, ...] = (
    Key(name="title", read=text, example='"What our tester is worth"', required=True),
    Key(name="question", read=any_text, example='"Can it tell two edges apart that differ by 10 %?"'),
    Key(name="unit", read=choice(FORCE_UNITS), example='"gf"'),
    Key(name="scale", read=choice(get_args(Scale)), example='"log"'),
    Key(name="level", read=number_between(0.5, 1), example="0.95"),
)
LAYOUT_KEYS: tuple[Key, ...] = (
    Key(name="kind", read=choice(get_args(Kind)), example='"crossed"'),
    Key(name="operators", read=whole_number(1), example="3"),
    Key(name="edges", read=whole_number(1), example="8"),
    Key(name="cuts", read=whole_number(1), example="4"),
    Key(name="seed", read=whole_number(0), example="20261125"),
)
SHOPS_KEY = Key(name="shops", read=choice(get_args(Operators)), example='"pseudonyms"')


def read_tester_plan(path: str | Path) -> TesterPlan:
    r"""Read the plan of a tester study.

    Parameters
    ----------
    path : str or Path
        The file `tester.toml`.

    Returns
    -------
    TesterPlan

    Raises
    ------
    PlanError
        If the file cannot be read or anything in it is wrong, with every mistake in `problems`.

    Examples
    --------
    >>> import tempfile
    >>> folder = tempfile.TemporaryDirectory()
    >>> path = Path(folder.name) / "tester.toml"
    >>> _ = path.write_text('title = "Our tester"\n[layout]\nkind = "nested"\n', encoding="utf-8")
    >>> read_tester_plan(path).layout.kind
    'nested'
    >>> folder.cleanup()
    """
    path = Path(path)
    return parse_tester_plan(plan_text(path, example=NEW), file=path.name)


def parse_tester_plan(text: str, *, file: str = TESTER_FILE) -> TesterPlan:
    r"""Make the plan from the text of `tester.toml`.

    Parameters
    ----------
    text : str
    file : str
        Name of the file, for messages.

    Returns
    -------
    TesterPlan

    Raises
    ------
    PlanError
        If anything is wrong, with every mistake in `problems`.

    Examples
    --------
    >>> parse_tester_plan('title = "Our tester"\n[layout]\nkind = "crosed"')
    Traceback (most recent call last):
    sharpstats.errors.PlanError: tester.toml, line 3, layout.kind: `kind` must be "crossed", ... Did you mean ...
    """
    root = toml_root(text, file)
    values = _values(root)
    if root.problems:
        raise PlanError.gather(sorted(root.problems, key=lambda problem: problem.line or 0))
    return TesterPlan(**values)


def _values(root: Item) -> dict[str, Any]:
    values = _top(root)
    unit: ForceUnit = values.get("unit", "gf")
    keys = {"layout": LAYOUT_KEYS, "masses": masses_keys(unit), "publishing": (*PUBLISHING_KEYS, SHOPS_KEY)}
    kinds = {"layout": StudyLayout, "masses": CheckMasses, "publishing": StudyPublishing}
    for name, kind in kinds.items():
        found = section(root, name, SECTIONS).attempt_whole(partial(_read_section, keys=keys[name]))
        values[name] = kind(**found or {})
    contributions = section(root, "contribution", SECTIONS).attempt(partial(read_contributions, unit=unit))
    return values | {"contributions": contributions or ()}


def _top(root: Item) -> dict[str, Any]:
    """Read the keys at the top of the file; `wanted` needs to know unit and scale."""
    unit, scale = (root.raw.get(name, default) for name, default in (("unit", "gf"), ("scale", "log")))
    ground = Ground(
        factors=None, layout=None, levels=None, unit=unit if unit in FORCE_UNITS else "gf",
        scale=scale if scale in get_args(Scale) else None,
    )  # fmt: skip
    example = f'"10 {ground.difference_unit}"'
    wanted = Key(name="wanted", read=partial(margin_above_zero, ground=ground), example=example)
    top = replace(root, raw={name: value for name, value in root.raw.items() if name not in SECTIONS})
    return _read_section(top, keys=(*TOP_KEYS, wanted), known=SECTIONS)


def masses_keys(unit: ForceUnit) -> tuple[Key, ...]:
    """Return the keys of `[masses]`."""
    return (
        Key(name="gravity", read=number_between(9.7, 9.9), example="9.81"),
        Key(name="uncertainty", read=partial(force, unit=unit), example=f'"0.1 {unit}"'),
    )


def _read_section(item: Item, *, keys: tuple[Key, ...], known: Iterable[str] = ()) -> dict[str, Any]:
    names = (*(key.name for key in keys), *known)
    return read_table(table(item), keys, unknown=partial(unknown_in_plan, known=names, homes=HOMES))


def _homes() -> dict[str, str]:
    top = "at the top of the file, above the first [table]"
    homes = dict.fromkeys(("wanted", *(key.name for key in TOP_KEYS)), top)
    tables = {"layout": LAYOUT_KEYS, "masses": masses_keys("gf"), "publishing": (*PUBLISHING_KEYS, SHOPS_KEY)}
    for name, keys in tables.items():
        homes |= {key.name: f"in [{name}]" for key in keys if key.name not in homes}
    return homes


HOMES: Mapping[str, str] = _homes()
"""Where each key belongs. In TOML a key written below a [table] falls into it: an easy mistake."""
