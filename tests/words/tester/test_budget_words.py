"""An uncertainty budget in words: the first sentence, the largest source, the table, the check."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest

from sharpstats.tester.budget import Budget, budget, budget_of
from sharpstats.tester.contribution import Contribution
from sharpstats.words.blocks import Table
from sharpstats.words.display import as_html, as_text
from sharpstats.words.numbers import NBSP
from sharpstats.words.tester.budget import budget_blocks, check_sentence, largest_sentence, uncertainty_sentence


def part(name: str, standard: float, **more: Any) -> Contribution:
    return Contribution(**{"name": name, "standard": standard, **more})


PARTS = (part("cuts", 8.0, unit="%", df=60, kind="A", averages=True), part("operators", 3.0, df=40, cancels=True),
         part("filament", 4.0, source="the maker"))  # fmt: skip


def plain(text: str) -> str:
    return text.replace(NBSP, " ")


@pytest.mark.parametrize(("more", "says"), [
    ({}, "One cut on an edge near 150 gf is uncertain by 26 gf either way (95 %)."),
    ({"cuts": 4}, "The mean of 4 cuts on an edge near 150 gf is uncertain by 15 gf either way (95 %)."),
    ({"difference": True}, "The difference of two edges near 150 gf, one cut on each, is uncertain by 36 gf either way "
                           "(95 %)."),
    ({"cuts": 4, "difference": True, "level": 0.9}, "The difference of two edges near 150 gf, 4 cuts on each, is "
                                                    "uncertain by 17 gf either way (90 %)."),
])  # fmt: skip
def test_first_sentence(more: dict[str, Any], says: str) -> None:
    assert plain(uncertainty_sentence(budget(PARTS, reading=150.0, seed=None, **more))) == says


def test_the_number_is_the_budgets() -> None:
    found = budget(PARTS, reading=150.0, seed=None)
    assert round(found.expanded) == 26


def test_a_result_of_a_model() -> None:
    found = budget_of(lambda a: 2 * a, [part("a", 0.0123, value=5.0)], unit="nm", seed=None)
    assert plain(uncertainty_sentence(found)) == "The result, 10.000 nm, is uncertain by 0.048 nm either way (95 %)."
    bare = budget_of(lambda a: a, [part("a", 1.0)], seed=None)
    assert plain(uncertainty_sentence(bare)) == "One cut on an edge is uncertain by 2.0 either way (95 %)."


@pytest.mark.parametrize(("sizes", "says"), [
    ((1.0,), "All of it comes from one source: c0."),
    ((10.0, 1.0), "Nearly all of its variance (99 %) comes from one source: c0."),
    ((3.0, 1.0), "Most of its variance (90 %) comes from one source: c0."),
    ((1.0, 1.7), "About three quarters of its variance (74 %) comes from one source: c1."),
    ((1.0, 1.35), "About two thirds of its variance (65 %) comes from one source: c1."),
    ((1.0, 1.0), "About half of its variance (50 %) comes from one source: c0."),
    ((1.0, 1.1, 1.2), "The largest source is c2 (39 % of the variance), then c1 (33 %)."),
])  # fmt: skip
def test_largest_source(sizes: tuple[float, ...], says: str) -> None:
    found = budget([part(f"c{i}", size) for i, size in enumerate(sizes)], seed=None)
    assert plain(largest_sentence(found)) == says


class TestTable:
    def table(self, found: Budget) -> Table:
        return next(block for block in budget_blocks(found) if isinstance(block, Table))

    def test_largest_first_then_the_whole(self) -> None:
        found = budget(PARTS, reading=150.0, seed=None)
        text = plain(self.table(found).plain()).split("\n")
        assert [line.split()[0] for line in text[2:]] == ["cuts", "filament", "operators", "the"]
        assert text[2].split()[1:] == ["8", "%", "A,", "t", "12.0", "85", "60"]
        assert text[-1].split()[1:] == ["whole", "13.0", "100", "82.2"]  # 13^4 / (12^4 / 60 + 3^4 / 40)

    def test_what_cancels_is_told_and_left_out(self) -> None:
        found = budget(PARTS, reading=150.0, difference=True, seed=None)
        assert "operators" not in self.table(found).plain()
        assert "Not in it, because the same for both edges: operators." in as_text(found)

    def test_second_order_terms_have_their_row(self) -> None:
        inputs = [part("a", 0.1, value=1.0), part("b", 0.1)]
        bent = budget_of(lambda a, b: a * b, inputs, second_order=True, seed=None)
        straight = budget_of(lambda a, b: a * b, inputs, seed=None)
        assert "second-order terms" in self.table(bent).plain()
        assert "second-order terms" not in self.table(straight).plain()

    def test_no_column_is_needed_that_a_telephone_cannot_show(self) -> None:
        assert len(self.table(budget(PARTS, reading=150.0, seed=None)).columns) == 6


class TestCheck:
    def test_confirmed(self) -> None:
        found = budget([part("a", 10.0)], digits=1)
        assert found.check is not None
        said = plain(check_sentence(found, found.check))
        assert said.endswith("between −20 and 20 gf: that confirms the interval of the budget, −20 and 20 gf.")
        assert f"{found.check.trials:,} times" in said

    def test_few_degrees_of_freedom(self) -> None:
        found = budget([part("cuts", 6.0, df=60), part("operators", 5.0, df=2)], digits=1)
        assert found.check is not None
        said = plain(check_sentence(found, found.check))
        assert "the size of operators is known from few cases (2 degrees of freedom)" in said
        assert "go by those drawn where much depends on it" in said

    def test_the_budget_is_too_wide(self) -> None:
        found = budget([Contribution(name="limits", half_width=10.0), part("a", 1.0)])
        assert found.check is not None
        assert "does not confirm" in check_sentence(found, found.check)
        assert "go by the limits drawn" in check_sentence(found, found.check)

    def test_limits_that_differ_do_not_look_alike(self) -> None:
        found = budget([part("cuts", 9.61, df=29), part("filament", 1.8)], digits=3)
        assert found.check is not None and not found.check.agrees
        told = re.findall(r"−[\d.]+ and [\d.]+ gf", plain(check_sentence(found, found.check)))
        assert len(set(told)) == 2

    def test_what_cancels_is_no_reason(self) -> None:
        parts = [Contribution(name="limits", half_width=10.0), part("operators", 5.0, df=1, cancels=True)]
        found = budget(parts, difference=True, digits=3)
        assert "operators is known" not in as_text(found)

    def test_left_out(self) -> None:
        assert "Drawing" not in as_text(budget(PARTS, reading=150.0, seed=None))


def test_sources_are_told_once_each() -> None:
    found = budget([part("a", 1.0, source="the plan"), part("b", 1.0, source="the plan"), *PARTS], reading=150.0,
                   seed=None)  # fmt: skip
    said = as_text(found)
    assert "A and b: the plan." in said
    assert "Filament: the maker." in said


def test_labels_are_escaped_and_kept_short() -> None:
    hostile = part("<script>x</script>\n" + 80 * "y", 1.0, source="<b>")
    html = as_html(budget([hostile], seed=None))
    assert "<script>" not in html and "<b>" not in html
    assert max(map(len, as_text(budget([hostile], seed=None)).split("\n"))) <= 100


def test_unlimited_degrees_of_freedom() -> None:
    found = budget([part("a", 1.0)], seed=None)
    assert found.df == math.inf
    assert "unlimited degrees of freedom" in plain(as_text(found)).replace("\n  ", " ")
