"""Plans with a claim of the kind `gap`: every mistake with its line, its key and its mend."""

from __future__ import annotations

import pytest

from sharpstats.errors import PlanError, Problem
from sharpstats.trial.plan import Gap
from sharpstats.trial.toml import parse_plan
from sharpstats.units import Quantity

GOOD = """\
title = "Do cheap media ask more skill?"
[factors]
medium = ["slate", "plate"]
operator = ["learner", "practised"]
steel = ["soft", "hard", "stainless"]
[layout]
blocks = ["blade"]
interactions = [["medium", "operator"], ["medium", "steel"]]
[[claim]]
id = "skill"
says = "Slate asks no more skill"
kind = "gap"
medium = "slate"
than = "plate"
across = "operator"
margin = "15 %"
"""


def gap(text: str) -> Gap:
    (claim,) = parse_plan(text).claims
    assert isinstance(claim, Gap)
    return claim


def problem_of(text: str) -> Problem:
    with pytest.raises(PlanError) as caught:
        parse_plan(text)
    (problem,) = caught.value.problems
    return problem


def test_two_levels_need_not_be_named_and_the_gap_is_claimed_to_be_small() -> None:
    claim = gap(GOOD)
    assert (claim.across, claim.levels, claim.depends) == ("operator", ("learner", "practised"), False)
    assert claim.margin == Quantity(15.0, "%")


def test_levels_are_taken_in_the_order_given() -> None:
    assert gap(f'{GOOD}levels = ["practised", " learner"]\n').levels == ("practised", "learner")
    text = GOOD.replace('across = "operator"', 'across = "steel"\nlevels = ["stainless", "soft"]')
    assert gap(text).levels == ("stainless", "soft")


def test_that_it_depends_at_all_may_be_claimed_and_that_it_differs_by_nothing_may_not() -> None:
    assert gap(f"{GOOD}depends = true\n".replace("15 %", "0 %")).margin == Quantity(0.0, "%")
    for depends in ("", "depends = false\n"):
        problem = problem_of(f"{GOOD}{depends}".replace("15 %", "0 %"))
        assert (problem.code, problem.line, problem.key) == ("out-of-range", 16, "claim 1, margin")
        assert "`margin` must be more than zero; it is 0 %." in str(problem)


def test_interactions_left_out_are_there() -> None:
    assert gap(GOOD.replace('interactions = [["medium", "operator"], ["medium", "steel"]]\n', "")).across == "operator"


def test_where_holds_a_third_factor_if_all_three_go_together() -> None:
    text = GOOD.replace('["medium", "operator"]', '["medium", "operator", "steel"]') + 'where = { steel = "soft" }\n'
    assert dict(gap(text).where) == {"steel": "soft"}


BROKEN = {
    "no across": ('across = "operator"\n', "", "missing-key", 9, "across",
                  ("`across` is missing.", 'across = "operator"')),
    "across is no text": ('across = "operator"', "across = 5", "wrong-type", 15, "across", ("not a number",)),
    "across the medium": ('across = "operator"', 'across = "medium"', "across-medium", 15, "across",
                          ("cannot depend on the medium", "Name another factor")),
    "across a block": ('across = "operator"', 'across = "blade"', "across-block", 15, "across",
                       ("`blade` is a block", 'take "blade" out of `blocks`, and name its levels in [factors]')),
    "across no factor": ('across = "operator"', 'across = "operater"', "unknown-factor", 15, "across",
                         ('no factor "operater"', 'Did you mean "operator"?')),
    "no interaction": ('["medium", "operator"], ', "", "no-interaction", 15, "across",
                       ("no interaction of medium with operator", "there is no gap to find",
                        'Add ["medium", "operator"] to `interactions` in [layout].')),
    "three levels and none named": ('across = "operator"', 'across = "steel"', "missing-key", 9, "levels",
                                    ('`steel` has 3 levels ("soft", "hard" and "stainless")',
                                     'levels = ["soft", "hard"]')),
    "one level": ('margin = "15 %"', 'margin = "15 %"\nlevels = ["learner"]', "two-levels", 17, "levels",
                  ("between two different levels", 'levels = ["learner", "practised"]')),
    "a level twice": ('margin = "15 %"', 'margin = "15 %"\nlevels = ["learner", "learner "]', "two-levels", 17,
                      "levels", ("between two different levels",)),
    "levels as text": ('margin = "15 %"', 'margin = "15 %"\nlevels = "learner"', "wrong-type", 17, "levels",
                       ("must be a list",)),
    "an unknown level": ('margin = "15 %"', 'margin = "15 %"\nlevels = ["learner", "master"]', "unknown-level", 17,
                         "levels[2]", ('"master" is not a level of `operator`', 'Known: "learner", "practised"')),
    "a force on the log scale": ('"15 %"', '"15 gf"', "wrong-scale", 16, "margin", ("differences are percent",)),
    "a margin below zero": ('margin = "15 %"', 'margin = "-1 %"\ndepends = true', "out-of-range", 16, "margin",
                            ("`margin` must not be negative", "without the minus sign")),
    "no margin": ('margin = "15 %"\n', "", "missing-key", 9, "margin", ('margin = "15 %"',)),
    "by instead of margin": ("margin =", "by =", "wrong-key", 16, "by", ("Write `margin` instead.",)),
    "depends in quotes": ('margin = "15 %"', 'margin = "15 %"\ndepends = "yes"', "wrong-type", 17, "depends",
                          ("true or false",)),
    "where on the factor itself": ('margin = "15 %"', 'margin = "15 %"\nwhere = { operator = "learner" }',
                                   "where-on-across", 17, "where.operator", ("which `across` compares",)),
    "where without all three together": ('margin = "15 %"', 'margin = "15 %"\nwhere = { steel = "soft" }',
                                         "no-interaction", 17, "where.steel",
                                         ("the gap is then the same at each level of steel",
                                          'Add ["medium", "operator", "steel"] to `interactions`')),
    "across in a claim of another kind": ('kind = "gap"', 'kind = "same"', "wrong-key", 15, "across",
                                          ("has no `across`", 'change `kind` to "gap"')),
}  # fmt: skip


@pytest.mark.parametrize("name", BROKEN)
def test_tells_of(name: str) -> None:
    old, new, code, line, key, words = BROKEN[name]
    assert GOOD.count(old) == 1
    problem = problem_of(GOOD.replace(old, new))
    assert (problem.code, problem.file, problem.line, problem.key) == (code, "trial.toml", line, f"claim 1, {key}")
    assert not [part for part in words if part not in str(problem)], str(problem)


def test_the_only_factor_is_the_medium() -> None:
    text = GOOD.replace('operator = ["learner", "practised"]\nsteel = ["soft", "hard", "stainless"]\n', "")
    problem = problem_of(text.replace('interactions = [["medium", "operator"], ["medium", "steel"]]\n', ""))
    assert problem.code == "unknown-factor"
    assert 'Add it to [factors], for example: operator = ["one", "other"]' in str(problem)


def test_an_operator_is_a_factor_or_a_block_and_not_both() -> None:
    problem = problem_of(GOOD.replace('blocks = ["blade"]', 'blocks = ["blade", "operator"]'))
    assert (problem.code, problem.line, problem.key) == ("factor-and-block", 7, "layout.blocks[2]")
    assert '"operator" is a factor already' in str(problem)
    assert "Take it out of `blocks`, or out of [factors]." in str(problem)


def test_a_broken_factor_is_not_held_against_the_claim() -> None:
    problem = problem_of(GOOD.replace('operator = ["learner", "practised"]', 'operator = ["learner"]'))
    assert (problem.code, problem.key) == ("too-few-levels", "factors.operator")
