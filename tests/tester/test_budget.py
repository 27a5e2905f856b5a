"""The uncertainty budget: worked examples of the GUM, properties, what it refuses.

Values of JCGM 100:2008 and JCGM 101:2008 are from memory; H.1 also from `tests/reference/uncertainty/`.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.stored import stored_json, stored_table

from sharpstats.errors import FitError
from sharpstats.tester.budget import Budget, budget, budget_of
from sharpstats.tester.contribution import Contribution, df_from_doubt
from sharpstats.tester.propagate import Inputs, symmetric_limits
from sharpstats.units import NEWTONS_PER_GF


def one(name: str, standard: float, **more: object) -> Contribution:
    return Contribution(name=name, standard=standard, **more)  # type: ignore[arg-type]


def end_gauge(*, rounded: bool, second_order: bool = False) -> Budget:
    """GUM H.1 with the inputs from their sources, or as the example rounds them on its way; nanometres."""
    repeated = one("repeated", 13 / math.sqrt(5), df=24)
    random = Contribution(name="random", expanded=0.01e3, level=0.95, df=5)
    random = random if not rounded else one("random", 3.9, df=5)
    systematic = Contribution(name="systematic", expanded=0.02e3, k=3, df=df_from_doubt(0.25))
    if rounded:
        repeated, systematic = one("repeated", 5.8, df=24), one("systematic", 6.7, df=8)
    inputs = [
        Contribution(name="l_S", value=50.000623e6, expanded=75, k=3, df=18),
        Contribution(name="mean of d", value=215, standard=repeated.u, df=24),
        random,
        systematic,
        Contribution(name="alpha_S", value=11.5e-6, half_width=2e-6),
        Contribution(name="theta mean", value=-0.1, standard=0.2),
        Contribution(name="theta cyclic", half_width=0.5, distribution="u-shaped"),
        Contribution(name="delta alpha", half_width=1e-6, df=df_from_doubt(0.1)),
        Contribution(name="delta theta", half_width=0.05, df=df_from_doubt(0.5)),
    ]

    def length(l_s, d, d1, d2, alpha_s, theta, cyclic, delta_alpha, delta_theta):  # type: ignore[no-untyped-def]
        return l_s + d + d1 + d2 - l_s * (delta_alpha * (theta + cyclic) + alpha_s * delta_theta)

    return budget_of(length, inputs, unit="nm", level=0.99, second_order=second_order, seed=None)


class TestEndGauge:
    """GUM H.1."""

    def test_value_and_combined_uncertainty(self) -> None:
        found = end_gauge(rounded=True)
        assert found.value == pytest.approx(50.000838e6, abs=0.5)
        assert found.combined**2 == pytest.approx(1002, abs=1.5)  # printed 1002 nm2, from rounded parts
        assert round(found.combined) == 32
        assert found.combined / found.value == pytest.approx(6.4e-7, abs=0.07e-7)  # printed u_c rounded to 32 first

    def test_each_contribution(self) -> None:
        found = end_gauge(rounded=False)
        parts = dict(zip(found.table["term"], found.table["contribution"], strict=True))
        d = math.sqrt(sum(parts[name] ** 2 for name in ("mean of d", "random", "systematic")))
        printed = {"l_S": 25, "mean of d": 5.8, "random": 3.9, "systematic": 6.7, "alpha_S": 0, "theta mean": 0,
                   "theta cyclic": 0, "delta alpha": 2.9, "delta theta": 16.6}  # fmt: skip
        for name, value in printed.items():
            assert parts[name] == pytest.approx(value, abs=0.051), name
        assert d == pytest.approx(9.7, abs=0.05)
        sizes = dict(zip(found.table["term"], found.table["standard_uncertainty"], strict=True))
        assert sizes["alpha_S"] == pytest.approx(1.2e-6, abs=0.05e-6)
        assert sizes["theta cyclic"] == pytest.approx(0.35, abs=0.005)
        assert sizes["delta alpha"] == pytest.approx(0.58e-6, abs=0.005e-6)
        assert sizes["delta theta"] == pytest.approx(0.029, abs=0.0005)

    def test_the_inputs_as_stored(self) -> None:
        """The sum of its four parts, from the stored table, all in nanometres."""
        table = stored_table("uncertainty/gum_h1_end_gauge").set_index("quantity")
        df = {"l_S": 18, "d": 25.6, "delta_alpha": 50, "delta_theta": 2}
        found = budget([one(name, float(table.loc[name, "contribution_nm"]), df=df[name]) for name in df], unit="nm",
                       level=0.99, seed=None)  # fmt: skip
        stored = stored_json("uncertainty/gum_h1_end_gauge")["recomputed"]
        assert found.combined == pytest.approx(stored["u_c_nm"], abs=0.05)  # parts have one decimal
        assert found.effective_df == pytest.approx(stored["nu_eff"], abs=0.15)
        assert found.k == pytest.approx(stored["t99_16"], rel=1e-10)

    def test_degrees_of_freedom_and_expanded_uncertainty(self) -> None:
        found = end_gauge(rounded=True)
        assert found.effective_df == pytest.approx(16.7, abs=0.06)  # 16.66 to 16.75, as parts are rounded on the way
        assert found.df == 16
        assert round(found.k, 2) == 2.92
        assert found.expanded == pytest.approx(93, abs=0.8)  # printed 2.92 * 32 = 93; with u_c unrounded 92.5
        assert round(found.k, 2) * round(found.combined) == pytest.approx(93, abs=0.5)

    def test_second_order_terms(self) -> None:
        """Two terms, 11.7 nm and 1.7 nm; with them u_c is 34 nm. u(theta) is printed as 0.41."""
        found = end_gauge(rounded=False, second_order=True)
        terms = stored_json("uncertainty/gum_h1_end_gauge")["recomputed_unrounded"]["second_order_nm"]
        assert [round(term, 1) for term in terms] == [11.7, 1.7]
        assert found.second_order == pytest.approx(math.hypot(*terms), rel=1e-5)  # stored: two terms of many
        assert round(found.combined) == 34
        assert found.combined == pytest.approx(math.hypot(end_gauge(rounded=False).combined, found.second_order))
        assert [note.code for note in end_gauge(rounded=False).notes] == ["curved"]
        assert found.notes == ()


def test_effective_degrees_of_freedom_of_a_product() -> None:
    """GUM G.4.1: relative uncertainties 0.25, 0.57 and 0.82 % with 9, 4 and 14 degrees of freedom give 19.0."""
    found = budget([one("X1", 0.25, df=9), one("X2", 0.57, df=4), one("X3", 0.82, df=14)], unit="%", seed=None)
    assert found.combined == pytest.approx(1.03, abs=0.005)
    assert found.effective_df == pytest.approx(19.0, abs=0.05)
    inputs = [Contribution(name=n, value=v, standard=v * u / 100, df=df)
              for n, v, u, df in (("X1", 7.0, 0.25, 9), ("X2", 0.03, 0.57, 4), ("X3", 250.0, 0.82, 14))]  # fmt: skip
    product = budget_of(lambda a, b, c: 5 * a * b * c, inputs, seed=None)
    assert product.effective_df == pytest.approx(found.effective_df, rel=1e-6)
    assert 100 * product.combined / product.value == pytest.approx(found.combined, rel=1e-6)


VOLT = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
AMPERE = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) / 1000
PHASE = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


class TestImpedance:
    """GUM H.2: three correlated inputs from five simultaneous readings."""

    NAMES = ("V", "I", "phi")

    def inputs(self) -> list[Contribution]:
        return [Contribution(name=name, value=float(x.mean()), standard=float(x.std(ddof=1) / math.sqrt(5)), kind="A",
                             df=4) for name, x in zip(self.NAMES, (VOLT, AMPERE, PHASE), strict=True)]  # fmt: skip

    def correlations(self) -> dict[tuple[str, str], float]:
        r = np.corrcoef([VOLT, AMPERE, PHASE])
        return {(self.NAMES[i], self.NAMES[j]): float(r[i, j]) for i, j in ((0, 1), (0, 2), (1, 2))}

    def test_inputs(self) -> None:
        inputs, r = self.inputs(), self.correlations()
        assert [round(x.value, 7) for x in inputs] == [4.999, 0.019661, 1.04446]
        assert [f"{x.u:.1e}" for x in inputs] == ["3.2e-03", "9.5e-06", "7.5e-04"]
        assert [round(value, 2) for value in r.values()] == [-0.36, 0.86, -0.65]

    @pytest.mark.parametrize(("model", "value", "u"), [
        (lambda v, i, phi: v / i * np.cos(phi), 127.732, 0.071),
        (lambda v, i, phi: v / i * np.sin(phi), 219.847, 0.295),
        (lambda v, i, phi: v / i, 254.260, 0.236),
    ])  # fmt: skip
    def test_printed_values(self, model, value: float, u: float) -> None:  # type: ignore[no-untyped-def]
        found = budget_of(model, self.inputs(), correlations=self.correlations(), unit="ohm", digits=1)
        assert found.value == pytest.approx(value, abs=0.0005)
        assert found.combined == pytest.approx(u, abs=0.0006)
        assert found.effective_df == found.df == 4
        assert "correlated" in [note.code for note in found.notes]
        assert found.check is not None
        assert found.check.high - found.check.low == pytest.approx(2 * found.expanded, rel=0.03)
        assert found.shares.sum() == pytest.approx(100)

    def test_the_second_approach_agrees(self) -> None:
        """H.2.4: the mean of five resistances has the same uncertainty, but for second-order terms."""
        each = VOLT / AMPERE * np.cos(PHASE)
        found = budget_of(lambda v, i, phi: v / i * np.cos(phi), self.inputs(), correlations=self.correlations(),
                          seed=None)  # fmt: skip
        assert found.combined == pytest.approx(each.std(ddof=1) / math.sqrt(5), rel=0.01)


def test_calibration_of_a_thermometer() -> None:
    """GUM H.3.4: b(30) = y1 + 10 y2 from a straight line; correlated, -0.1494 with u = 0.0041 and 9 df."""
    inputs = [one("y1", 0.0029, value=-0.1712, df=9, kind="A"), one("y2", 0.00067, value=0.00218, df=9, kind="A")]
    found = budget_of(lambda a, b: a + 10 * b, inputs, correlations={("y1", "y2"): -0.930}, digits=1)
    assert found.value == pytest.approx(-0.1494, abs=5e-5)
    assert found.combined == pytest.approx(0.0041, abs=5e-5)
    assert found.df == 9
    assert found.check is not None and found.check.agrees


sizes = st.lists(st.floats(0.01, 100), min_size=1, max_size=6)


@given(sizes, st.randoms())
@settings(max_examples=50)
def test_the_order_of_contributions_does_not_matter(us: list[float], random) -> None:  # type: ignore[no-untyped-def]
    parts = [one(f"c{i}", u, df=3 + i) for i, u in enumerate(us)]
    mixed = random.sample(parts, len(parts))
    first, second = budget(parts, seed=None), budget(mixed, seed=None)
    assert second.expanded == pytest.approx(first.expanded)
    assert second.effective_df == pytest.approx(first.effective_df)


@given(sizes, st.integers(1, 9), st.booleans())
@settings(max_examples=50)
def test_another_unit_gives_the_same(us: list[float], cuts: int, difference: bool) -> None:
    parts = [one(f"c{i}", u, unit=("gf", "%", "N")[i % 3], averages=i % 2 == 0, df=4) for i, u in enumerate(us)]
    force = budget(parts, reading=150.0, cuts=cuts, difference=difference, seed=None)
    newtons = budget(parts, reading=150 * NEWTONS_PER_GF, unit="N", cuts=cuts, difference=difference, seed=None)
    assert newtons.expanded == pytest.approx(force.expanded * NEWTONS_PER_GF)
    assert newtons.shares == pytest.approx(force.shares)
    assert newtons.df == force.df


@given(sizes)
@settings(max_examples=50)
def test_two_halves_are_the_whole(us: list[float]) -> None:
    parts = [one(f"c{i}", u) for i, u in enumerate(us)]
    halves = [one(f"{part.name} {half}", part.u / math.sqrt(2)) for part in parts for half in "ab"]
    assert budget(halves, seed=None).combined == pytest.approx(budget(parts, seed=None).combined)


@given(st.floats(0.1, 10), st.floats(0.1, 10), st.floats(-1, 1))
@settings(max_examples=50)
def test_two_correlated_contributions(a: float, b: float, r: float) -> None:
    """Variance a^2 + b^2 + 2 r a b; shares sum to the whole."""
    expected = a**2 + b**2 + 2 * r * a * b
    if expected > 1e-6:
        found = budget([one("a", a), one("b", b)], correlations={("b", "a"): r}, seed=None)
        assert found.combined**2 == pytest.approx(expected, rel=1e-6)
        assert found.shares.sum() == pytest.approx(100)
        assert found.notes == ()  # no degrees of freedom are limited


class TestCutsAndDifferences:
    PARTS = (one("cuts", 12.0, df=20, averages=True), one("mix", 3.0), one("calibration", 4.0, cancels=True))

    def test_cuts_average_what_differs_between_them(self) -> None:
        assert budget(self.PARTS, seed=None).combined == pytest.approx(13.0)
        assert budget(self.PARTS, cuts=9, seed=None).combined == pytest.approx(math.sqrt(16 + 9 + 16))

    def test_a_difference_has_twice_the_variance_of_what_does_not_cancel(self) -> None:
        found = budget(self.PARTS, cuts=9, difference=True, seed=None, reading=150)
        assert found.combined == pytest.approx(math.sqrt(2 * (16 + 9)))
        assert found.value == 0
        assert found.parts[2] == 0

    def test_the_degrees_of_freedom_stay_those_of_the_spread(self) -> None:
        only = budget(self.PARTS[:1], cuts=9, difference=True, seed=None)
        assert only.effective_df == pytest.approx(20)

    def test_any_other_unit_needs_a_sensitivity(self) -> None:
        found = budget([one("temperature", 3.0, unit="degC", sensitivity=-0.5)], seed=None)
        assert (found.combined, found.sensitivities.tolist()) == (1.5, [-0.5])
        assert budget([one("a", 3.0, unit="N", sensitivity=2.0)], seed=None).combined == pytest.approx(
            6 / NEWTONS_PER_GF
        )

    def test_corrections_move_the_value(self) -> None:
        found = budget([one("bias", 1.0, value=-2.0, unit="%")], reading=150.0, seed=None)
        assert (found.value, found.combined) == (147.0, 1.5)
        assert found.high - found.low == pytest.approx(2 * 1.959964 * 1.5)


@pytest.mark.parametrize(("more", "says"), [
    ({}, "give one of `standard`, `expanded` and `half_width`, got none"),
    ({"standard": -1.0}, "`standard` must be a number from 0 up, got -1.0"),
    ({"standard": math.nan}, "`standard` must be a number from 0 up"),
    ({"half_width": math.inf}, "`half_width` must be a number from 0 up"),
    ({"standard": 1.0, "half_width": 1.0}, 'got "standard" and "half_width"'),
    ({"expanded": 1.0}, "`expanded` needs one of `k` and `level`"),
    ({"expanded": 1.0, "k": 2.0, "level": 0.95}, "`expanded` needs one of `k` and `level`"),
    ({"standard": 1.0, "k": 2.0}, "nothing else has them"),
    ({"expanded": 1.0, "k": 0.0}, "`k` must be above 0"),
    ({"expanded": 1.0, "level": 95}, "`level` must lie between 0 and 1, got 95"),
    ({"standard": 1.0, "df": 0.5}, "`df` must be 1 or more"),
    ({"standard": 1.0, "distribution": "t"}, "a t distribution needs `df`"),
    ({"half_width": 1.0, "distribution": "normal"}, "a normal distribution has no half-width"),
    ({"standard": 1.0, "distribution": "rectangle"}, 'Did you mean "rectangular"?'),
    ({"standard": 1.0, "kind": "C"}, '`kind` must be "A" or "B"'),
    ({"standard": 1.0, "value": math.inf}, "must be finite"),
    ({"standard": 1.0, "name": " "}, "it has no name"),
])  # fmt: skip
def test_an_impossible_contribution(more: dict[str, object], says: str) -> None:
    with pytest.raises(ValueError, match="the contribution") as caught:
        Contribution(**{"name": "x", **more})  # type: ignore[arg-type]
    assert says in str(caught.value)


A, B, C = one("a", 1.0), one("b", 1.0), one("c", 1.0)


@pytest.mark.parametrize(("parts", "more", "says"), [
    ([], {}, "at least one contribution"),
    ([A, A], {}, "its own name; more than once: a"),
    ([A], {"level": 95}, "`level` must lie between 0 and 1"),
    ([A], {"cuts": 0}, "`cuts` must be a whole number from 1 up"),
    ([A], {"cuts": 2.5}, "`cuts` must be a whole number from 1 up"),
    ([A], {"reading": math.nan}, "`reading` must be a finite number"),
    ([one("p", 2.0, unit="%")], {}, "give the `reading` that it is of"),
    ([one("t", 2.0, unit="degC")], {}, "give its `sensitivity`, in gf for 1 degC"),
    ([one("t", 2.0, unit="gf")], {"unit": "%"}, "give its `sensitivity`, in % for 1 gf"),
    ([A, B], {"correlations": {("a", "x"): 0.5}}, "must name two of the contributions"),
    ([A, B], {"correlations": {("a", "a"): 0.5}}, "must name two of the contributions"),
    ([A, B], {"correlations": {("a", "b"): 0.5, ("b", "a"): 0.4}}, "two numbers for"),
    ([A, B], {"correlations": {("a", "b"): 1.5}}, "must lie between -1 and 1"),
    ([A, B, C], {"correlations": {("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.9}}, "positive semidefinite"),
    ([A, one("d", 1.0, averages=True)], {"correlations": {("a", "d"): 0.5}}, "both average or none"),
])  # fmt: skip
def test_an_impossible_budget(parts: list[Contribution], more: dict[str, object], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        budget(parts, seed=None, **more)  # type: ignore[arg-type]


def test_nothing_uncertain() -> None:
    with pytest.raises(FitError, match="nothing is uncertain"):
        budget([one("a", 0.0), one("b", 0.0)])
    with pytest.raises(FitError, match="zero, or cancel"):
        budget([one("a", 1.0, cancels=True)], difference=True)
    with pytest.raises(FitError, match="cancel each other"):
        budget([A, B], correlations={("a", "b"): -1.0})


def test_a_model_that_takes_no_arrays_or_gives_no_number() -> None:
    with pytest.raises(TypeError, match=r"use np\.sqrt, not math\.sqrt"):
        budget_of(lambda a: math.sqrt(a), [one("a", 1.0, value=4.0)])
    with pytest.raises(FitError, match="no finite result close to the estimates"):
        budget_of(np.log, [one("a", 1.0, value=0.1)])
    with pytest.raises(FitError, match="Some values that the contributions may have"):
        budget_of(np.log, [one("a", 1.0, value=1.0)])
    with pytest.raises(ValueError, match="independent inputs only"):
        budget_of(lambda a, b: a * b, [A, B], correlations={("a", "b"): 0.5}, second_order=True)


SPREADS = [((12.0, 4.5, 3.0, 3.0), (60, 2, 3, 12)), ((6.0, 4.5, 3.0), (60, 1, 3)), ((3.0, 4.5), (60, 2)),
           ((5.0, 5.0), (30, 3)), ((3.0, 6.0), (60, 1))]  # fmt: skip
"""True SDs, and the degrees of freedom with which a study estimates each."""


def covered(sds: tuple[float, ...], df: tuple[int, ...], studies: int, trials: int = 0) -> tuple[float, float]:
    """How often the budget's interval of 95 % holds the true value, and how often limits from so many draws do."""
    rng, ones = np.random.default_rng(20261125), (1,) * len(sds)
    budgets = drawn = 0
    for _ in range(studies):
        estimated = [s * math.sqrt(rng.chisquare(d) / d) for s, d in zip(sds, df, strict=True)]
        parts = tuple(one(str(i), u, df=d) for i, (u, d) in enumerate(zip(estimated, df, strict=True)))
        expanded = budget(parts, seed=None).expanded
        error = float(rng.standard_normal(len(sds)) @ sds)
        budgets += abs(error) <= expanded
        inputs = Inputs(contributions=parts, copies=ones, over=ones, correlation=np.eye(len(sds)))
        if trials:
            low, high = symmetric_limits(np.sort(inputs.draw(rng, trials).sum(axis=0)), 0.95)
            drawn += low <= error <= high
    return budgets / studies, drawn / studies


@pytest.mark.parametrize(("sds", "df"), SPREADS[:4])
def test_the_interval_holds_as_often_as_it_says(sds: tuple[float, ...], df: tuple[int, ...]) -> None:
    """With a spread of one or two degrees of freedom that dominates, it is known to fall a little short."""
    assert 0.92 < covered(sds, df, 1500)[0] < 0.975


@pytest.mark.slow
@pytest.mark.parametrize(("sds", "df"), SPREADS)
def test_what_the_words_say_of_both_intervals(sds: tuple[float, ...], df: tuple[int, ...]) -> None:
    """89 to 97 of 100 for the budget, 96 to 99 for the limits drawn; four standard errors of 1500 studies allowed."""
    budgets, drawn = covered(sds, df, 1500, trials=4000)
    assert 0.89 - 4 * 0.008 < budgets < 0.97 + 4 * 0.0044
    assert 0.96 - 4 * 0.005 < drawn < 0.99 + 4 * 0.0026
