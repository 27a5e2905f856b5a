"""Student's t: SciPy's own, inverse pairs, and the normal limit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sharpstats.model.student import quantile, two_sided_p


@given(st.floats(-30, 30), st.floats(0.3, 1e4))
def test_p_is_scipys(t: float, df: float) -> None:
    assert two_sided_p(np.array([t]), np.array([df])) == pytest.approx([2 * stats.t.sf(abs(t), df)], rel=1e-9)


@given(st.floats(1e-6, 0.5), st.floats(0.5, 1e4))
def test_quantile_is_scipys(upper: float, df: float) -> None:
    assert quantile(upper, np.array([df])) == pytest.approx([stats.t.isf(upper, df)], rel=1e-7, abs=1e-10)


@given(st.floats(1e-6, 0.5), st.floats(0.5, 1e4))
def test_quantile_and_p_undo_each_other(upper: float, df: float) -> None:
    degrees = np.array([df])
    assert two_sided_p(quantile(upper, degrees), degrees) == pytest.approx([2 * upper], rel=1e-8)


def test_infinite_df_are_the_normal_distribution() -> None:
    df = np.array([np.inf, 1e12])
    assert two_sided_p(np.array([1.7, 1.7]), df) == pytest.approx([2 * stats.norm.sf(1.7)] * 2, rel=1e-9)
    assert quantile(0.025, df) == pytest.approx([stats.norm.isf(0.025)] * 2, rel=1e-9)


def test_one_df_is_cauchy() -> None:
    assert quantile(0.25, np.array([1.0])) == pytest.approx([1.0], rel=1e-12)
    assert two_sided_p(np.array([1.0]), np.array([1.0])) == pytest.approx([0.5], rel=1e-12)


def test_unknown_stays_unknown() -> None:
    assert np.isnan(two_sided_p(np.array([np.nan, 1.0]), np.array([5.0, np.nan]))).all()
    assert np.isnan(quantile(0.025, np.array([np.nan]))).all()
