"""Reading the plan: every mistake with its code, line, key and words; nothing but a PlanError ever."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sharpstats.errors import PlanError, Problem
from sharpstats.trial.claimkeys import KINDS, claim_keys, keys_of
from sharpstats.trial.claimvalues import Ground
from sharpstats.trial.item import Key
from sharpstats.trial.plan import (
    CLAIM_KINDS,
    DEFAULT_LEVELS,
    Claim,
    Gap,
    Keener,
    Layout,
    Level,
    NoWorse,
    Plan,
    Publishing,
    Reaches,
    Same,
    Steadier,
)
from sharpstats.trial.plankeys import PUBLISHING_KEYS, SIMPLE_KEYS, layout_keys
from sharpstats.trial.toml import parse_plan, plan_text, read_plan
from sharpstats.units import NEWTONS_PER_GF, Quantity, Unit

GOOD = """\
title = "Does slate reach the plate?"
question = "For chisels"
unit = "gf"
scale = "log"
alpha = 0.05
family = "holm"
readings = ["readings.csv"]

[factors]
medium = ["lapping film", "oilstone", "diamond plate", "roofing slate"]
steel = ["plain carbon", "stainless"]
strop = ["yes", "no"]

[layout]
blocks = ["blade"]
interactions = [["medium", "steel"]]
edges_per_cell = 2
cuts = 5
seed = 20260925

[levels]
"fine work" = "150 gf"

[publishing]
operators = "pseudonyms"
author = ""
license = "CC-BY-4.0"
invented = true

[[claim]]
id = "slate-as-plate"
says = "Roofing slate reaches the same edge as a fine diamond plate"
kind = "same"
medium = "roofing slate"
than = "diamond plate"
margin = "15 %"
where = { steel = "plain carbon" }
primary = true

[[claim]]
id = "film-no-worse"
says = "Lapping film is no duller than the oilstone"
kind = "no worse"
medium = "lapping film"
than = "oilstone"
margin = "10 %"

[[claim]]
id = "plate-keener"
says = "The plate is keener than slate"
kind = "keener"
medium = "diamond plate"
than = "roofing slate"

[[claim]]
id = "film-fine"
says = "Film reaches fine work"
kind = "reaches"
medium = "lapping film"
level = "fine work"
share = "90 %"
primary = false
"""


def problems_of(text: str, folder: Path | None = None) -> tuple[Problem, ...]:
    with pytest.raises(PlanError) as caught:
        parse_plan(text, folder=folder)
    assert str(caught.value) == "\n".join(str(problem) for problem in caught.value.problems)
    return caught.value.problems


def the_problem_of(text: str) -> Problem:
    [problem] = problems_of(text)
    return problem


def changed(old: str, new: str) -> str:
    assert GOOD.count(old) == 1, f"{old!r} must stand once in the good plan"
    return GOOD.replace(old, new)


def line_of(text: str, row: str) -> int:
    return text.split("\n").index(row) + 1


def test_reads_a_whole_plan() -> None:
    assert parse_plan(GOOD) == Plan(
        title="Does slate reach the plate?",
        question="For chisels",
        factors={
            "medium": ("lapping film", "oilstone", "diamond plate", "roofing slate"),
            "steel": ("plain carbon", "stainless"),
            "strop": ("yes", "no"),
        },
        layout=Layout(
            blocks=("blade",), interactions=(("medium", "steel"),), edges_per_cell=2, cuts=5, seed=20260925
        ),
        levels=(Level(name="fine work", reading=Quantity(150.0, "gf")),),
        claims=(
            Same(
                id="slate-as-plate",
                says="Roofing slate reaches the same edge as a fine diamond plate",
                medium="roofing slate",
                than="diamond plate",
                margin=Quantity(15.0, "%"),
                where={"steel": "plain carbon"},
            ),
            NoWorse(
                id="film-no-worse",
                says="Lapping film is no duller than the oilstone",
                medium="lapping film",
                than="oilstone",
                margin=Quantity(10.0, "%"),
            ),
            Keener(
                id="plate-keener",
                says="The plate is keener than slate",
                medium="diamond plate",
                than="roofing slate",
                by=Quantity(0.0, "%"),
            ),
            Reaches(
                id="film-fine",
                says="Film reaches fine work",
                medium="lapping film",
                level=Level(name="fine work", reading=Quantity(150.0, "gf")),
                share=0.9,
                primary=False,
            ),
        ),
        files=("readings.csv",),
        publishing=Publishing(invented=True),
    )


def test_claims_know_their_line() -> None:
    lines = [claim.line for claim in parse_plan(GOOD).claims]
    assert lines == [number for number, row in enumerate(GOOD.split("\n"), start=1) if row == "[[claim]]"]


def test_what_is_left_out_has_a_default() -> None:
    plan = parse_plan('title = "A or B?"\n[factors]\nmedium = ["A", "B"]\nsteel = ["x", "y"]')
    assert plan == Plan(
        title="A or B?",
        factors={"medium": ("A", "B"), "steel": ("x", "y")},
        layout=Layout(interactions=(("medium", "steel"),)),
    )
    assert plan.levels == DEFAULT_LEVELS


def test_an_empty_list_of_interactions_is_not_the_default() -> None:
    assert parse_plan(changed('where = { steel = "plain carbon" }\n', "").replace('[["medium", "steel"]]', "[]"))
    text = 'title = "A"\n[factors]\nmedium = ["A", "B"]\nsteel = ["x", "y"]\n[layout]\ninteractions = []'
    assert parse_plan(text).layout.interactions == ()


def test_a_plan_cannot_be_changed() -> None:
    plan = parse_plan(GOOD)
    with pytest.raises(TypeError):
        plan.factors["medium"] = ()  # type: ignore[index]
    with pytest.raises(TypeError):
        plan.claims[0].where["steel"] = ""  # type: ignore[index]


def test_forces_are_given_in_the_unit_of_the_plan() -> None:
    text = (
        changed('unit = "gf"', 'unit = "N"')
        .replace('scale = "log"', 'scale = "as read"')
        .replace("15 %", "15 gf")
        .replace("10 %", "0.1 N")
    )
    plan = parse_plan(text)
    assert plan.levels[0].reading == Quantity(150 * NEWTONS_PER_GF, "N")
    margins = [claim.margin for claim in plan.claims if isinstance(claim, Same | NoWorse)]
    assert margins == [Quantity(15 * NEWTONS_PER_GF, "N"), Quantity(0.1, "N")]
    assert plan.claims[2] == Keener(
        id="plate-keener",
        says="The plate is keener than slate",
        medium="diamond plate",
        than="roofing slate",
        by=Quantity(0.0, "N"),
    )
    assert parse_plan('title = "A"\nunit = "N"\n[factors]\nmedium = ["A"]').levels[0].reading.unit == "N"


@pytest.mark.parametrize(
    ("written", "level"),
    [
        ('"fine work"', Level(name="fine work", reading=Quantity(150.0, "gf"))),
        ('" fine  work "', Level(name="fine work", reading=Quantity(150.0, "gf"))),
        ('"120 gf"', Level(name="120 gf", reading=Quantity(120.0, "gf"))),
        ('"120,5g"', Level(name="120.5 gf", reading=Quantity(120.5, "gf"))),
        ('"1 N"', Level(name="1 N", reading=Quantity(1 / NEWTONS_PER_GF, "gf"))),
    ],
)
def test_a_level_is_a_name_or_a_reading(written: str, level: Level) -> None:
    claim = parse_plan(changed('level = "fine work"', f"level = {written}")).claims[3]
    assert isinstance(claim, Reaches)
    assert claim.level == level


@pytest.mark.parametrize(("written", "share"), [('"90 %"', 0.9), ("0.9", 0.9), ('"99.5%"', 0.995), ('"7,5 %"', 0.075)])
def test_a_share_is_a_percentage_or_a_fraction(written: str, share: float) -> None:
    claim = parse_plan(changed('share = "90 %"', f"share = {written}")).claims[3]
    assert isinstance(claim, Reaches)
    assert claim.share == pytest.approx(share, abs=1e-15)


# what is changed in the good plan -> what it becomes, code, key, and words that the message must hold
BROKEN: dict[str, tuple[str, str, str, str, tuple[str, ...]]] = {
    "unknown key at the top": (
        'question = "For chisels"',
        'quesiton = "For chisels"',
        "unknown-key",
        "quesiton",
        ('There is no key "quesiton" here.', 'Did you mean "question"?', '"readings"', '"claim"'),
    ),
    "unknown key in a section": (
        "edges_per_cell = 2",
        "edges_per_sell = 2",
        "unknown-key",
        "layout.edges_per_sell",
        ('Did you mean "edges_per_cell"?', '"seed"'),
    ),
    "unknown key of a claim": (
        "primary = false",
        "primry = false",
        "unknown-key",
        "claim 4, primry",
        ('Did you mean "primary"?', '"share"'),
    ),
    "key below the wrong table": (
        "cuts = 5",
        "alpha = 0.1",
        "misplaced-key",
        "layout.alpha",
        ("It belongs at the top of the file, above the first [table].",),
    ),
    "layout key among the factors": (
        'strop = ["yes", "no"]',
        "cuts = 5",
        "misplaced-key",
        "factors.cuts",
        ("It belongs in [layout].",),
    ),
    "missing title": (
        'title = "Does slate reach the plate?"\n',
        "",
        "missing-key",
        "title",
        ("`title` is missing.", 'Write for example: title = "'),
    ),
    "missing medium": (
        'medium = ["lapping film", "oilstone", "diamond plate", "roofing slate"]\n',
        "",
        "missing-key",
        "factors.medium",
        ("`medium` is missing.", "medium = ["),
    ),
    "missing id": ('id = "film-fine"\n', "", "missing-key", "claim 4, id", ("`id` is missing.",)),
    "missing says": ('says = "Film reaches fine work"\n', "", "missing-key", "claim 4, says", ("says = ",)),
    "missing kind": ('kind = "reaches"\n', "", "missing-key", "claim 4, kind", ("`kind` is missing.",)),
    "missing share": ('share = "90 %"\n', "", "missing-key", "claim 4, share", ('share = "90 %"',)),
    "missing level": ('level = "fine work"\n', "", "missing-key", "claim 4, level", ('level = "150 gf"',)),
    "missing margin": ('margin = "10 %"\n', "", "missing-key", "claim 2, margin", ('margin = "15 %"',)),
    "missing than": ('than = "oilstone"\n', "", "missing-key", "claim 2, than", ("`than` is missing.",)),
    "title is a number": (
        'title = "Does slate reach the plate?"',
        "title = 5",
        "wrong-type",
        "title",
        ("`title` must be text in quotes, not a number.", 'title = "'),
    ),
    "title is blank": ('title = "Does slate reach the plate?"', 'title = " "', "blank", "title", ("is blank",)),
    "title is a date": (
        'title = "Does slate reach the plate?"',
        "title = 2026-09-25",
        "wrong-type",
        "title",
        ("not a date or time",),
    ),
    "alpha is text": ("alpha = 0.05", 'alpha = "5 %"', "wrong-type", "alpha", ("a number without quotes", "0.05")),
    "alpha is true": ("alpha = 0.05", "alpha = true", "wrong-type", "alpha", ("not true or false",)),
    "alpha too large": ("alpha = 0.05", "alpha = 0.5", "out-of-range", "alpha", ("between 0 and 0.5", "it is 0.5")),
    "alpha zero": ("alpha = 0.05", "alpha = 0", "out-of-range", "alpha", ("between 0 and 0.5", "it is 0.")),
    "alpha is no number": ("alpha = 0.05", "alpha = nan", "out-of-range", "alpha", ("it is nan",)),
    "family": ('family = "holm"', 'family = "hom"', "unknown-family", "family", ('Did you mean "holm"?',)),
    "levels of a factor are text": (
        '["yes", "no"]',
        '"yes"',
        "wrong-type",
        "factors.strop",
        ("`strop` must be a list, not text.", 'strop = ["one", "other"]'),
    ),
    "a level of a factor is a number": (
        '["yes", "no"]',
        '["yes", 1]',
        "wrong-type",
        "factors.strop[2]",
        ("must be text in quotes, not a number",),
    ),
    "one level": (
        '["yes", "no"]',
        '["yes"]',
        "too-few-levels",
        "factors.strop",
        ("`strop` has 1 level; the plan needs at least 2.", "take `strop` out"),
    ),
    "no medium": (
        '["lapping film", "oilstone", "diamond plate", "roofing slate"]',
        "[]",
        "too-few-levels",
        "factors.medium",
        ("`medium` has 0 levels; the plan needs at least 2. Name every medium.",),
    ),
    "level twice": (
        '["yes", "no"]',
        '["yes", " YES ", "no"]',
        "duplicate-level",
        "factors.strop[2]",
        ('" YES " stands here twice', "capitals do not count"),
    ),
    "factor named with a space": (
        'strop = ["yes", "no"]',
        '"strop " = ["yes", "no"]',
        "bad-name",
        "factors.strop ",
        ('Write "strop".',),
    ),
    "factor is also a block": (
        'blocks = ["blade"]',
        'blocks = ["steel"]',
        "factor-and-block",
        "layout.blocks[1]",
        ('"steel" is a factor already', "Take it out of `blocks`, or out of [factors]."),
    ),
    "medium is a block": ('blocks = ["blade"]', 'blocks = ["medium"]', "factor-and-block", "layout.blocks[1]", ()),
    "block twice": ('blocks = ["blade"]', 'blocks = ["blade", "blade"]', "duplicate-block", "layout.blocks[2]", ()),
    "blocks is text": ('blocks = ["blade"]', 'blocks = "blade"', "wrong-type", "layout.blocks", ('["blade"]',)),
    "interaction with an unknown factor": (
        '[["medium", "steel"]]',
        '[["medium", "steel"], ["medium", "srop"]]',
        "unknown-factor",
        "layout.interactions[2][2]",
        ('The plan has no factor "srop".', 'Did you mean "strop"?', '"steel"'),
    ),
    "interaction of one": (
        '[["medium", "steel"]]',
        '[["medium", "steel"], ["strop"]]',
        "bad-interaction",
        "layout.interactions[2]",
        ('this is ["strop"]', '[["medium", "steel"]]'),
    ),
    "interaction with itself": (
        '[["medium", "steel"]]',
        '[["medium", "steel"], ["strop", "strop"]]',
        "bad-interaction",
        "layout.interactions[2]",
        ("two different factors",),
    ),
    "interaction twice": (
        '[["medium", "steel"]]',
        '[["medium", "steel"], ["steel", "medium"]]',
        "duplicate-interaction",
        "layout.interactions[2]",
        ("Name each interaction once.",),
    ),
    "interactions not nested": (
        '[["medium", "steel"]]',
        '["medium", "steel"]',
        "wrong-type",
        "layout.interactions",
        ("must be a list of lists", 'interactions = [["medium", "steel"]]'),
    ),
    "no cuts": ("cuts = 5", "cuts = 0", "out-of-range", "layout.cuts", ("from 1 up; it is 0",)),
    "half a cut": ("cuts = 5", "cuts = 5.5", "wrong-type", "layout.cuts", ("a whole number without quotes",)),
    "cuts is true": ("cuts = 5", "cuts = true", "wrong-type", "layout.cuts", ("not true or false",)),
    "seed below zero": ("seed = 20260925", "seed = -1", "out-of-range", "layout.seed", ("from 0 up",)),
    "seed too long": (
        "seed = 20260925",
        f"seed = 0x{'f' * 5000}",
        "out-of-range",
        "layout.seed",
        ("it is a very large number",),
    ),
    "level without unit": ('"150 gf"', "150", "no-unit", "levels.fine work", ("150 has no unit.", 'Write "150 gf".')),
    "level without unit in text": ('"150 gf"', '"150"', "no-unit", "levels.fine work", ('Write "150 gf".',)),
    "level with a strange unit": (
        '"150 gf"',
        '"150 kg"',
        "unknown-unit",
        "levels.fine work",
        ('"kg" is not a unit known here', '"gf", "N" and "%"'),
    ),
    "level in percent": ('"150 gf"', '"15 %"', "not-a-force", "levels.fine work", ("a percentage, not a force",)),
    "level zero": ('"150 gf"', '"0 gf"', "out-of-range", "levels.fine work", ("more than zero", "0 gf")),
    "level below zero": ('"150 gf"', '"-5 gf"', "out-of-range", "levels.fine work", ("more than zero", "-5 gf")),
    "level in words": ('"150 gf"', '"sharp"', "not-a-number", "levels.fine work", ('"sharp" is not a number',)),
    "level beyond all bounds": ('"150 gf"', f'"{"9" * 400} gf"', "not-a-number", "levels.fine work", ()),
    "operators": (
        '"pseudonyms"',
        '"hidden"',
        "unknown-operators",
        "publishing.operators",
        ('must be "pseudonyms" or "as written"', '"hidden"'),
    ),
    "invented in quotes": (
        "invented = true",
        'invented = "yes"',
        "wrong-type",
        "publishing.invented",
        ("true or false, without quotes", "invented = true"),
    ),
    "unknown kind": (
        'kind = "no worse"',
        'kind = "no-worse"',
        "unknown-kind",
        "claim 2, kind",
        ('"same", "no worse", "keener", "gap", "steadier" or "reaches"', 'Did you mean "no worse"?'),
    ),
    "claim on an unknown medium": (
        'medium = "lapping film"\nthan',
        'medium = "laping film"\nthan',
        "unknown-medium",
        "claim 2, medium",
        ("not one of the plan's media", 'Did you mean "lapping film"?', '"roofing slate"'),
    ),
    "claim than an unknown medium": (
        'than = "oilstone"',
        'than = "stone"',
        "unknown-medium",
        "claim 2, than",
        ('Did you mean "oilstone"?',),
    ),
    "medium against itself": (
        'than = "oilstone"',
        'than = "lapping film"',
        "same-medium",
        "claim 2, than",
        ('compares "lapping film" with itself', "another medium"),
    ),
    "where on an unknown factor": (
        '{ steel = "plain carbon" }',
        '{ stele = "plain carbon" }',
        "unknown-factor",
        "claim 1, where.stele",
        ('Did you mean "steel"?', '"strop"'),
    ),
    "where on an unknown level": (
        '{ steel = "plain carbon" }',
        '{ steel = "carbon" }',
        "unknown-level",
        "claim 1, where.steel",
        ('"carbon" is not a level of `steel`', 'Did you mean "plain carbon"?', '"stainless"'),
    ),
    "where on medium": (
        '{ steel = "plain carbon" }',
        '{ medium = "oilstone" }',
        "where-on-medium",
        "claim 1, where.medium",
        ("Take it out", "`than`"),
    ),
    "where on a block": (
        '{ steel = "plain carbon" }',
        '{ blade = "b1" }',
        "where-on-block",
        "claim 1, where.blade",
        ("its levels are a sample", "make `blade` a factor"),
    ),
    "where without interaction": (
        '{ steel = "plain carbon" }',
        '{ strop = "yes" }',
        "no-interaction",
        "claim 1, where.strop",
        ("no interaction of medium with strop", 'Add ["medium", "strop"] to `interactions` in [layout]'),
    ),
    "where is text": ('{ steel = "plain carbon" }', '"steel"', "wrong-type", "claim 1, where", ("must be a table",)),
    "margin without unit": ('"10 %"', '"10"', "no-unit", "claim 2, margin", ('"10" has no unit.', 'Write "10 %".')),
    "margin is a number": ('"10 %"', "10", "no-unit", "claim 2, margin", ("10 has no unit.", 'Write "10 %".')),
    "margin is a force on the log scale": (
        '"10 %"',
        '"10 gf"',
        "wrong-scale",
        "claim 2, margin",
        ('"10 gf" is a force', 'on the scale "log" differences are percent', 'margin = "15 %"', 'scale = "as read"'),
    ),
    "margin zero": ('"10 %"', '"0 %"', "out-of-range", "claim 2, margin", ("more than zero", "0 %")),
    "margin below zero": ('"10 %"', '"-10 %"', "out-of-range", "claim 2, margin", ("more than zero", "-10 %")),
    "by below zero": (
        'than = "roofing slate"',
        'than = "roofing slate"\nby = "-5 %"',
        "out-of-range",
        "claim 3, by",
        ("must not be negative; it is -5 %", "without the minus sign"),
    ),
    "margin for keener": (
        'than = "roofing slate"',
        'than = "roofing slate"\nmargin = "5 %"',
        "wrong-key",
        "claim 3, margin",
        ("has no `margin`", "Write `by` instead."),
    ),
    "by for no worse": (
        'margin = "10 %"',
        'by = "10 %"',
        "wrong-key",
        "claim 2, by",
        ("has no `by`", "Write `margin` instead."),
    ),
    "than for reaches": (
        'level = "fine work"',
        'level = "fine work"\nthan = "oilstone"',
        "wrong-key",
        "claim 4, than",
        ("has no `than`", '"same", "no worse", "keener", "gap" or "steadier"'),
    ),
    "unknown level": (
        'level = "fine work"',
        'level = "fien work"',
        "unknown-level",
        "claim 4, level",
        ('Did you mean "fine work"?', '"150 gf" will do too'),
    ),
    "level of a claim without unit": ('level = "fine work"', 'level = "150"', "no-unit", "claim 4, level", ()),
    "level of a claim is a number": ('level = "fine work"', "level = 150", "no-unit", "claim 4, level", ()),
    "level of a claim below zero": ('level = "fine work"', 'level = "-1 gf"', "out-of-range", "claim 4, level", ()),
    "share of all": ('"90 %"', '"100 %"', "out-of-range", "claim 4, share", ("between 0 % and 100 %", '"100 %"')),
    "share of none": ('"90 %"', "0", "out-of-range", "claim 4, share", ("between 0 % and 100 %", "it is 0.")),
    "share as a whole number": ('"90 %"', "90", "out-of-range", "claim 4, share", ('share = "90 %"',)),
    "share beyond all bounds": (
        '"90 %"',
        f"0x{'f' * 5000}",
        "out-of-range",
        "claim 4, share",
        ("it is a very large number",),
    ),
    "share without unit": ('"90 %"', '"90"', "wrong-type", "claim 4, share", ('"90" is not a share', 'share = "90 %"')),
    "primary in quotes": ("primary = false", 'primary = "no"', "wrong-type", "claim 4, primary", ("true or false",)),
    "id twice": (
        'id = "film-fine"',
        'id = "Film-No-Worse"',
        "duplicate-id",
        "claim 4, id",
        ("first in line 41", "capitals do not count"),
    ),
    "id with a slash": ('id = "film-fine"', 'id = "../film fine"', "bad-id", "claim 4, id", ('id = "film-fine"',)),
    "id of dots": ('id = "film-fine"', 'id = ".."', "bad-id", "claim 4, id", ("letters a to z, digits",)),
    "id of foreign letters": ('id = "film-fine"', 'id = "schärfe"', "bad-id", "claim 4, id", ('id = "sch-rfe"',)),
    "id too long": ('id = "film-fine"', f'id = "{"a" * 61}"', "bad-id", "claim 4, id", ("at most 60 characters",)),
    "id is a number": ('id = "film-fine"', "id = 4", "wrong-type", "claim 4, id", ("not a number",)),
    "readings above the folder": (
        '["readings.csv"]',
        '["../readings.csv"]',
        "outside-folder",
        "readings[1]",
        ('"../readings.csv" points outside the trial folder', "Put the file into the folder"),
    ),
    "readings above in the middle": (
        '["readings.csv"]',
        r'"day1\\..\\..\\readings.csv"',
        "outside-folder",
        "readings",
        (),
    ),
    "readings absolute": ('["readings.csv"]', '"/elsewhere/readings.csv"', "outside-folder", "readings", ()),
    "readings on a drive": ('["readings.csv"]', '"C:readings.csv"', "outside-folder", "readings", ()),
    "readings on a server": ('["readings.csv"]', r'"\\\\host\\share\\readings.csv"', "outside-folder", "readings", ()),
    "readings of another kind": (
        '["readings.csv"]',
        '["readings.csv", "readings.pdf"]',
        "unknown-ending",
        "readings[2]",
        ('".csv", ".xlsx", ".ods" or ".parquet"', '"readings.pdf"'),
    ),
    "readings twice": (
        '["readings.csv"]',
        '["readings.csv", "Readings.CSV"]',
        "duplicate-file",
        "readings[2]",
        ("Name each file once.",),
    ),
    "readings with a control character": ('["readings.csv"]', '"a\\u0000.csv"', "bad-file-name", "readings", ()),
    "readings blank": ('["readings.csv"]', '""', "bad-file-name", "readings", ()),
    "readings is a number": ('["readings.csv"]', "5", "wrong-type", "readings", ("text in quotes",)),
}


def place_of(key: str, old: str, new: str) -> int:
    """Line of the mistake: where the change stands, or for a missing key its table."""
    if key == "title" and not new:
        return 1
    if key == "factors.medium" and not new:
        return line_of(GOOD, "[factors]")
    before = GOOD[: GOOD.index(old)].split("\n")
    if not new:
        return max(number for number, row in enumerate(before, start=1) if row == "[[claim]]")
    return len(before) + new.rstrip("\n").count("\n") if "\n" not in old else len(before)


@pytest.mark.parametrize("name", BROKEN)
def test_tells_of(name: str) -> None:
    old, new, code, key, words = BROKEN[name]
    problem = the_problem_of(changed(old, new))
    assert (problem.code, problem.file, problem.key) == (code, "trial.toml", key)
    assert problem.line == place_of(key, old, new)
    assert not [part for part in words if part not in str(problem)], str(problem)


def test_factors_of_another_type_do_not_hide_the_rest() -> None:
    text = GOOD[: GOOD.index("[factors]")] + "factors = 5\n" + GOOD[GOOD.index("[layout]") :]
    problem = the_problem_of(text)
    assert str(problem) == "trial.toml, line 9, factors: `factors` must be a table, not a number."


BOOKKEEPING = ["reading", "edge", "cut", "run", "note", "set_aside", "taken_at", "role", "file", "row", "over_range"]


@pytest.mark.parametrize("name", BOOKKEEPING)
def test_bookkeeping_is_neither_factor_nor_block(name: str) -> None:
    problem = the_problem_of(changed("strop = ", f"{name} = "))
    assert (problem.code, problem.line, problem.key) == ("reserved-name", 12, f"factors.{name}")
    assert str(problem).endswith("cannot be compared or be a block. Name another column of the readings.")
    problem = the_problem_of(changed('blocks = ["blade"]', f'blocks = ["blade", "{name}"]'))
    assert (problem.code, problem.line, problem.key) == ("reserved-name", 15, "layout.blocks[2]")


def test_one_medium_is_enough_where_no_claim_compares() -> None:
    head = 'title = "Slate"\n[factors]\nmedium = ["slate"]\n[[claim]]\nid = "a"\nsays = "s"\nmedium = "slate"\n'
    reaches = head + 'kind = "reaches"\nlevel = "150 gf"\nshare = "90 %"\n'
    assert parse_plan(reaches).factors["medium"] == ("slate",)
    problems = problems_of(head + 'kind = "keener"\nthan = "plate"\n')
    assert [(problem.code, problem.line, problem.key) for problem in problems] == [
        ("too-few-levels", 3, "factors.medium"),
        ("unknown-medium", 9, "claim 1, than"),
    ]
    assert "`medium` has 1 level; the plan needs at least 2. Name every medium." in str(problems[0])


def test_a_margin_in_percent_does_not_fit_readings_as_read() -> None:
    problems = problems_of(changed('scale = "log"', 'scale = "as read"'))
    assert [(problem.code, problem.key) for problem in problems] == [
        ("wrong-scale", "claim 1, margin"),
        ("wrong-scale", "claim 2, margin"),
    ]
    assert 'on the scale "as read" differences are forces' in str(problems[0])
    assert 'margin = "15 gf"; or set scale = "log" at the top of the plan.' in str(problems[0])


def test_a_broken_scale_is_told_once_and_not_held_against_the_margins() -> None:
    problem = the_problem_of(changed('scale = "log"', 'scale = "lgo"').replace("10 %", "10 gf"))
    assert (problem.code, problem.line, problem.value) == ("unknown-scale", 4, "lgo")


def test_one_table_of_claims_needs_two_brackets() -> None:
    text = GOOD[: GOOD.index("[[claim]]")] + '[claim]\nid = "a"\n'
    problem = the_problem_of(text)
    assert (problem.code, problem.key, problem.line) == ("wrong-type", "claim", line_of(text, "[claim]"))
    assert problem.mend == "Write [[claim]], with two brackets on each side."


def test_key_below_the_last_claim_is_told_where_it_belongs() -> None:
    problem = the_problem_of(GOOD + "alpha = 0.1\n")
    assert str(problem).startswith(f"trial.toml, line {GOOD.count(chr(10)) + 1}, claim 4, alpha: ")
    assert problem.mend == "It belongs at the top of the file, above the first [table]."


def test_all_mistakes_are_told_at_once_in_the_order_of_the_file() -> None:
    text = GOOD
    for name in (
        "alpha too large",
        "one level",
        "seed below zero",
        "operators",
        "unknown kind",
        "where on an unknown level",
        "share of all",
        "by below zero",
        "missing title",
    ):
        old, new, *_ = BROKEN[name]
        text = text.replace(old, new)
    found = problems_of(text)
    assert [problem.code for problem in found] == [
        "missing-key",
        "out-of-range",
        "too-few-levels",
        "out-of-range",
        "unknown-operators",
        "unknown-level",
        "unknown-kind",
        "out-of-range",
        "out-of-range",
    ]
    lines = [problem.line or 0 for problem in found]
    assert lines == sorted(lines)


def test_every_allowed_word_stands_in_the_message() -> None:
    """One table makes the check and the sentence: nothing allowed is left unsaid."""
    choices = {
        ("unit", 'unit = "gf"'): ("gf", "N"),
        ("scale", 'scale = "log"'): ("log", "as read"),
        ("family", 'family = "holm"'): ("holm", "none"),
        ("kind", 'kind = "same"'): tuple(kind.kind for kind in CLAIM_KINDS),
        ("operators", 'operators = "pseudonyms"'): ("pseudonyms", "as written"),
    }
    for (key, old), allowed in choices.items():
        [problem, *_] = problems_of(changed(old, f'{key} = "zzz"'))
        assert problem.code == f"unknown-{key}"
        assert [word for word in allowed if f'"{word}"' not in problem.says] == []


GROUND = Ground(factors=None, layout=None, scale=None, unit="gf", levels=None)


def test_each_field_of_each_kind_of_claim_has_its_key() -> None:
    known = set(claim_keys(GROUND))
    assert {name for kind in CLAIM_KINDS for name in keys_of(kind)} == known
    assert list(KINDS.values()) == list(CLAIM_KINDS)
    assert not issubclass(Claim, tuple(CLAIM_KINDS))


@pytest.mark.parametrize("key", [*SIMPLE_KEYS, *PUBLISHING_KEYS, *layout_keys({}), *claim_keys(GROUND).values()])
def test_the_example_of_a_key_is_toml(key: Key) -> None:
    assert list(tomllib.loads(key.line)) == [key.name]


SYNTAX = [
    ('title = "A', 1, "Close the quotes.", 'title = "A'),
    ('title = "A\nunit = "gf"', 1, "Close the quotes on the same line.", 'title = "A'),
    ("title = A", 1, "Put text into quotes", "title = A"),
    ('title = "A"\nmargin = 15 %', 2, "Write key = value", "margin = 15 %"),
    ('title = "A"\n\ntitle = "B"', 3, "Each key may stand once", 'title = "B"'),
    ("[layout]\n[factors]\n[layout]", 3, "Each [table] may stand once", "[layout]"),
    ("[factors\nmedium = 1", 1, "Close the brackets", "[factors"),
    ("a b = 1", 1, "a key with spaces in it needs quotes", "a b = 1"),
    ('medium = ["A", "B"\n', 2, "Close the list with ].", ""),
    ("x = {a = 1", 1, "Close the table with }.", "x = {a = 1"),
    ('x = """a\n', 2, "Close the quotes.", ""),
    ("x = 1\n\x00", 2, "Write key = value", "\x00"),
    (f"x = {'9' * 5000}", None, "Write key = value", ""),
]


@pytest.mark.parametrize(("text", "line", "mend", "value"), SYNTAX)
def test_text_that_is_not_toml(text: str, line: int | None, mend: str, value: str) -> None:
    problem = the_problem_of(text)
    assert (problem.code, problem.file, problem.line, problem.value) == ("syntax", "trial.toml", line, value)
    assert problem.says.startswith("This is not TOML: ")
    assert mend in problem.mend
    assert "(at line" not in problem.says


def test_lists_too_deep_for_the_parser() -> None:
    problem = the_problem_of(f"x = {'[' * 5000}")
    assert problem.says == "Lists or tables stand too deep inside each other."


def write(folder: Path, data: bytes) -> Path:
    path = folder / "trial.toml"
    path.write_bytes(data)
    return path


def test_byte_order_mark_and_windows_line_ends_do_not_matter(tmp_path: Path) -> None:
    path = write(tmp_path, b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert read_plan(path) == parse_plan(GOOD)
    assert plan_text(path) == GOOD
    path = write(tmp_path, b"\xef\xbb\xbf" + GOOD.replace('"holm"', '"hol"').replace("\n", "\r\n").encode())
    with pytest.raises(PlanError, match=r"trial.toml, line 6, family: `family` must be"):
        read_plan(path)


@pytest.mark.parametrize(
    ("data", "line"),
    [('title = "A"\nquestion = "schärfer"'.encode("cp1252"), 2), (GOOD.encode("utf-16"), 1)],
)
def test_a_plan_that_is_not_utf8(tmp_path: Path, data: bytes, line: int) -> None:
    with pytest.raises(PlanError) as caught:
        read_plan(write(tmp_path, data))
    assert str(caught.value) == (
        f"trial.toml, line {line}: The plan is not UTF-8 text. "
        "Save it as UTF-8: in an editor, under the encodings of Save As."
    )


def test_a_plan_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match=r"^trial.toml: There is no such plan. `sharpstats new DIR` writes"):
        read_plan(tmp_path / "trial.toml")
    (tmp_path / "trial.toml").mkdir()
    with pytest.raises(PlanError, match=r"^trial.toml: The plan cannot be read: Is a directory.$"):
        read_plan(tmp_path / "trial.toml")


def test_links_are_followed_to_see_where_they_lead(tmp_path: Path) -> None:
    folder = tmp_path / "trial"
    (folder / "day 1").mkdir(parents=True)
    (folder / "readings.csv").symlink_to(folder / "day 1" / "all.csv")
    assert parse_plan(GOOD, folder=folder).files == ("readings.csv",)
    (folder / "out.csv").symlink_to(tmp_path / "secret.csv")
    (folder / "outside").symlink_to(tmp_path)
    for name in ("out.csv", "outside/secret.csv"):
        [problem] = problems_of(changed('"readings.csv"', f'"{name}"'), folder=folder)
        assert (problem.code, problem.line, problem.key) == ("outside-folder", 7, "readings[1]")
        assert problem.says == f'"{name}" is a link to a place outside the trial folder.'


@pytest.mark.parametrize("name", ["round.csv", f"{'a' * 5000}.csv"])
def test_a_link_in_a_circle_or_an_endless_name_is_no_crash(tmp_path: Path, name: str) -> None:
    """Whether they count as outside depends on the system; the file is missing in any case."""
    (tmp_path / "round.csv").symlink_to(tmp_path / "round.csv")
    with suppress(PlanError):
        assert parse_plan(changed('"readings.csv"', f'"{name}"'), folder=tmp_path).files == (name,)


def test_files_in_folders_are_named_with_forward_slashes() -> None:
    assert parse_plan(changed('["readings.csv"]', r'"day 1\\readings.ODS"')).files == ("day 1/readings.ODS",)


def test_the_plans_that_ship_are_in_order(demo: Path) -> None:
    assert len(read_plan(demo / "trial.toml").claims) >= 4


def test_labels_that_could_do_harm_are_shown_on_one_line() -> None:
    label = 'a\\u001b[31m\\n"<script>'
    problem = the_problem_of(changed('than = "oilstone"', f'than = "{label}"'.replace('"<', '\\"<')))
    assert "\x1b" not in str(problem)
    assert "\n" not in str(problem)


# --- any text at all, and any plan ---------------------------------------------------------------

TOMLISH = st.text(alphabet="[]{}=\"'.,#\n -_%\\ab01", max_size=40)
SNIPPETS = st.sampled_from(
    [row for row in GOOD.split("\n") if row]
    + ["[claim]", "claim = 1", "claim = [1]", "claim = [{}]", "[[factors]]", "layout = []", "levels = 1", "[levels]"]
    + ["publishing = ''", "readings = [[]]", "interactions = [[]]", 'where = { "" = {} }', "medium = []", "by = nan"]
)


@given(st.text() | TOMLISH | st.lists(SNIPPETS | TOMLISH, max_size=25).map("\n".join))
@example("claim = [{kind = 'same'}]")
@example("[factors]\nmedium = [[]]\n[[claim]]\nwhere = {medium = {}}\nlevel = []\nshare = []\nid = {}")
@example('title = "A"\n[factors]\n"" = []\n"medium" = 0')
def test_whatever_the_text_the_error_is_a_plan_error(text: str) -> None:
    try:
        plan = parse_plan(text)
    except PlanError as error:
        lines = text.replace("\r\n", "\n").count("\n") + 1
        assert error.problems
        assert all(problem.line is None or 1 <= problem.line <= lines for problem in error.problems)
    else:
        assert plan.factors["medium"]


ODD = ["5", "true", "nan", "[]", "{}", "[[]]", "[{}]", '""', '"x"', "2020-01-01", "{ a = { b = [1] } }"]
ODD += [f"0x{'f' * 5000}", '"\\u0000"', '"15 %"', '"5 gf"']


@pytest.mark.parametrize("odd", ODD)
def test_whatever_stands_at_a_key_the_error_is_a_plan_error(odd: str) -> None:
    good = GOOD.split("\n")
    places = [number for number, row in enumerate(good) if " = " in row]
    told = 0
    for place in places:
        row = f"{good[place].split(' = ')[0]} = {odd}"
        with suppress(PlanError):
            parse_plan("\n".join([*good[:place], row, *good[place + 1 :]]))
            told -= 1
        told += 1
    assert told > len(places) / 2  # most keys refuse an odd value


@given(st.binary(max_size=200))
def test_whatever_the_bytes_the_error_is_a_plan_error(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    path = write(tmp_path_factory.mktemp("plan"), data)
    with pytest.raises(PlanError):
        read_plan(path)


WORDS = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=12).map(
    lambda text: " ".join(text.split())
).filter(bool)
NAMES = st.sampled_from(["steel", "strop", "angle in °", "x.y", "a\"b'c", "1"])
FORCES = st.integers(1, 10_000).map(lambda tenths: tenths / 10)


def distinct(minimum: int) -> st.SearchStrategy[tuple[str, ...]]:
    return st.lists(WORDS, min_size=minimum, max_size=4, unique_by=str.casefold).map(tuple)


@st.composite
def claims(draw: st.DrawFn, plan: Plan, name: str) -> Claim:
    medium, than = draw(st.permutations(plan.factors["medium"]))[:2]
    others = [factor for interaction in plan.layout.interactions for factor in interaction if factor != "medium"]
    chosen = draw(st.lists(st.sampled_from(others), unique=True)) if others else []
    common = {
        "id": name,
        "says": draw(WORDS),
        "medium": medium,
        "where": MappingProxyType({factor: draw(st.sampled_from(plan.factors[factor])) for factor in chosen}),
        "primary": draw(st.booleans()),
    }
    unit: Unit = "%" if plan.scale == "log" else plan.unit
    kind = draw(st.sampled_from(CLAIM_KINDS if others else [kind for kind in CLAIM_KINDS if kind is not Gap]))
    if kind is Gap:
        common["where"] = MappingProxyType({})
        levels = draw(st.permutations(plan.factors[others[0]]))[:2]
        margin = Quantity(draw(FORCES), unit)
        return Gap(**common, than=than, across=others[0], levels=tuple(levels), margin=margin,
                   depends=draw(st.booleans()))  # fmt: skip
    if kind is Reaches:
        reading = Quantity(draw(FORCES), plan.unit)
        level = draw(st.sampled_from((*plan.levels, Level(name=str(reading), reading=reading))))
        return Reaches(**common, level=level, share=draw(st.integers(1, 99)) / 100)
    if kind is Keener:
        return Keener(**common, than=than, by=Quantity(draw(st.integers(0, 99)), unit))
    if kind is Steadier:
        return Steadier(**common, than=than, by=Quantity(draw(st.integers(0, 99)), "%"))
    return kind(**common, than=than, margin=Quantity(draw(FORCES), unit))


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    unit = draw(st.sampled_from(["gf", "N"]))
    factors = {"medium": draw(distinct(2))} | draw(st.dictionaries(NAMES, distinct(2), max_size=2))
    others = [name for name in factors if name != "medium"]
    named = draw(st.dictionaries(WORDS.filter(lambda name: not name[0].isdigit() and name[0] not in "+-"), FORCES))
    plan = Plan(
        title=draw(WORDS),
        question=draw(WORDS | st.just("")),
        factors=MappingProxyType(factors),
        unit=unit,
        scale=draw(st.sampled_from(["log", "as read"])),
        alpha=draw(st.integers(1, 499)) / 1000,
        family=draw(st.sampled_from(["holm", "none"])),
        layout=Layout(
            blocks=tuple(draw(st.lists(st.sampled_from(["blade", "day", "operator"]), unique=True))),
            interactions=tuple(("medium", name) for name in others if draw(st.booleans())),
            edges_per_cell=draw(st.none() | st.integers(1, 9)),
            cuts=draw(st.none() | st.integers(1, 9)),
            seed=draw(st.none() | st.integers(0, 2**63 - 1)),
        ),
        levels=tuple(Level(name=name, reading=Quantity(force, unit)) for name, force in named.items()),
        files=tuple(draw(st.lists(st.sampled_from(["a.csv", "b b.xlsx", "d/c.ods"]), unique=True))),
        publishing=Publishing(
            operators=draw(st.sampled_from(["pseudonyms", "as written"])),
            author=draw(WORDS),
            invented=draw(st.booleans()),
        ),
    )
    return replace(plan, claims=tuple(draw(claims(plan, f"claim-{i}")) for i in range(draw(st.integers(0, 3)))))


def toml(value: object) -> str:
    match value:
        case Quantity():
            return toml(f"{value.value!r} {value.unit}")
        case Level():
            return toml(value.name)
        case str():
            return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
        case tuple():
            return f"[{', '.join(map(toml, value))}]"
        case Mapping():
            return "{ " + ", ".join(f"{toml(key)} = {toml(inner)}" for key, inner in value.items()) + " }"
        case _:
            return str(value).lower()


def rows(**values: object) -> str:
    return "".join(f"{toml(key)} = {toml(value)}\n" for key, value in values.items() if value is not None)


def written(plan: Plan) -> str:
    simple = ("title", "question", "unit", "scale", "alpha", "family")
    layout = ("blocks", "interactions", "edges_per_cell", "cuts", "seed")
    publishing = ("operators", "author", "invented")
    parts = [
        rows(**{name: getattr(plan, name) for name in simple}, readings=plan.files),
        "[factors]\n" + rows(**plan.factors),
        "[layout]\n" + rows(**{name: getattr(plan.layout, name) for name in layout}),
        "[levels]\n" + rows(**{level.name: level.reading for level in plan.levels}),
        "[publishing]\n" + rows(**{name: getattr(plan.publishing, name) for name in publishing}),
    ]
    for claim in plan.claims:
        names = keys_of(type(claim))
        parts.append("[[claim]]\n" + rows(**{name: getattr(claim, name) for name in names}))
    return "".join(parts)


@given(plans())
def test_a_plan_written_down_and_read_is_the_same_plan(plan: Plan) -> None:
    assert parse_plan(written(plan)) == plan


STEADIER = """
title = "A"
scale = "as read"
[factors]
medium = ["A", "B"]
steel = ["x", "y"]
[layout]
interactions = []
[[claim]]
id = "c"
says = "A is steadier"
kind = "steadier"
medium = "A"
than = "B"
"""


def test_a_steadier_claim_is_in_percent_on_either_scale() -> None:
    assert parse_plan(STEADIER).claims[0] == Steadier(
        id="c", says="A is steadier", medium="A", than="B", by=Quantity(0.0, "%")
    )
    assert parse_plan(STEADIER + 'by = "20 %"').claims[0].by == Quantity(20.0, "%")


def test_spreads_at_a_level_need_no_interaction_of_means() -> None:
    assert parse_plan(STEADIER + 'where = { steel = "x" }').claims[0].where == {"steel": "x"}
    problem = the_problem_of(STEADIER.replace('"steadier"', '"keener"') + 'where = { steel = "x" }')
    assert problem.code == "no-interaction"


@pytest.mark.parametrize(
    ("line", "code", "words"),
    [
        ('by = "20 gf"', "wrong-scale", ('"20 gf" is a force; spreads are compared by how many times', 'by = "20 %"')),
        ('by = "-5 %"', "out-of-range", ("must not be negative; it is -5 %", "without the minus sign")),
        ('by = "20"', "no-unit", ('Write "20 %"',)),
        ('margin = "20 %"', "wrong-key", ("has no `margin`", "Write `by` instead.")),
        ('where = { steel = "z" }', "unknown-level", ('"z" is not a level of `steel`',)),
    ],
)
def test_tells_of_a_bad_steadier_claim(line: str, code: str, words: tuple[str, ...]) -> None:
    problem = the_problem_of(STEADIER + line)
    assert problem.code == code
    assert not [part for part in words if part not in str(problem)], str(problem)
