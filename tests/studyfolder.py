"""Folders of tester studies, invented, with every table a study may have: one with names, one with hostile labels."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
from hostile import BROKEN, CLOSING, EMOJI, FORMULA, IMAGE, LONG, QUOTES, SCRIPT, TEX

PEOPLE = ("Wulfhilde", "Quirinius", "Zoë van X")
SHOPS = ("Kontor Zwei", "Haus Ypsilon", "Werk Drei")
NAMES = (*PEOPLE, *SHOPS)
EDGES = ("e1", "e2", "e3", "e4", "e5")


def write_named_study(place: Path) -> Path:
    """Write a study whose title, question, remarks and reasons name people and shops."""
    title = f"What the tester of {PEOPLE[0]} and {SHOPS[1]} is worth"
    plan = f"# lent by {PEOPLE[1]}\n{_plan(title, f'Is {PEOPLE[2].upper()} steady?', layout='crossed')}"
    twice = [6, EDGES[0], 1, PEOPLE[1], 151, ""]
    return _write(place / "named", plan, PEOPLE, SHOPS, EDGES, more=[twice, ["7 too", *twice[1:], "and", "more"]])


def write_hostile_study(place: Path) -> Path:
    """Write a study whose every label tries to be something else than a label."""
    plan = _plan(CLOSING + QUOTES, EMOJI + CLOSING, author=SCRIPT)
    wild = [900, "e6", 1, TEX, IMAGE, CLOSING]
    return _write(place / "hostile", plan, (SCRIPT, BROKEN, FORMULA), (IMAGE, LONG, TEX),
                  (QUOTES, EMOJI, CLOSING, FORMULA, LONG), more=[wild])  # fmt: skip


def _write(
    folder: Path, plan: str, people: Sequence[str], shops: Sequence[str], edges: Sequence[str],
    more: Iterable[Sequence[object]],
) -> Path:  # fmt: skip
    folder.mkdir()
    (folder / "tester.toml").write_text(plan, encoding="utf-8")
    rng = np.random.default_rng(20261125)
    cuts = [(edge, cut, who) for cut in (1, 2, 3) for edge in range(len(edges)) for who in range(len(people))]
    order = rng.permutation(len(cuts))
    tested = [
        [run + 10, edges[edge], cut, people[who], _near(rng, 140 + 15 * edge + 5 * who, 6), ""]
        for run, (edge, cut, who) in enumerate(cuts[at] for at in order)
    ]
    _table(folder, "readings", ("run", "edge", "cut", "operator", "reading", "note"), [*tested, *more])
    loads = [*((mass, "up") for mass in (100, 200, 300)), *((mass, "down") for mass in (200, 100))]
    hung = [
        [run, mass, way, 1 + (run - 1) // len(loads), people[-1], _near(rng, 1.01 * mass, 0.5)]
        for run, (mass, way) in enumerate(3 * loads, start=1)
    ]
    _table(folder, "masses", ("run", "mass_g", "direction", "series", "operator", "reading"), hung)
    round_trip = [
        [shop, batch, cut, _near(rng, 150 + 25 * level + 4 * place, 5)]
        for place, shop in enumerate(shops) for level, batch in enumerate(edges[:2]) for cut in (1, 2, 3)
    ]  # fmt: skip
    _table(folder, "shops", ("shop", "batch", "cut", "reading"), [*round_trip, [shops[0], edges[0], 1, 999]])
    return folder


def _near(rng: np.random.Generator, level: float, sd: float) -> str:
    return f"{rng.normal(level, sd):.1f}"


def _table(folder: Path, name: str, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        writer.writerows(rows)


def _plan(title: str, question: str, *, author: str = "", layout: str = "") -> str:
    kind = f'kind = "{layout}"\n' if layout else ""
    return f"""\
title = {json.dumps(title, ensure_ascii=False)}
question = {json.dumps(question, ensure_ascii=False)}
wanted = "10 %"
[layout]
{kind}seed = 7
[publishing]
author = {json.dumps(author, ensure_ascii=False)}
"""
