"""Two plans compared: every field of a plan that changes is told, in words."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest

from sharpstats.trial.compare import plan_differences
from sharpstats.trial.plan import DEFAULT_LEVELS, Gap, Keener, Layout, Level, NoWorse, Plan, Publishing, Reaches, Same
from sharpstats.units import Quantity

SAME = Same(id="a", says="A as B", medium="A", than="B", margin=Quantity(15.0, "%"), line=9)
GAP = Gap(id="g", says="A and B", medium="A", than="B", across="steel", levels=("x", "y"), margin=Quantity(15.0, "%"))
REACHES = Reaches(id="r", says="A is fine", medium="A", level=DEFAULT_LEVELS[1], share=0.9)
PLAN = Plan(
    title="A or B?",
    factors={"medium": ("A", "B"), "steel": ("x", "y")},
    layout=Layout(blocks=("blade",), interactions=(("medium", "steel"),), cuts=5),
    claims=(SAME, GAP, REACHES),
)

CHANGES = [
    ({"title": "B or A?"}, '`title` was "A or B?" and is "B or A?".'),
    ({"question": "Which?"}, '`question` was not given and is "Which?".'),
    ({"unit": "N"}, '`unit` was "gf" and is "N".'),
    ({"scale": "as read"}, '`scale` was "log" and is "as read".'),
    ({"alpha": 0.01}, "`alpha` was 0.05 and is 0.01."),
    ({"family": "none"}, '`family` was "holm" and is "none".'),
    ({"files": ("a.csv", "b.csv")}, '`readings` was not given and is "a.csv", "b.csv".'),
    ({"tester_study": "../tester"}, '`tester_study` was not given and is "../tester".'),
    ({"factors": {"medium": ("A", "B")}}, '`factors.steel` was "x", "y" and is not given.'),
    ({"layout": replace(PLAN.layout, blocks=())}, '`layout.blocks` was "blade" and is not given.'),
    ({"layout": replace(PLAN.layout, interactions=())}, "`layout.interactions` was medium x steel and is not given."),
    ({"layout": replace(PLAN.layout, edges_per_cell=2)}, "`layout.edges_per_cell` was not given and is 2."),
    ({"layout": replace(PLAN.layout, cuts=3)}, "`layout.cuts` was 5 and is 3."),
    ({"layout": replace(PLAN.layout, seed=1)}, "`layout.seed` was not given and is 1."),
    ({"levels": DEFAULT_LEVELS[1:]}, '`levels.about the keenest an edge gets` was "75 gf" and is not given.'),
    (
        {"publishing": Publishing(operators="as written")},
        '`publishing.operators` was "pseudonyms" and is "as written".',
    ),
    ({"publishing": Publishing(author="us")}, '`publishing.author` was not given and is "us".'),
    ({"publishing": Publishing(license="MIT")}, '`publishing.license` was "CC-BY-4.0" and is "MIT".'),
    ({"publishing": Publishing(invented=True)}, "`publishing.invented` was false and is true."),
    ({"claims": (GAP, REACHES)}, 'Claim "a" was taken out: A as B'),
    (
        {"claims": (SAME, GAP, REACHES, Keener(id="k", says="A keener", medium="A", than="B", by=Quantity(0.0, "%")))},
        'Claim "k" was added: A keener',
    ),
]


@pytest.mark.parametrize(("changes", "sentence"), CHANGES)
def test_a_change_has_one_sentence(changes: dict[str, object], sentence: str) -> None:
    assert plan_differences(PLAN, replace(PLAN, **changes)) == (sentence,)


def test_no_part_of_a_plan_changes_in_silence() -> None:
    named = {key for changes, _ in CHANGES for key in changes}
    assert named == {field.name for field in fields(Plan)}
    said = " ".join(sentence for _, sentence in CHANGES)
    parts = [f"layout.{field.name}" for field in fields(Layout)]
    parts += [f"publishing.{field.name}" for field in fields(Publishing)]
    assert [part for part in parts if f"`{part}`" not in said] == []


CLAIM_CHANGES = [
    (SAME, {"says": "A like B"}, '`says` was "A as B" and is "A like B".'),
    (SAME, {"medium": "C"}, '`medium` was "A" and is "C".'),
    (SAME, {"than": "C"}, '`than` was "B" and is "C".'),
    (SAME, {"margin": Quantity(20.0, "%")}, '`margin` was "15 %" and is "20 %".'),
    (SAME, {"where": {"steel": "x"}}, '`where.steel` was not given and is "x".'),
    (SAME, {"primary": False}, "`primary` was true and is false."),
    (GAP, {"across": "angle"}, '`across` was "steel" and is "angle".'),
    (GAP, {"levels": ("y", "x")}, '`levels` was "x", "y" and is "y", "x".'),
    (GAP, {"depends": True}, "`depends` was false and is true."),
    (REACHES, {"share": 0.8}, "`share` was 0.9 and is 0.8."),
    (
        REACHES,
        {"level": Level(name="120 gf", reading=Quantity(120.0, "gf"))},
        '`level` was "fine smoothing work (150 gf)" and is "120 gf".',
    ),
]


@pytest.mark.parametrize(("claim", "changes", "sentence"), CLAIM_CHANGES)
def test_a_change_of_a_claim_names_the_claim(claim: Same, changes: dict[str, object], sentence: str) -> None:
    claims = tuple(replace(one, **changes) if one is claim else one for one in PLAN.claims)
    assert plan_differences(PLAN, replace(PLAN, claims=claims)) == (f'Claim "{claim.id}": {sentence}',)


def test_a_claim_of_another_kind_tells_its_kind() -> None:
    claim = NoWorse(id="a", says="A as B", medium="A", than="B", margin=Quantity(15.0, "%"))
    assert plan_differences(PLAN, replace(PLAN, claims=(claim, GAP, REACHES))) == (
        'Claim "a": `kind` was "same" and is "no worse".',
    )


def test_order_and_line_of_claims_do_not_count() -> None:
    assert plan_differences(PLAN, replace(PLAN, claims=(REACHES, GAP, replace(SAME, line=99)))) == ()


def test_the_unit_in_which_a_force_is_written_does_not_count() -> None:
    newtons = tuple(replace(level, reading=level.reading.to("N")) for level in PLAN.levels)
    reaches = replace(REACHES, level=newtons[1])
    assert plan_differences(PLAN, replace(PLAN, levels=newtons, claims=(SAME, GAP, reaches))) == ()


def test_texts_that_differ_late_are_told_in_full() -> None:
    long = "a" * 100
    sentence = plan_differences(replace(PLAN, title=f"{long}b"), replace(PLAN, title=f"{long}c"))
    assert sentence == (f'`title` was "{long}b" and is "{long}c".',)
