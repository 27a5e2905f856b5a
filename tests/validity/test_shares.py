from __future__ import annotations

import pandas as pd
import pytest
from scipy import stats
from validity.shares import bound, is_off, standard_error


def test_a_bound_is_three_standard_errors_of_a_binomial() -> None:
    assert bound(2500) == pytest.approx(3 * stats.binom(2500, 0.05).std() / 2500)


def test_no_error_at_all_has_a_standard_error() -> None:
    assert standard_error(0.0, 1000) > 0


def test_off_is_beyond_luck() -> None:
    trials = pd.Series([20_000, 20_000, 100])
    assert is_off(pd.Series([0.079, 0.085, 0.085]), trials).tolist() == [False, True, False]
