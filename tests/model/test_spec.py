"""Coding of a table: messages, the usual columns of X, and independence of how labels are stored."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sharpstats.errors import FitError
from sharpstats.model import spec
from sharpstats.model.spec import column_name, design_columns, design_matrix, model_frame, term_name


def example() -> pd.DataFrame:
    return pd.DataFrame({
        "y": [1.0, 2.0, 4.0, 5.0, 3.0, 6.0],
        "medium": ["film", "stone", "plate", "film", "stone", "plate"],
        "steel": ["carbon", "carbon", "carbon", "stainless", "stainless", "stainless"],
        "lot": [3, 1, 2, 2, 3, 1],
        "position": [4.0, 8.0, 12.0, 4.0, 8.0, 12.0],
    })  # fmt: skip


def framed(table: pd.DataFrame, *fixed: str | tuple[str, ...], covariates: tuple[str, ...] = ()) -> spec.ModelFrame:
    return model_frame(table, "y", fixed, (), covariates)


def x_of(frame: spec.ModelFrame) -> np.ndarray:
    codes = {name: factor.codes for name, factor in frame.factors.items()}
    return design_matrix(design_columns(frame), codes, frame.covariates, frame.y.size)


class TestBadInput:
    def test_all_missing_columns_are_named_with_those_there_are(self) -> None:
        with pytest.raises(FitError) as caught:
            model_frame(example(), "force", ["medium", "blade"], ["day"], ["strokes"])
        assert str(caught.value) == (
            "The table has no column `force`, `blade`, `day`, `strokes`. "
            "Its columns are `y`, `medium`, `steel`, `lot`, `position`."
        )

    def test_an_empty_table(self) -> None:
        with pytest.raises(FitError, match=r"^The table has no rows, so there is nothing to fit\.$"):
            framed(example().iloc[:0], "medium")

    def test_a_term_that_is_a_bare_text(self) -> None:
        with pytest.raises(TypeError, match=r"^`fixed` must be a list of terms, got the text 'medium'$"):
            model_frame(example(), "y", "medium", (), ())

    @pytest.mark.parametrize("terms", [["medium", "medium"], [("medium", "steel"), ("steel", "medium")],
                                       [("medium", "medium")]])  # fmt: skip
    def test_a_term_named_twice(self, terms: list[str | tuple[str, str]]) -> None:
        with pytest.raises(FitError, match=r"^The fixed term .* is named twice\. Leave one out\.$"):
            framed(example(), *terms)

    def test_texts_among_the_readings(self) -> None:
        table = example().assign(y=["1", "2", "x", "4", "5", "6"])
        with pytest.raises(FitError, match=r"^Column `y` must hold numbers only\. Turn texts into numbers first\.$"):
            framed(table, "medium")

    @pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
    def test_readings_that_are_not_finite(self, bad: float) -> None:
        table = example().assign(y=[1.0, 2.0, bad, 4.0, bad, 6.0])
        with pytest.raises(FitError, match=r"^Column `y` has 2 value\(s\) that are blank or not finite, the first in "
                                           r"row 3 of the table\. Set such rows aside first\.$"):  # fmt: skip
            framed(table, "medium")

    @pytest.mark.parametrize("labels", [["film", None, "plate", "film", "stone", "plate"],
                                        pd.Categorical(["film", None, "plate", "film", "stone", "plate"]),
                                        [1.0, np.nan, 2.0, 1.0, 3.0, 2.0]])  # fmt: skip
    def test_a_blank_label(self, labels: object) -> None:
        with pytest.raises(FitError, match=r"^Column `medium` is blank in row 2 of the table\. Fill it in, or set"):
            framed(example().assign(medium=labels), "medium")


class TestLevels:
    def test_levels_are_sorted_and_whole_numbers_have_no_point(self) -> None:
        frame = framed(example().assign(size=[2.0, 1.0, 10.0, 2.5, 1.0, 2.0]), "medium", "lot", "size")
        assert [tuple(frame.factors[name].levels) for name in ("medium", "lot", "size")] == [
            ("film", "plate", "stone"), ("1", "2", "3"), ("1", "2", "2.5", "10"),
        ]  # fmt: skip

    def test_a_category_keeps_its_order_and_loses_levels_without_rows(self) -> None:
        labels = pd.Categorical(example()["medium"], categories=["stone", "paper", "film", "plate"])
        frame = framed(example().assign(medium=labels), "medium")
        assert tuple(frame.factors["medium"].levels) == ("stone", "film", "plate")
        assert frame.factors["medium"].codes.tolist() == [1, 0, 2, 1, 0, 2]

    @settings(max_examples=40)
    @given(st.lists(st.integers(-50, 10**9), min_size=1, max_size=30), st.sampled_from(["int", "text", "category"]))
    def test_codes_and_levels_give_the_labels_back(self, values: list[int], how: str) -> None:
        column = pd.Series(values)
        if how != "int":
            column = column.astype(str)
        if how == "category":
            column = column.astype("category")
        frame = framed(pd.DataFrame({"y": np.zeros(len(values)), "lot": column}), "lot")
        factor = frame.factors["lot"]
        assert [factor.levels[code] for code in factor.codes] == [str(value) for value in values]
        assert sorted(set(factor.codes.tolist())) == list(range(len(factor.levels)))

    def test_long_columns_are_coded_like_short_ones(self) -> None:
        labels = np.array(["oak", "ash", "elm"])[np.random.default_rng(1).integers(0, 3, spec.SMALL + 1)]
        long = framed(pd.DataFrame({"y": np.zeros(labels.size), "wood": labels}), "wood").factors["wood"]
        short = framed(pd.DataFrame({"y": np.zeros(300), "wood": labels[:300]}), "wood").factors["wood"]
        assert tuple(long.levels) == tuple(short.levels) == ("ash", "elm", "oak")
        assert np.array_equal(long.codes[:300], short.codes)


def dummies(table: pd.DataFrame, name: str, *, full: bool = False) -> np.ndarray:
    """Indicator columns by pandas, an outside program."""
    return pd.get_dummies(table[name], drop_first=not full).to_numpy(float)


def products(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    return np.column_stack([left[:, i] * right[:, j] for i, j in product(range(left.shape[1]), range(right.shape[1]))])


class TestColumns:
    def test_main_effects_and_interaction(self) -> None:
        table = example()
        one = np.ones((len(table), 1))
        medium, steel = dummies(table, "medium"), dummies(table, "steel")
        frame = framed(table, "medium", "steel", ("medium", "steel"))
        assert np.array_equal(x_of(frame), np.hstack([one, medium, steel, products(medium, steel)]))
        assert [column_name(frame, column) for column in design_columns(frame)] == [
            "intercept", "medium = plate", "medium = stone", "steel = stainless",
            "medium = plate x steel = stainless", "medium = stone x steel = stainless",
        ]  # fmt: skip

    def test_an_interaction_without_one_main_effect_is_coded_in_full_there(self) -> None:
        table = example()
        medium, steel = dummies(table, "medium", full=True), dummies(table, "steel")
        frame = framed(table, "steel", ("medium", "steel"))
        # medium has no main effect, so each steel has its own differences between media
        whole = dummies(table, "steel", full=True)
        expected = np.hstack([np.ones((len(table), 1)), steel, products(medium[:, 1:], whole)])
        assert np.array_equal(x_of(frame), expected)
        assert np.linalg.matrix_rank(expected) == 6

    def test_a_covariate_alone_and_with_a_factor(self) -> None:
        table = example()
        frame = framed(table, "medium", "position", ("medium", "position"), covariates=("position",))
        position, medium = table[["position"]].to_numpy(), dummies(table, "medium")
        expected = np.hstack([np.ones((6, 1)), medium, position, medium * position])
        assert np.array_equal(x_of(frame), expected)
        assert column_name(frame, design_columns(frame)[-1]) == "medium = stone x position"

    def test_without_fixed_terms_there_is_the_intercept(self) -> None:
        frame = framed(example())
        assert np.array_equal(x_of(frame), np.ones((6, 1)))
        assert frame.fixed_factors == ()

    def test_a_numeric_column_is_a_factor_unless_named_a_covariate(self) -> None:
        assert framed(example(), "lot").fixed_factors == ("lot",)
        assert framed(example(), "lot", covariates=("lot",)).fixed_factors == ()

    def test_term_name(self) -> None:
        assert term_name(("blade",)) == "blade"
        assert term_name(("blade", "medium", "day")) == "blade x medium x day"


@pytest.mark.parametrize("offset", [1e5, 1.7e9])
def test_a_covariate_far_from_zero_is_refused_with_the_mend(offset):
    table = pd.DataFrame({"y": [1.0, 2.0, 4.0, 3.0], "moment": offset + np.array([0.0, 1.0, 2.0, 3.0])})
    with pytest.raises(FitError, match=r"Column `moment` lies so far from zero .* Subtract a typical value"):
        model_frame(table, "y", ["moment"], [], ["moment"])
    near = table.assign(moment=table["moment"] - offset)
    assert model_frame(near, "y", ["moment"], [], ["moment"]).covariates["moment"].tolist() == [0, 1, 2, 3]


@pytest.mark.parametrize("kind", ["numbers", "categories"])
def test_levels_with_gaps_come_in_their_order(kind: str) -> None:
    lots = pd.Series([9, 4, 9, 7, 4, 7])
    column = lots if kind == "numbers" else lots.astype(pd.CategoricalDtype([3, 4, 7, 8, 9]))
    factor = framed(example().assign(lot=column), "lot").factors["lot"]
    assert factor.levels == ("4", "7", "9")
    assert factor.codes.tolist() == [2, 0, 2, 1, 0, 1]
