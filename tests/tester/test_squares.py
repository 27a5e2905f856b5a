"""Mean squares of any layout: the classical ones where it is balanced, exact expectations where it is not."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from invented import crossed, nested

from sharpstats.model.mixed import fit_mixed
from sharpstats.tester.arrangement import find_arrangement
from sharpstats.tester.squares import mean_squares_of, sweep


@pytest.mark.parametrize(
    ("table", "terms"),
    [(crossed(), ["operator", "edge", ("operator", "edge")]), (nested(), ["operator", "edge"]),
     (crossed().assign(day=lambda t: t["cut"] % 2), ["operator", "edge", ("operator", "edge"), "day"])],
)  # fmt: skip
def test_a_balanced_layout_has_the_classical_ones(table: pd.DataFrame, terms: list[str | tuple[str, str]]) -> None:
    theirs = fit_mixed(table, response="reading", random=terms).mean_squares
    parts = find_arrangement(table).parts
    layout = sweep([part.codes for part in parts], len(table))
    ours = mean_squares_of(layout, table["reading"].to_numpy(), theirs.terms, 0.95)
    assert ours is not None
    np.testing.assert_allclose(ours.df, theirs.df)
    np.testing.assert_allclose(ours.mean_square, theirs.mean_square, rtol=1e-10)
    np.testing.assert_allclose(ours.expected, theirs.expected, atol=1e-9)


def test_expectations_hold_where_cells_are_lost() -> None:
    """Each mean square's mean is its row of expectations times the variances: by y' Q y, y each column of a part."""
    table = crossed().drop(index=[0, 1, 2, 3, 17, 40, 41, 70])
    codes = [part.codes for part in find_arrangement(table).parts]
    layout = sweep(codes, len(table))
    for j, one in enumerate(codes):
        z = np.equal.outer(np.arange(one.max() + 1), one).astype(float)
        np.testing.assert_allclose(layout.squares(z).sum(axis=0) / layout.df, layout.expected[:, j], atol=1e-9)
    identity = layout.squares(np.eye(len(table))).sum(axis=0) / layout.df
    np.testing.assert_allclose(identity, layout.expected[:, -1])


def test_squares_add_up_in_a_balanced_layout_and_ignore_the_mean() -> None:
    table = crossed(2)
    y = table["reading"].to_numpy()
    layout = sweep([part.codes for part in find_arrangement(table).parts], len(table))
    np.testing.assert_allclose(layout.squares(y).sum(), np.sum((y - y.mean()) ** 2), rtol=1e-12)
    np.testing.assert_allclose(layout.squares(y + 1e9), layout.squares(y), rtol=1e-5)


def test_many_responses_at_once_are_as_one_by_one() -> None:
    table = crossed().drop(index=[5, 6, 30])
    layout = sweep([part.codes for part in find_arrangement(table).parts], len(table))
    y = np.random.default_rng(3).standard_normal((4, len(table)))
    np.testing.assert_allclose(layout.squares(y), [layout.squares(row) for row in y])


def test_a_part_without_a_square_of_its_own_gives_none() -> None:
    edge, operator = np.array([0, 0, 1, 1]), np.array([0, 0, 1, 1])
    layout = sweep([edge, np.array([0, 1, 2, 3])], 4)
    assert mean_squares_of(layout, np.arange(4.0), ("a", "b", "r"), 0.95) is None
    assert sweep([edge, operator], 4).df.tolist() == [1.0, 1.0, 2.0]
