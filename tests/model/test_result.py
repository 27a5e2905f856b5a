"""Results: frozen, not iterable, tables that only rearrange, columns from the one vocabulary."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, fields, is_dataclass
from typing import Any

import numpy as np
import pandas as pd
import pytest
from reference.layouts import crossed

from sharpstats.columns import RESULTS
from sharpstats.model.anova import anova, welch
from sharpstats.model.mixed import fit_mixed

VOCABULARY = {column.name for column in RESULTS}


def results() -> dict[str, Any]:
    table = crossed(np.random.default_rng(1))
    fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", ("blade", "medium"), "edge"])
    return {
        "fit": fit,
        "components": fit.components,
        "coefficients": fit.coefficients,
        "terms": fit.terms(),
        "means": fit.means("medium"),
        "contrasts": fit.contrasts("medium", adjust="holm"),
        "anova": anova(table, response="y", fixed=["medium"], random=["blade", ("blade", "medium"), "edge"]),
        "welch": welch(table["y"].to_numpy(), table["medium"].str[1:].astype(int).to_numpy()),
    }


RESULT = results()
WITH_TABLE = [name for name, result in RESULT.items() if hasattr(type(result), "table")]


@pytest.mark.parametrize("name", RESULT)
def test_a_result_is_frozen_and_cannot_be_unpacked(name: str) -> None:
    result = RESULT[name]
    assert is_dataclass(result)
    with pytest.raises(FrozenInstanceError):
        setattr(result, fields(result)[0].name, None)
    with pytest.raises(TypeError, match="not iterable"):
        iter(result)


@pytest.mark.parametrize("name", WITH_TABLE)
def test_columns_come_from_the_vocabulary(name: str) -> None:
    assert set(RESULT[name].table.columns) <= VOCABULARY
    assert RESULT[name].table.columns[0] == "term"


@pytest.mark.parametrize("name", ["components", "coefficients", "means", "contrasts"])
def test_no_interval_without_its_level(name: str) -> None:
    table = RESULT[name].table
    assert {"low", "high", "level"} <= set(table.columns)
    assert table["level"].between(0.5, 1, inclusive="neither").all()


def test_tables_hold_the_numbers_of_the_result() -> None:
    estimates = RESULT["contrasts"]
    for column in ("estimate", "se", "df", "statistic", "p", "low", "high"):
        assert np.array_equal(estimates.table[column], getattr(estimates, column))
    assert np.array_equal(estimates.table["level"], estimates.levels)
    terms = RESULT["terms"]
    for column in ("df1", "df2", "f", "p"):
        assert np.array_equal(terms.table[column], getattr(terms, column))
    components = RESULT["components"]
    assert np.array_equal(components.table["variance"], components.variances)


def test_components_are_told_as_variance_sd_and_share() -> None:
    table = RESULT["components"].table
    assert table["sd"].to_numpy() == pytest.approx(np.sqrt(table["variance"]), rel=1e-14)
    assert table["share"].sum() == pytest.approx(100, rel=1e-12)
    assert (table["low"] <= table["sd"]).all()
    assert (table["sd"] <= table["high"]).all()
    assert table["term"].tolist() == ["blade", "blade x medium", "edge", "residual"]


def test_means_carry_no_test_against_zero() -> None:
    assert not {"statistic", "p"} & set(RESULT["means"].table.columns)


def test_the_column_at_appears_where_rows_hold_at_one_level_only() -> None:
    table = crossed(np.random.default_rng(1)).assign(steel=lambda t: t["blade"].isin(["b0", "b1"]).map(str))
    fit = fit_mixed(table, response="y", fixed=["medium", "steel"], random=["edge"])
    assert "at" not in fit.means("medium").table
    assert fit.means("medium", by="steel").table["at"].tolist() == ["False"] * 3 + ["True"] * 3


def test_a_holm_interval_tells_its_own_level() -> None:
    levels = RESULT["contrasts"].table["level"]
    assert levels.max() > RESULT["contrasts"].level == 0.95


def test_tables_are_made_once() -> None:
    assert RESULT["terms"].table is RESULT["terms"].table
    assert isinstance(RESULT["terms"].table, pd.DataFrame)
