"""Claims about what no reading has."""

from __future__ import annotations

from sharpstats.trial.coverage import claims_without_readings
from sharpstats.trial.plan import DEFAULT_LEVELS, Gap, Plan, Reaches, Same
from sharpstats.units import Quantity

MARGIN = Quantity(15.0, "%")
SAME = Same(id="a", says="A as B", medium="A", than="B", margin=MARGIN, where={"steel": "x"}, line=9)
REACHES = Reaches(id="r", says="C is fine", medium="C", level=DEFAULT_LEVELS[1], share=0.9, line=20)
PLAN = Plan(title="A?", factors={"medium": ("A", "B", "C"), "steel": ("x", "y")}, claims=(SAME, REACHES))


def test_nothing_is_told_where_everything_was_read() -> None:
    assert claims_without_readings(PLAN, {"medium": {"A", "B", "C"}, "steel": {"x"}}) == ()
    assert claims_without_readings(Plan(title="A?", factors={"medium": ("A",)}), {}) == ()


def test_each_level_that_no_reading_has_is_told_with_the_line_of_its_claim() -> None:
    problems = claims_without_readings(PLAN, {"medium": ("A", "D", "B2"), "steel": ["y"]})
    assert [(problem.line, problem.key, problem.value) for problem in problems] == [
        (9, "than", "B"),
        (9, "where.steel", "x"),
        (20, "medium", "C"),
    ]
    assert {(problem.code, problem.file) for problem in problems} == {("no-readings", "trial.toml")}
    assert str(problems[0]) == (
        'trial.toml, line 9, than: Claim "a" is about `medium` "B", and no reading has it. '
        'The readings have: "A", "B2", "D".'
    )


def test_a_factor_without_any_reading_is_told_as_such() -> None:
    problems = claims_without_readings(PLAN, {"medium": {"A", "B", "C"}})
    assert [problem.mend for problem in problems] == ["The readings have no `steel` at all."]


def test_a_gap_needs_readings_at_both_of_its_levels() -> None:
    gap = Gap(id="g", says="A and B", medium="A", than="B", across="steel", levels=("x", "y"), margin=MARGIN, line=30)
    plan = Plan(title="A?", factors={"medium": ("A", "B"), "steel": ("x", "y")}, claims=(gap,))
    (problem,) = claims_without_readings(plan, {"medium": {"A", "B"}, "steel": {"x"}})
    assert (problem.line, problem.key, problem.value) == (30, "levels", "y")
    assert 'is about `steel` "y", and no reading has it. The readings have: "x".' in str(problem)
