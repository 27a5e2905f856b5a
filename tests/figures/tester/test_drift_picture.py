"""Pictures of the cuts in order and of what each cut does to its edge."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes

from sharpstats.figures.tester.drift import drift_picture
from sharpstats.figures.tester.wear import wear_picture
from sharpstats.tester.drift import Stability, find_stability
from sharpstats.tester.wear import find_wear


def cuts(step: float = 0.0, lots: str = "AB") -> pd.DataFrame:
    """Six edges in random order, the lot changing on the way; one cut far too high where there is a step."""
    rng = np.random.default_rng(5)
    table = pd.DataFrame({"edge": rng.permutation(np.repeat([f"e{k}" for k in range(6)], 8))})
    table = table.assign(turn=np.arange(48) + 1.0, order=table.groupby("edge").cumcount() + 1.0)
    table["filament_lot"] = [lots[k * len(lots) // 48] for k in range(48)]
    logs = 5 + table["edge"].str[1:].astype(int) * 0.1 + rng.normal(0, 0.05, 48)
    logs = logs + step * (table["turn"] > 24) + (1.5 * step) * (table["turn"] == 40)
    return table.assign(reading=np.exp(logs))


@pytest.fixture(scope="module")
def stepped() -> Stability:
    return find_stability(cuts(0.3), scale="log")


def points(axes: Axes, label: str) -> np.ndarray:
    lines = [np.column_stack(line.get_data()) for line in axes.get_lines() if line.get_label() == label]
    return np.concatenate(lines) if lines else np.empty((0, 2))


class TestDrift:
    def test_every_cut_is_drawn_with_the_mark_of_its_lot(self, stepped: Stability) -> None:
        picture = drift_picture(stepped)
        axes = picture.figure.axes[0]
        for lot in "AB":
            own = picture.data[picture.data["lot"] == lot]
            np.testing.assert_allclose(points(axes, f"lot {lot}"), own[["turn", "deviation"]])
        marks = {line.get_marker() for line in axes.get_lines() if str(line.get_label()).startswith("lot ")}
        assert len(marks) == 2
        np.testing.assert_allclose(
            picture.data["deviation"], 100 * np.expm1(stepped.series.deviations - stepped.limits.centre)
        )

    def test_average_limits_and_change_of_lot(self, stepped: Stability) -> None:
        axes = drift_picture(stepped).figure.axes[0]
        np.testing.assert_allclose(points(axes, "average")[:, 1], 100 * np.expm1(stepped.table["average"]))
        far = stepped.alarms.limits[0] * stepped.limits.sd_neighbours
        np.testing.assert_allclose(sorted({y for _, y in points(axes, "limit")}), 100 * np.expm1([-far, far]))
        assert {x for x, _ in points(axes, "change")} == {24.5}
        assert axes.get_ylabel() == "off the mean of its like, %"

    def test_the_far_cut_is_named_and_patterns_have_a_bar(self, stepped: Stability) -> None:
        above, below = drift_picture(stepped).figure.axes
        assert any(text.get_text().startswith("cut 40, e") for text in above.texts)
        rules = {signal.rule for signal in stepped.alarms.signals}
        assert len(below.texts) == len(rules) >= 2
        assert below.get_xlabel() == "place of the cut in the order of the study"
        for first, last in points(below, "pattern").reshape(-1, 2, 2)[:, :, 0]:
            assert 0 < first < last < 49

    def test_a_steady_tester_has_no_bars(self) -> None:
        picture = drift_picture(find_stability(cuts(), scale="log"))
        assert len(picture.figure.axes) == 1
        assert "Nothing shows that the tester changed" in picture.alt

    def test_lots_in_alternation_have_no_rules(self) -> None:
        picture = drift_picture(find_stability(cuts(lots="AB" * 12), scale="log"))
        assert len(points(picture.figure.axes[0], "change")) == 0

    def test_one_mass_in_newtons_without_labels(self) -> None:
        rng = np.random.default_rng(6)
        table = pd.DataFrame({"reading": 9.8 + 0.02 * rng.standard_normal(20), "turn": range(20)})
        picture = drift_picture(find_stability(table, scale="as read", unit="N"))
        axes = picture.figure.axes[0]
        assert axes.get_ylabel() == "off the mean of all, N"
        np.testing.assert_allclose(points(axes, "cut")[:, 1], table["reading"] - table["reading"].mean(), atol=1e-12)

    def test_hostile_labels_are_letters(self) -> None:
        table = cuts(0.3).replace({"filament_lot": {"B": "<script>$x$" + "y" * 80}})
        table["edge"] = "<script>" + table["edge"]
        picture = drift_picture(find_stability(table, scale="log"))
        assert "<script" not in picture.svg_text
        assert picture.png_bytes.startswith(b"\x89PNG")


class TestWear:
    def test_each_edge_is_a_line_and_the_slope_goes_across(self) -> None:
        found = find_wear(cuts(), scale="log")
        picture = wear_picture(found)
        axes = picture.figure.axes[0]
        assert sum(line.get_label() == "edge" for line in axes.get_lines()) == 6
        np.testing.assert_allclose(points(axes, "edge"), picture.data[["order", "deviation"]])
        line = points(axes, "slope")
        np.testing.assert_allclose(line[:, 1], 100 * np.expm1(found.slope.estimate * (line[:, 0] - 4.5)), atol=1e-9)
        means = picture.data.groupby("order")["deviation"].mean()
        np.testing.assert_allclose(points(axes, "mean")[:, 1], means)
        assert (axes.get_xlabel(), axes.get_ylabel()) == ("place of the cut on its own edge", "off the mean, %")
        assert "each further cut on an edge reads" in picture.alt

    def test_the_line_goes_through_the_cuts(self) -> None:
        """Least squares on what is drawn gives the slope back where all is balanced."""
        table = cuts().drop(columns=["turn", "filament_lot"])
        table["reading"] *= np.exp(0.03 * table["order"])
        found = find_wear(table, scale="as read")
        drawn = wear_picture(found).data
        slope = np.polyfit(drawn["order"], drawn["deviation"], 1)[0]
        assert slope == pytest.approx(found.slope.estimate, rel=1e-8)
