"""What a tester study says of its spread, and of the smallest difference: first the plain sentence."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "tester"))

from invented import crossed, nested

from sharpstats.tester.smallest import cuts_needed, smallest_difference
from sharpstats.tester.spreads import Spreads, find_spreads
from sharpstats.words.display import as_html, as_text
from sharpstats.words.numbers import NBSP


def told(result: object) -> str:
    return " ".join(as_text(result, 10_000).replace(NBSP, " ").split())


@pytest.fixture(scope="module")
def kept() -> Spreads:
    table = crossed(11)
    half = (table["cut"] > 2).map({True: "tue", False: "mon"})
    return find_spreads(table.assign(day=half, filament_lot=half), scale="log")


class TestSpreads:
    def test_the_plain_sentence_comes_first_in_percent(self, kept: Spreads) -> None:
        r = kept.limits["r"]
        value, low, high = (100 * np.expm1(x) for x in (r.estimate, r.low, r.high))
        assert told(kept).startswith(
            f"Two cuts on the same edge by the same operator differ by less than {value:.0f} % (limit r; "
            f"95 % interval: {low:.0f} % to {high:.0f} %) in 95 of 100 pairs. "
            "Found from 96 cuts on 8 edges by 3 operators."
        )

    def test_what_is_inside_is_said(self, kept: Spreads) -> None:
        assert "with another operator, day and filament lot differ by less than" in told(kept)

    def test_a_wide_interval_is_explained(self, kept: Spreads) -> None:
        assert kept.limits["R"].high > 3 * kept.limits["R"].estimate
        assert "How much more cannot be told, because only 2 days and filament lots were tried." in told(kept)
        assert "How much more" not in told(find_spreads(crossed(11, operators=12), scale="log"))

    def test_every_note_is_told(self, kept: Spreads) -> None:
        text = told(kept)
        for note in kept.notes:
            assert note.text in text
        assert "each one is at a fresh spot of the edge" in text

    def test_one_operator(self) -> None:
        text = told(find_spreads(crossed(operators=1), scale="as read", unit="N"))
        assert "so nothing can be said of what they add" in text
        assert "limit R" not in text
        assert " N (limit r" in text

    def test_an_edge_for_each_operator(self) -> None:
        found = find_spreads(nested(edges=1), scale="log")
        assert "Every edge had its own operator, so what that adds cannot be told from the edges." in told(found)
        assert "the study cannot tell operators from edges" in told(smallest_difference(found))

    def test_like_edges(self) -> None:
        text = told(find_spreads(crossed(operators=1, cuts=1, edges=12, edge=0), scale="log", layout="like edges"))
        assert text.startswith("Two cuts on like edges by the same operator differ by less than")
        assert "categories" not in text

    def test_edges_that_are_hardly_told_apart(self) -> None:
        text = told(find_spreads(crossed(2, edge=0.005, both=0.0), scale="log"))
        assert "so it hardly tells such edges apart (number of distinct categories" in text

    def test_a_page_holds_the_details_and_the_check(self, kept: Spreads) -> None:
        page = as_html(kept)
        for text in ("By restricted maximum likelihood, with profile intervals", "Mean squares",
                     "drawn again 2,000 times from its own estimates (seed 1)", "r and R are 2.8 SDs"):  # fmt: skip
            assert text in page

    def test_over_range(self) -> None:
        table = crossed(7)
        limit = float(table["reading"].quantile(0.97))
        over = (table["reading"] > limit).to_numpy()
        table = table.assign(over_range=over, reading=table["reading"].clip(upper=limit))
        assert "mean squares cannot be formed" in as_html(find_spreads(table, scale="log"))


class TestSmallest:
    def test_sentences(self, kept: Spreads) -> None:
        found = smallest_difference(kept)
        first = [100 * np.expm1(found.smallest[0, cuts - 1]) for cuts in (1, 4, 10)]
        assert told(found).startswith(
            "Where one operator cuts both edges, the smallest difference between two edges is "
            f"{first[0]:.0f} % with 1 cut, {first[1]:.0f} % with 4 cuts, {first[2]:.0f} % with 10 cuts on each."
        )
        assert "Where all differs that the study changed (operator, operator x edge, day, filament lot)" in told(found)

    def test_a_number_of_cuts_of_ones_own(self, kept: Spreads) -> None:
        assert "with 5 cuts on each." in told(smallest_difference(kept, [5]))

    def test_cuts_needed(self, kept: Spreads) -> None:
        found = cuts_needed(kept, "12 %")
        assert found.cuts is not None
        assert told(found).startswith(
            f"To show a difference of 12 % where one operator cuts both edges: {found.cuts} cuts on each edge (95 %"
        )

    def test_how_sure_it_is_is_said(self, kept: Spreads) -> None:
        found = cuts_needed(kept, "20 %")
        assert f"to see it 9 times in 10 it takes {found.surely} cuts." in told(found)
        assert "to see it 9 times in 10 no number of cuts is enough." in told(cuts_needed(kept, "10 %"))
        assert "is then seen 9 times in 10 or more." in told(cuts_needed(kept, "60 %"))

    def test_cannot_however_many(self, kept: Spreads) -> None:
        text = told(cuts_needed(kept, "2 %", "two operators"))
        assert "cannot, however many cuts. What cuts do not average out comes to" in text
        assert "Let one operator cut both edges, or make more edges rather than more cuts." in text
        assert "Let one operator" not in told(cuts_needed(kept, "2 %"))

    def test_too_many(self) -> None:
        found = find_spreads(crossed(operators=1), scale="as read")
        assert told(cuts_needed(found, "0.05 gf")).endswith("not with 1,000 cuts on each edge.")
