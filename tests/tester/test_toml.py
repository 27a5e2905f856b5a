"""The plan of a tester study: what it may say, and how each mistake is told."""

from __future__ import annotations

import pytest

from sharpstats.errors import PlanError
from sharpstats.tester.plan import TesterPlan
from sharpstats.tester.toml import parse_tester_plan, read_tester_plan
from sharpstats.units import Quantity

WHOLE = """
title = "What our tester is worth"
question = "Can it tell 10 % apart?"
unit = "N"
scale = "as read"
level = 0.9
wanted = "25 gf"

[layout]
kind = "nested"
operators = 3
edges = 8
cuts = 4
seed = 1

[masses]
gravity = 9.81
uncertainty = "0.5 gf"

[publishing]
operators = "as written"
shops = "as written"
invented = true
"""


def wrong(text: str) -> str:
    with pytest.raises(PlanError) as caught:
        parse_tester_plan(text)
    return str(caught.value)


def test_everything_a_plan_may_say() -> None:
    plan = parse_tester_plan(WHOLE)
    assert (plan.title, plan.unit, plan.scale, plan.level) == ("What our tester is worth", "N", "as read", 0.9)
    assert plan.wanted is not None
    assert plan.wanted.unit == "N"
    assert plan.wanted.value == pytest.approx(0.24516625, rel=1e-14)  # 25 gf of 9.80665 mN
    assert (plan.layout.kind, plan.layout.operators, plan.layout.edges, plan.layout.cuts) == ("nested", 3, 8, 4)
    assert plan.masses.gravity == 9.81
    assert plan.masses.uncertainty == Quantity(0.5, "gf").to("N")
    assert (plan.publishing.operators, plan.publishing.shops, plan.publishing.invented) == (
        "as written", "as written", True,
    )  # fmt: skip


def test_what_holds_where_a_plan_says_nothing() -> None:
    plan = parse_tester_plan('title = "T"')
    assert plan == TesterPlan(title="T")
    assert (plan.unit, plan.scale, plan.level, plan.wanted, plan.layout.kind) == ("gf", "log", 0.95, None, None)
    assert plan.publishing.shops == "pseudonyms"
    assert plan.masses.gravity == pytest.approx(9.80665, rel=1e-15)


def test_all_mistakes_are_told_at_once_each_with_its_line() -> None:
    said = wrong('unit = "kg"\nlevel = 2\n[layout]\nkind = "crosed"\ncuts = 0\n[masses]\ngravity = 981\n')
    assert "line 1, title: `title` is missing" in said
    assert 'tester.toml, line 1, unit: `unit` must be "gf" or "N"; it is "kg".' in said
    assert "line 2, level: `level` must lie between 0.5 and 1" in said
    assert 'line 4, layout.kind: `kind` must be "crossed"' in said
    assert 'Did you mean "crossed"?' in said
    assert "line 5, layout.cuts" in said
    assert "line 7, masses.gravity: `gravity` must lie between 9.7 and 9.9" in said


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        ('scale = "as read"\nwanted = "10 %"', 'on the scale "as read" differences are forces'),
        ('wanted = "10 gf"', 'on the scale "log" differences are percent'),
        ('wanted = "0 %"', "`wanted` must be more than zero"),
        ("wanted = 10", '10 has no unit. Write "10 %".'),
    ],
)
def test_the_wanted_difference_fits_the_scale(wanted: str, says: str) -> None:
    assert says in wrong(f'title = "T"\n{wanted}')


def test_a_key_in_the_wrong_table_is_sent_home() -> None:
    assert "It belongs at the top of the file" in wrong('title = "T"\n[layout]\nwanted = "10 %"')
    assert "It belongs in [masses]" in wrong('title = "T"\ngravity = 9.81')
    assert "It belongs in [publishing]" in wrong('title = "T"\n[layout]\nshops = "pseudonyms"')
    assert 'Did you mean "operators"?' in wrong('title = "T"\n[layout]\noperater = 3')


def test_a_missing_plan_says_how_to_begin(tmp_path) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(PlanError, match="sharpstats new --tester DIR"):
        read_tester_plan(tmp_path / "tester.toml")
