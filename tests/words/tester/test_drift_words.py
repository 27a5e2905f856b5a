"""Stability, lots and wear in words."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from sharpstats.tester.drift import Stability, find_stability, mass_stability
from sharpstats.tester.lots import lot_steps
from sharpstats.tester.wear import find_wear
from sharpstats.words.blocks import Folded
from sharpstats.words.display import as_html, as_text
from sharpstats.words.numbers import NBSP, p_value
from sharpstats.words.tester.drift import finding
from sharpstats.words.told import blocks


def text(result: object) -> str:
    return " ".join(as_text(result).replace(NBSP, " ").split())


def cuts(seed: int = 1, *, step: float = 0.0, wear: float = 0.0, days: bool = False, edges: int = 6) -> pd.DataFrame:
    """Edges cut in random order; the second half with a new lot, on another day where `days`."""
    rng = np.random.default_rng(seed)
    table = pd.DataFrame({"edge": rng.permutation(np.repeat([f"e{k}" for k in range(edges)], 8))})
    n = len(table)
    table = table.assign(turn=np.arange(n) + 1.0, order=table.groupby("edge").cumcount() + 1.0)
    table["filament_lot"] = np.where(np.arange(n) < n // 2, "A", "B")
    if days:
        table["day"] = np.where(np.arange(n) < n // 2, "Monday", "Tuesday")
    high = table["edge"].str[1:].astype(int) * 0.1
    logs = 5 + high + step * (table["filament_lot"] == "B") + wear * table["order"] + rng.normal(0, 0.05, n)
    return table.assign(reading=np.exp(logs))


@pytest.fixture(scope="module")
def steady() -> Stability:
    return find_stability(cuts(), scale="log")


@pytest.fixture(scope="module")
def stepped() -> Stability:
    return find_stability(cuts(step=0.2), scale="log")


class TestStability:
    def test_a_steady_tester(self, steady: Stability) -> None:
        told = text(steady)
        assert told.startswith("Nothing shows that the tester changed over these 48 cuts.")
        usual = round(100 * steady.alarms.usual_joint)
        assert f"the usual ones would in {usual}." in told
        assert "The limits used give a false alarm in 5 of 100 such series" in told
        slow = r"from the first cut to the last the tester comes to read .* \(95 % interval: .*p = [0-9.]+\): chance al"
        assert re.search(slow, told)
        assert "lot B" in told
        assert "Look up" not in told

    def test_a_step_names_the_lot_and_the_places(self, stepped: Stability) -> None:
        told = text(stepped)
        assert told.startswith("Something changed over these 48 cuts: the order of the cuts has")
        percent = round(100 * np.expm1(stepped.lots.differences.estimate[0]))
        assert f"readings with lot B are {percent} % higher than with lot A" in told
        assert "fewer than 1 of 100 series of 48 cuts" in told
        assert "Look up what changed at these places" in told
        named = re.findall(r"- Cuts? (\d+)(?: to (\d+))?: ", told)
        assert len(named) == len({signal.rule for signal in stepped.alarms.signals})
        assert "more than chance would do" in told

    def test_both_spreads_are_told(self, stepped: Stability) -> None:
        near, whole = (f"{100 * np.expm1(sd):.1f} %" for sd in (
            stepped.limits.sd_neighbours, stepped.limits.sd_all))  # fmt: skip
        assert f"{near} judged by neighbours" in text(stepped)
        assert f"{whole} judged by all" in text(stepped)

    def test_what_lots_share_is_named_with_both_names(self) -> None:
        told = text(find_stability(cuts(step=0.2, days=True), scale="log"))
        assert "readings with lot B (or with what changed along with it: day)" in told
        assert "lot B and lot A never met the same day: these cuts cannot tell whether the lot or the day did" in told

    def test_a_lot_that_is_named_lot_2_is_not_called_lot_lot_2(self) -> None:
        table = cuts(step=0.2, days=True)
        told = text(find_stability(table.assign(filament_lot="lot " + table["filament_lot"]), scale="log"))
        assert "lot B and lot A never met the same day" in told and "lot lot" not in told

    def test_one_check_mass_in_newtons(self) -> None:
        rng = np.random.default_rng(2)
        table = pd.DataFrame({"reading": 9.8 + 0.02 * rng.standard_normal(30), "turn": range(30)})
        told = text(find_stability(table, scale="as read", unit="N"))
        assert "of a single cut about their mean: 0.0" in told
        assert " N judged by neighbours" in told
        assert "lot" not in told

    def test_known_loads_are_readings_and_no_cuts(self) -> None:
        rng = np.random.default_rng(2)
        table = pd.DataFrame({"applied": [200.0, 500.0, 1000.0] * 12, "run": range(1, 37)})
        table["reading"] = table["applied"] + 2 * rng.standard_normal(36)
        table.loc[20, "reading"] += 20
        told = text(mass_stability(table))
        assert told.startswith("Something changed over these 36 readings under known loads")
        assert "- Reading 21: one reading beyond" in told
        assert "about its like (same load): " in told
        assert "cut" not in told

    def test_the_rules_stand_in_a_table(self, steady: Stability) -> None:
        folded = [block for block in blocks(steady) if isinstance(block, Folded)]
        shown = folded[0].blocks[0].plain()
        assert "in a row rising or falling" in shown
        assert "running average far off" in shown
        assert max(map(len, shown.splitlines())) <= 100

    def test_labels_are_letters(self) -> None:
        table = cuts(step=0.2).replace({"filament_lot": {"B": "<script>$x$"}})
        html = as_html(find_stability(table, scale="log"))
        assert "<script" not in html
        assert "&lt;script&gt;" in html


class TestLots:
    def test_three_lots_are_told_together(self) -> None:
        table = cuts().assign(filament_lot=np.repeat(["A", "B", "C"], 16))
        told = text(lot_steps(table, scale="log"))
        assert told.count("New lot of filament") == 3
        assert "widened (Holm) so that all of them hold at 95 %" in told
        assert "98.3 % interval" in told


class TestWear:
    def test_an_edge_that_is_dulled(self) -> None:
        found = find_wear(cuts(wear=0.03).drop(columns="turn"), scale="log")
        told = text(found)
        percent = f"{100 * np.expm1(found.slope.estimate):.1f}"
        assert told.startswith(f"Testing dulls the edge: each further cut on an edge reads {percent} % higher (95 %")
        whole = round(100 * np.expm1(7 * found.slope.estimate))
        assert f"From the first cut on an edge to cut 8 that adds up to {whole} % higher" in told
        assert f"repeat with a standard deviation of {100 * np.expm1(found.as_it_is.sd):.1f} %" in told

    def test_an_edge_that_gets_keener(self) -> None:
        assert text(find_wear(cuts(wear=-0.03), scale="log")).startswith("Readings fall as an edge is cut again")

    def test_no_wear_is_not_proof_of_none(self) -> None:
        told = text(find_wear(cuts(seed=3), scale="log"))
        assert told.startswith("Testing is not shown to change the edge: each further cut")
        assert "95 % interval" in told

    def test_places_in_order(self) -> None:
        table = cuts().assign(position_mm=lambda t: 10 + 5 * t["order"])
        assert "Order and place went together" in text(find_wear(table, scale="log"))

    def test_places_at_random(self) -> None:
        table = cuts().assign(position_mm=lambda t: 10 + 5 * (3 * t["order"] % 8))
        told = text(find_wear(table, scale="log"))
        assert "for every 10 mm farther from the heel" in told
        assert "the cuts span 35 mm" in told

    def test_rounds_hide_a_drift(self) -> None:
        table = cuts().sort_values(["order", "edge"]).assign(turn=np.arange(48.0))
        assert "a drift of the tester would look the same" in text(find_wear(table, scale="log"))


def test_a_change_that_is_sure_only_by_itself_is_named_with_how_many_things_were_looked_at() -> None:
    found = find_stability(steady_with_a_step(), scale="as read")
    alone = {name: p for name, p in found.looked_at.items() if p < 0.05}
    assert set(alone) == {"lots"}
    assert not found.changed
    assert finding(found).replace("\u00a0", " ") == (
        "Nothing shows for sure that the tester changed over these 60 cuts: a step between lots of filament "
        f"({p_value(alone['lots'])}) would be more than chance if looked at alone, but 3 things were looked at."
    )


def steady_with_a_step() -> pd.DataFrame:
    """Return the first drawn series whose step between two lots is more than chance only by itself."""
    for seed in range(200):
        rng = np.random.default_rng(seed)
        lot = np.repeat(["a", "b", "b", "a"], 15)
        table = pd.DataFrame({"reading": 100 + 0.55 * (lot == "b") + rng.standard_normal(60),
                              "turn": np.arange(60.0), "filament_lot": lot})  # fmt: skip
        found = find_stability(table, scale="as read")
        if not found.changed and {name for name, p in found.looked_at.items() if p < 0.05} == {"lots"}:
            return table
    raise AssertionError("no such series among 200")
