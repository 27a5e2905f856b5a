"""What a tester shows under known loads, against statsmodels, certified and published values, and simulation."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sharpstats.errors import FitError
from sharpstats.tester.masses import Calibration, weigh
from sharpstats.units import NEWTONS_PER_GF, Quantity

LOADS = (0.0, 50.0, 100.0, 200.0, 300.0, 400.0, 500.0)


def ladder(seed: int, *, series: int = 4, slope: float = 1.015, offset: float = 0.5, back: float = 1.5,
           sd: float = 1.0, shared: float = 0.0, shift: float = 0.3, step: float = 0.0, grows: float = 0.0,
           bend: float = 0.0) -> pd.DataFrame:  # fmt: skip
    """Series of readings: no load, up, down, no load. `back` is the hysteresis, `shift` that of zero."""
    rng = np.random.default_rng(seed)
    one = [(load, "up") for load in LOADS] + [(load, "down") for load in LOADS[-2::-1]]
    rows = []
    for number in range(series):
        own = shared * rng.standard_normal()
        for place, (load, direction) in enumerate(one):
            value = offset + own + slope * load + bend * (load / 500) ** 2 + back * (direction == "down") * (load > 0)
            value += (sd + grows * load) * rng.standard_normal() + shift * (place == len(one) - 1)
            rows.append((number + 1, direction if load else "", load, np.round(value / step) * step if step else value))
    table = pd.DataFrame(rows, columns=["series", "direction", "applied", "reading"])
    return table.assign(run=np.arange(len(table)) + 1)


def plain(table: pd.DataFrame) -> pd.DataFrame:
    """The same as one series, so that all readings are independent."""
    return table.assign(series=1)


# --- against other software


@pytest.mark.parametrize("seed", range(4))
def test_line_band_and_tests_are_those_of_least_squares(seed: int) -> None:
    """statsmodels OLS, 10 digits."""
    table = plain(ladder(seed))
    found = weigh(table, unit="gf", level=0.9)
    assert found.spread == "constant"
    design = sm.add_constant(table["applied"].to_numpy())
    other = sm.OLS(table["reading"].to_numpy(), design).fit()
    np.testing.assert_allclose([found.intercept.estimate, found.slope.estimate], other.params, rtol=1e-10)
    limits = other.conf_int(0.1)
    np.testing.assert_allclose([found.intercept.low, found.intercept.high], limits[0], rtol=1e-9)
    np.testing.assert_allclose([found.slope.low, found.slope.high], limits[1], rtol=1e-10)
    new = np.array([0.0, 123.0, 480.0])
    frame = other.get_prediction(sm.add_constant(new)).summary_frame(alpha=0.1)
    low, high = found.line.band(new)
    np.testing.assert_allclose(low, frame["obs_ci_lower"], rtol=1e-9)
    np.testing.assert_allclose(high, frame["obs_ci_upper"], rtol=1e-10)
    joint = other.f_test((np.eye(2), np.array([0.0, 1.0])))
    assert found.as_it_should.f == pytest.approx(float(joint.fvalue), rel=1e-9)
    assert found.as_it_should.p == pytest.approx(float(joint.pvalue), rel=1e-7)


def test_lack_of_fit_is_the_textbook_comparison_with_pure_error() -> None:
    """Draper & Smith, section 2.1: (SS of the line - SS within loads) / df against pure error; 9 digits."""
    table = plain(ladder(3, bend=3.0))
    found = weigh(table, unit="gf")
    line = sm.OLS(table["reading"], sm.add_constant(table["applied"])).fit()
    pure = ((table["reading"] - table.groupby("applied")["reading"].transform("mean")) ** 2).sum()
    df1, df2 = len(LOADS) - 2, len(table) - len(LOADS)
    f = (line.ssr - pure) / df1 / (pure / df2)
    assert found.straight is not None
    assert (found.straight.df1, round(found.straight.df2, 6)) == (df1, df2)
    assert found.straight.f == pytest.approx(f, rel=1e-9)
    assert found.straight.p == pytest.approx(stats.f.sf(f, df1, df2), rel=1e-7)


def test_the_curve_is_the_square_term_of_least_squares() -> None:
    table = plain(ladder(5, bend=4.0))
    other = sm.OLS(table["reading"], np.column_stack([np.ones(len(table)), table["applied"],
                                                     ((table["applied"] - 250) / 250) ** 2])).fit()  # fmt: skip
    found = weigh(table, unit="gf").curve
    assert found is not None
    assert found.estimate == pytest.approx(other.params.iloc[2], rel=1e-9)
    assert found.low == pytest.approx(other.conf_int().iloc[2, 0], rel=1e-8)


def test_a_spread_that_grows_is_weighted_least_squares() -> None:
    """statsmodels WLS with weights 1 / load^2 on the loads above zero, 9 digits."""
    table = plain(ladder(2, sd=0.05, grows=0.02))
    found = weigh(table, unit="gf")
    assert found.spread == "proportional"
    loaded = table[table["applied"] > 0]
    other = sm.WLS(loaded["reading"], sm.add_constant(loaded["applied"]), weights=1 / loaded["applied"] ** 2).fit()
    np.testing.assert_allclose([found.intercept.estimate, found.slope.estimate], other.params, rtol=1e-9)
    np.testing.assert_allclose([found.slope.low, found.slope.high], other.conf_int().iloc[1], rtol=1e-9)
    assert found.line.relative == pytest.approx(other.scale, rel=1e-9)


def test_biases_are_pooled_as_the_spread_is() -> None:
    """Relative deviations, one-way analysis of the loads above zero; 9 digits."""
    table = plain(ladder(2, sd=0.05, grows=0.02))
    found = weigh(table, unit="gf").bias.set_index("applied").loc[50.0:]
    relative = (table["reading"] / table["applied"] - 1)[table["applied"] > 0]
    groups = relative.groupby(table["applied"])
    df = len(relative) - (len(LOADS) - 1)
    pooled = np.sqrt(((groups.size() - 1) * groups.var()).sum() / df)
    loads = groups.size().index.to_numpy()
    reach = stats.t.ppf(0.975, df) * pooled / np.sqrt(groups.size()) * loads
    np.testing.assert_allclose(found["high"] - found["bias"], reach, rtol=1e-9)
    np.testing.assert_allclose(found["bias"], groups.mean() * loads, rtol=1e-9)


def test_lack_of_fit_goes_by_the_weights() -> None:
    table = plain(ladder(2, sd=0.05, grows=0.02, bend=20.0))
    found, loaded = weigh(table, unit="gf"), table[table["applied"] > 0]
    x, weights = loaded["applied"], 1 / loaded["applied"] ** 2
    line = sm.WLS(loaded["reading"], sm.add_constant(x), weights=weights).fit()
    means = sm.WLS(loaded["reading"], pd.get_dummies(x).astype(float), weights=weights).fit()
    f, p, _ = means.compare_f_test(line)
    assert found.straight is not None
    assert found.spread == "proportional"
    assert (found.straight.f, found.straight.p) == (pytest.approx(f, rel=1e-8), pytest.approx(p, rel=1e-6))


def test_a_spread_that_grows_a_little_is_nearer_to_a_constant_one() -> None:
    """From 1.15 gf under 50 gf to 2.5 gf under 500 gf: weights of 1 to 100 would be far off."""
    table = plain(ladder(0, series=30, sd=1.0, grows=0.003))
    found = weigh(table, unit="gf")
    assert found.grows_p < 0.001
    assert found.spread == "constant"
    assert "grows-a-little" in [note.code for note in found.notes]
    at = table.loc[table["applied"] == 500, "reading"]
    assert found.bias["se"].iloc[-1] == pytest.approx(at.std() / np.sqrt(30), rel=1e-12)
    assert found.bias["df"].iloc[-1] == pytest.approx(29)


CRYSTAL_Y = (0.08, 1.12, 4.43, 4.98, 4.92, 7.18, 5.57, 8.40, 8.81, 10.81, 11.16, 10.12, 13.12, 15.04)


def test_published_inverse_of_a_line() -> None:
    """Weight of crystals after 2, 4 ... 28 hours (Graybill & Iyer 1994, table 4.7.1, data from memory): the time of a
    mean weight of 8 is 15.88820 (95 %: 14.65896 to 17.15963), as printed by the R package investr."""
    hours = np.arange(2.0, 30.0, 2.0)
    line = weigh(pd.DataFrame({"applied": hours, "reading": CRYSTAL_Y}), unit="gf").line
    found = line.force_behind(8.0, readings=10**12)
    assert (round(found.estimate, 5), round(found.low, 5), round(found.high, 5)) == (15.88820, 14.65896, 17.15963)


NORRIS_X = (0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0,
            447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3,
            229.2, 669.1, 448.9, 0.5)  # fmt: skip
NORRIS_Y = (0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3,
            448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6,
            228.9, 668.4, 449.2, 0.2)  # fmt: skip


def test_certified_calibration_of_nist() -> None:
    """NIST StRD Norris (ozone monitors), data and certified values from memory: that 36 readings give all of
    them to 11 digits and more shows that memory served."""
    found = weigh(pd.DataFrame({"applied": NORRIS_X, "reading": NORRIS_Y}), unit="gf")
    assert found.spread == "constant"
    assert found.intercept.estimate == pytest.approx(-0.262323073774029, rel=1e-11)
    assert found.slope.estimate == pytest.approx(1.00211681802045, rel=1e-13)
    assert np.sqrt(found.line.constant) == pytest.approx(0.884796396144373, rel=1e-11)
    assert np.sqrt(found.line.covariance[0, 0]) == pytest.approx(0.232818234301152, rel=1e-11)
    assert np.sqrt(found.line.covariance[1, 1]) == pytest.approx(0.429796848199937e-3, rel=1e-11)


GUM_T = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
GUM_B = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)


def test_published_calibration_of_a_thermometer() -> None:
    """JCGM 100:2008, annex H.3 (from memory): correction b = y1 + y2 (t - 20 C), y1 = -0.1712, s = 0.0029,
    y2 = 0.00218, s = 0.00067, r = -0.930, s = 0.0035; at 30 C b = -0.1494 with u = 0.0041. To the digits printed.

    Our line has the corrected value as reading and t - 20 as load, so its slope is one more than y2.
    """
    t = np.array(GUM_T) - 20
    line = weigh(pd.DataFrame({"applied": t, "reading": t + np.array(GUM_B)}), unit="gf").line
    assert round(line.intercept, 4) == -0.1712
    assert round(line.slope - 1, 5) == 0.00218
    s1, s2 = np.sqrt(np.diag(line.covariance))
    assert (round(s1, 4), round(s2, 5)) == (0.0029, 0.00067)
    assert round(line.covariance[0, 1] / s1 / s2, 3) == -0.930
    assert round(float(np.sqrt(line.constant)), 4) == 0.0035
    assert round(float(line.at(10)) - 10, 4) == -0.1494
    assert round(float(np.sqrt(line.variance_at(10))), 4) == 0.0041


# --- bias, hysteresis, zero


def test_the_bias_of_a_load_is_that_of_one_way_analysis() -> None:
    table = plain(ladder(7))
    found = weigh(table, unit="gf").table
    groups = table.groupby("applied")["reading"]
    pooled = np.sqrt(((groups.size() - 1) * groups.var()).sum() / (len(table) - len(LOADS)))
    reach = stats.t.ppf(0.975, len(table) - len(LOADS)) * pooled / np.sqrt(groups.size())
    np.testing.assert_allclose(found["bias"], groups.mean() - groups.mean().index, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(found["high"] - found["low"], 2 * reach, rtol=1e-9)
    assert np.isnan(found["percent"].iloc[0])
    np.testing.assert_allclose(found["percent"].iloc[1:], (100 * found["bias"] / found["applied"]).iloc[1:], rtol=1e-12)


def test_uncertain_masses_widen_the_bias_by_the_gum() -> None:
    """u = hypot(se, u_mass) wherever a mass hangs; df after JCGM 100, G.2b."""
    table = plain(ladder(7))
    bare, wider = weigh(table, unit="gf").bias, weigh(table, unit="gf", uncertainty=Quantity(0.5, "gf")).bias
    np.testing.assert_allclose(wider["se"][1:], np.hypot(bare["se"][1:], 0.5), rtol=1e-12)
    assert wider["se"][0] == bare["se"][0]
    np.testing.assert_allclose(wider["df"], bare["df"] * (wider["se"] / bare["se"]) ** 4, rtol=1e-12)
    assert (wider["high"] > bare["high"])[1:].all()


def test_hysteresis_is_down_minus_up_within_a_series() -> None:
    table = ladder(9)
    found = weigh(table, unit="gf").hysteresis
    assert found is not None
    cells = table[table["applied"] > 0].set_index(["series", "direction", "applied"])["reading"]
    apart = (cells.xs("down", level=1) - cells.xs("up", level=1)).dropna()
    at_200 = apart.xs(200.0, level="applied")
    reach = stats.t.ppf(0.975, 3) * at_200.std(ddof=1) / 2
    assert found["200.0"].estimate == pytest.approx(at_200.mean(), rel=1e-12)
    assert found["200.0"].high == pytest.approx(at_200.mean() + reach, rel=1e-12)
    assert "500.0" not in found.terms  # reached from below only
    assert found["hysteresis"].estimate == pytest.approx(apart.groupby(level=0).mean().mean(), rel=1e-12)


def test_the_shift_of_zero_is_last_minus_first_in_a_series() -> None:
    table = ladder(9)
    empty = table[table["applied"] == 0].groupby("series")["reading"].agg(["first", "last"])
    shift = weigh(table, unit="gf").zero
    assert shift is not None
    assert shift.estimate == pytest.approx((empty["last"] - empty["first"]).mean(), rel=1e-12)


def test_two_readings_before_the_first_load_show_no_shift_of_zero() -> None:
    table = ladder(9, series=1)
    again = pd.concat([table.head(1), table.iloc[:-1]]).assign(run=np.arange(len(table)))
    assert weigh(again, unit="gf").zero is None


def test_a_series_number_for_each_reading_makes_no_series() -> None:
    table = ladder(9, series=1)
    found = weigh(table.assign(series=np.arange(len(table))), unit="gf")
    assert found.series == 0
    assert "independent" in [note.code for note in found.notes]
    assert found.slope.low == pytest.approx(weigh(table, unit="gf").slope.low, rel=1e-12)


def test_series_are_a_random_part_where_there_are_enough_of_them() -> None:
    table = ladder(4, series=8, shared=3.0)
    found, naive = weigh(table, unit="gf"), weigh(plain(table), unit="gf")
    assert (found.series, naive.series) == (8, 0)
    assert "independent" in [note.code for note in naive.notes]
    assert "independent" not in [note.code for note in found.notes]
    assert found.intercept.high - found.intercept.low > naive.intercept.high - naive.intercept.low
    assert found.slope.high - found.slope.low < naive.slope.high - naive.slope.low


# --- simulation


def rates(seeds: int, **truth: float) -> dict[str, float]:
    """How often intervals hold the truth over so many studies."""
    held: dict[str, list[bool]] = {}
    rng = np.random.default_rng(5)
    for seed in range(seeds):
        table = ladder(1000 + seed, series=5, **truth)
        found = weigh(table, unit="gf")
        slope, offset, back = truth.get("slope", 1.015), truth.get("offset", 0.5), truth.get("back", 1.5)
        held.setdefault("slope", []).append(found.slope.low <= slope <= found.slope.high)
        held.setdefault("intercept", []).append(found.intercept.low <= offset <= found.intercept.high)
        if found.hysteresis is not None:
            one = found.hysteresis["hysteresis"]
            held.setdefault("hysteresis", []).append(one.low <= back <= one.high)
        force = float(rng.uniform(50, 450))
        shown = offset + slope * force + truth.get("shared", 0.0) * rng.standard_normal() + rng.standard_normal()
        behind = found.line.force_behind(shown)
        held.setdefault("force", []).append(behind.low <= force <= behind.high)
    return {name: float(np.mean(values)) for name, values in held.items()}


@pytest.mark.parametrize("shared", [0.0, 2.0])
def test_intervals_hold_the_truth_as_often_as_they_say(shared: float) -> None:
    """30 studies: the standard error of a rate of 0.95 is 0.04, and three of them are allowed below."""
    found = rates(30, back=0.0, shift=0.0, shared=shared)
    assert min(found.values()) > 0.95 - 3 * 0.04, found


def share_called_bent(studies: int, bend: float = 0.0) -> float:
    """How often a tester is called bent at 5 %."""
    found = [weigh(plain(ladder(seed, back=0.0, shift=0.0, bend=bend)), unit="gf").straight for seed in range(studies)]
    return float(np.mean([one is not None and one.p < 0.05 for one in found]))


def share_called_off(studies: int) -> tuple[float, float]:
    """How often the worst load of a true tester is called off at 5 %: as it is told, and by its own interval."""
    truth = {"slope": 1.0, "offset": 0.0, "back": 0.0, "shift": 0.0}
    found = [weigh(plain(ladder(seed, **truth)), unit="gf") for seed in range(studies)]
    worst = [one.bias.iloc[one.largest] for one in found]
    told = float(np.mean([not one.farthest.low <= 0 <= one.farthest.high for one in found]))
    return told, float(np.mean([not row["low"] <= 0 <= row["high"] for row in worst]))


def test_the_load_that_is_farthest_off_was_picked_and_is_told_so() -> None:
    """50 studies of 7 loads: standard error 0.031; each load by itself would cry wolf in some 25 of 100."""
    told, alone = share_called_off(50)
    assert told <= 0.05 + 3 * 0.031
    assert alone > 0.12


@pytest.mark.slow
def test_the_load_that_is_farthest_off_over_many_studies() -> None:
    """2,000 studies: standard error 0.005; Bonferroni's limits are a little wide."""
    told, _ = share_called_off(2000)
    assert 0.02 < told < 0.05 + 3 * 0.005


@pytest.mark.slow
def test_a_straight_tester_is_called_bent_as_often_as_it_says() -> None:
    """2,000 studies at 5 %: standard error 0.005."""
    assert abs(share_called_bent(2000) - 0.05) < 3 * 0.005


@pytest.mark.slow
@pytest.mark.parametrize("shared", [0.0, 1.0, 3.0])
def test_intervals_hold_the_truth_over_many_studies(shared: float) -> None:
    """3,000 studies: standard error 0.004."""
    found = rates(3000, back=0.0, shift=0.0, shared=shared)
    assert min(found.values()) > 0.95 - 3 * 0.004, found


def test_a_straight_tester_is_seldom_called_bent_and_a_bent_one_mostly() -> None:
    """40 studies at 5 %: standard error 0.034."""
    assert share_called_bent(40) < 0.05 + 3 * 0.034
    assert share_called_bent(5, bend=10.0) == 1


# --- properties


def numbers(found: Calibration) -> list[float]:
    hysteresis = [] if found.hysteresis is None else list(found.hysteresis.estimate)
    return [found.intercept.estimate, found.line.force_behind(200.0).low, *found.bias["bias"], *hysteresis]


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_neither_row_order_nor_unit_changes_what_is_found(seed: int) -> None:
    table = ladder(seed % 50)
    found = weigh(table, unit="gf")
    again = weigh(table.sample(frac=1, random_state=seed % 2**31), unit="gf")
    np.testing.assert_allclose(numbers(again), numbers(found), rtol=1e-7, atol=1e-9)
    factor = NEWTONS_PER_GF
    newtons = weigh(table.assign(applied=table["applied"] * factor, reading=table["reading"] * factor), unit="N")
    assert newtons.slope.estimate == pytest.approx(found.slope.estimate, rel=1e-9)
    assert newtons.slope.low == pytest.approx(found.slope.low, rel=1e-8)
    np.testing.assert_allclose(newtons.bias["high"], found.bias["high"] * factor, rtol=1e-7, atol=1e-9)
    assert newtons.line.force_behind(200.0 * factor).high == pytest.approx(
        found.line.force_behind(200.0).high * factor, rel=1e-8
    )


def test_swapping_up_and_down_turns_hysteresis_round() -> None:
    table = ladder(3)
    turned = table.assign(direction=table["direction"].map({"up": "down", "down": "up", "": ""}))
    one, other = (weigh(each, unit="gf").hysteresis for each in (table, turned))
    assert one is not None
    assert other is not None
    np.testing.assert_allclose(one.estimate, -other.estimate, rtol=1e-12)


# --- bad input


@pytest.mark.parametrize(
    ("factor", "says"), [(1e-3, "in kg"), (1e3, "in mg"), (NEWTONS_PER_GF, "loads in N"), (1 / NEWTONS_PER_GF, "in gf")]
)
def test_a_slip_of_the_unit_is_said_and_not_converted(factor: float, says: str) -> None:
    table = ladder(1)
    with pytest.raises(FitError, match=says):
        weigh(table.assign(applied=table["applied"] * factor), unit="gf")


def test_a_slip_of_the_unit_under_one_load_is_said() -> None:
    table = ladder(1)
    table.loc[table["applied"] == 500, "applied"] = 0.5
    with pytest.raises(FitError, match=r"Under 1 of 6 loads the tester reads about .* in kg"):
        weigh(table, unit="gf")


@pytest.mark.parametrize(("column", "value"), [("applied", -50.0), ("applied", np.nan), ("reading", np.inf)])
def test_numbers_that_are_none_are_refused(column: str, value: float) -> None:
    table = ladder(1)
    table.loc[3, column] = value
    with pytest.raises(FitError, match="missing, or a load is below zero"):
        weigh(table, unit="gf")


def test_uncertainty_is_not_below_zero() -> None:
    with pytest.raises(ValueError, match="not below zero"):
        weigh(ladder(1), unit="gf", uncertainty=-1.0)


def test_too_few_loads_cannot_tell() -> None:
    with pytest.raises(FitError, match="at least two different masses"):
        weigh(ladder(1).query("applied == 200"), unit="gf")


def test_readings_without_scatter_are_refused() -> None:
    table = ladder(1)
    with pytest.raises(FitError, match="without any scatter"):
        weigh(table.assign(reading=1.01 * table["applied"]), unit="gf")


def test_repeats_that_all_read_the_same_leave_a_line_but_no_intervals_for_loads() -> None:
    table = ladder(1)
    found = weigh(table.assign(reading=(1.013 * table["applied"]).round(-1) + 5), unit="gf")
    assert "repeats-equal" in [note.code for note in found.notes]
    assert np.isnan(found.bias["low"]).all()
    assert found.slope.low < found.slope.estimate


def test_rounding_that_hides_most_of_the_scatter_is_said_and_makes_no_spread_grow() -> None:
    table = ladder(3, series=3, sd=0.2, back=0.0, shift=0.0, offset=0.0, slope=1.0, step=5.0)
    table.loc[5, "reading"] += 5
    found = weigh(table, unit="gf")
    assert found.spread == "constant"
    assert "repeats-mostly-equal" in [note.code for note in found.notes]
    assert found.zero is not None
    assert found.zero.estimate == 0
    assert np.isnan(found.zero.low)


def test_three_readings_have_an_exact_test() -> None:
    """statsmodels: F with two and one degrees of freedom, where Kenward and Roger's is not defined."""
    table = pd.DataFrame({"applied": [100.0, 100.0, 200.0], "reading": [101.0, 102.0, 203.0]})
    found = weigh(table, unit="gf").as_it_should
    other = sm.OLS(table["reading"], sm.add_constant(table["applied"])).fit().f_test((np.eye(2), np.array([0.0, 1.0])))
    assert (found.f, found.p) == (pytest.approx(float(other.fvalue)), pytest.approx(float(other.pvalue)))


def test_one_reading_a_load_gives_a_line_alone() -> None:
    found = weigh(ladder(1).query("series == 1 and direction != 'down'").drop_duplicates("applied"), unit="gf")
    codes = [note.code for note in found.notes]
    assert {"no-repeats", "one-way"} <= set(codes)
    assert found.straight is None
    assert found.hysteresis is None
    assert np.isnan(found.bias["low"]).all()


def test_lost_readings_are_borne() -> None:
    table = ladder(6).drop(index=[3, 4, 20, 31, 40])
    found = weigh(table, unit="gf")
    assert found.series == 4
    assert np.isfinite(found.bias[["low", "high"]]).all(axis=None)


def test_over_range_readings_are_counted_out_loud() -> None:
    table = ladder(6)
    found = weigh(table.assign(over_range=table["applied"] == 500), unit="gf")
    assert 500.0 not in set(found.bias["applied"])
    assert any(note.code == "over-range" and note.text.startswith("4 reading(s)") for note in found.notes)


def test_a_tester_that_shows_the_same_under_every_load_is_said_to_feel_none() -> None:
    table = pd.DataFrame({"applied": [0.0, 100, 200, 300] * 2, "reading": 37.0})
    with pytest.raises(FitError, match="The tester shows 37 gf under every load"):
        weigh(table, unit="gf")
