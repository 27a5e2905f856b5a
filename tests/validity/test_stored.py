"""The stored results: they are of this grid, the page tells them, and what is off has a note that says so."""

from __future__ import annotations

from functools import lru_cache

import pandas as pd
import pytest
from validity import differences, study
from validity.draw import NORMAL
from validity.grid import RIGHT, Setting
from validity.layouts import NESTED, NO_BLADES, ONCE, TWICE, Layout
from validity.page import page, stored
from validity.reaches import COUNTED, DRAWN, EXACT
from validity.shares import bound, is_off
from validity.tables import worst

from sharpstats.claims.simulated import OTHER_SHAPES, OTHER_SPREADS, SHARED_BLOCKS, WRONG_SCALE

TOLD = ["layout", "edges", "lost", "spread", "shape", "scale"]


@lru_cache
def results() -> dict[str, pd.DataFrame]:
    return stored(study.RESULTS)


def of_reaches(*methods: str) -> pd.DataFrame:
    table = results()["reaches"]
    table = table[table["method"].isin(methods)]
    return table.assign(off=is_off(table[["shown", "contradicted"]].max(axis=1), table["trials"]))


class TestStored:
    @pytest.mark.parametrize("name", study.jobs_of())
    def test_every_setting_of_the_grid_is_there_with_all_its_trials(self, name: str) -> None:
        told = pd.DataFrame([told for _, _, told in study.jobs_of()[name]])
        pd.testing.assert_frame_equal(results()[name][list(told)], told, check_dtype=False)

    def test_the_page_tells_them(self) -> None:
        assert (study.HERE / "RESULTS.md").read_text(encoding="utf-8") == page(results())

    def test_every_trial_was_fitted(self) -> None:
        assert results()["differences"]["unsettled"].max() < 1e-3

    def test_a_setting_gives_what_is_stored(self) -> None:
        check_again(Setting(Layout(NO_BLADES, 3), "edges most"))

    @pytest.mark.slow
    @pytest.mark.parametrize("kind", [ONCE, TWICE, NESTED])
    def test_more_settings_give_what_is_stored(self, kind: str) -> None:
        check_again(Setting(Layout(kind, 8, lost=True)))
        check_again(Setting(Layout(kind, 24), shape="skewed"))


def check_again(setting: Setting) -> None:
    table = results()["differences"]
    layout = setting.layout
    told = [layout.kind, layout.edges, layout.lost, setting.spread, setting.shape, setting.scale]
    (row,) = table[(table[TOLD] == told).all(axis=1)].to_dict("records")
    found = differences.measure(setting, int(row["trials"]))
    assert found == pytest.approx({name: row[name] for name in found}, abs=1e-3, nan_ok=True)


class TestEveryErrorHasItsNote:
    """More than 1.5 times the nominal error, beyond luck, is found only where the tool says so."""

    def test_differences_where_the_scale_is_right(self) -> None:
        right = results()["differences"].query("scale == @RIGHT", local_dict={"RIGHT": RIGHT})
        assert not is_off(worst(right), right["trials"]).any()

    def test_the_readme_tells_it(self) -> None:
        right = results()["differences"].query("scale == @RIGHT", local_dict={"RIGHT": RIGHT})
        readme = (study.HERE.parents[1] / "README.md").read_text(encoding="utf-8")
        most = f"{100 * worst(right).max():.0f} of 100 simulated trials instead of 5"
        assert f"at most {most}, over {len(right)} settings" in " ".join(readme.split())

    def test_gaps(self) -> None:
        table = results()["gaps"]
        assert not is_off(worst(table), table["trials"]).any()
        assert not is_off(1 - table["covers"], table["trials"]).any()

    def test_scale_in_doubt(self) -> None:
        wrong = results()["differences"].query("scale != @RIGHT", local_dict={"RIGHT": RIGHT})
        off = wrong[is_off(worst(wrong), wrong["trials"])]
        assert off["lost"].all()
        assert round(100 * worst(off).max()) == WRONG_SCALE

    def test_normal_edges(self) -> None:
        off = of_reaches(EXACT, DRAWN).query("off")
        assert (off["shape"] != NORMAL).all()

    def test_figures_of_normal_edges(self) -> None:
        table = 100 * of_reaches(EXACT).groupby(["share", "edges"])[["shown", "contradicted"]].max()
        found = {key: (round(row["shown"]), round(row["contradicted"])) for key, row in table.iterrows()}
        assert found == {(share, size): told for share, sizes in OTHER_SHAPES.items() for size, told in sizes.items()}

    def test_drawn_bounds_err_less_than_the_exact_one(self) -> None:
        """So that its figures hold for both."""
        table = of_reaches(EXACT, DRAWN).query("share == 0.9")
        worst_of = table.pivot_table(index="edges", columns="method", values=["shown", "contradicted"], aggfunc="max")
        for column in ("shown", "contradicted"):
            both = worst_of[column].dropna()
            assert (both[DRAWN] <= both[EXACT] + bound(study.DRAWN_TRIALS, 0.1)).all()

    def test_normal_spreads(self) -> None:
        table = results()["steadier"].query("ratio == 1")
        off = table[is_off(table[["shown", "contradicted"]].max(axis=1), table["trials"])]
        assert (off["shape"] != NORMAL).all()
        found = 100 * table.groupby("edges")[["shown", "contradicted"]].max().max(axis=1)
        assert found.round().astype(int).to_dict() == OTHER_SPREADS

    def test_counted_in_blocks(self) -> None:
        off = of_reaches(COUNTED).query("off")
        assert (off["a_blade"] > 1).all()

    @pytest.mark.parametrize("each", SHARED_BLOCKS)
    def test_figures_of_counts(self, each: int) -> None:
        table = of_reaches(COUNTED).query("a_blade == @each", local_dict={"each": each})
        assert SHARED_BLOCKS[each] == (round(100 * table["shown"].max()), round(100 * table["contradicted"].max()))

    def test_family(self) -> None:
        table = results()["family"]
        assert not is_off(table[["shown", "contradicted"]].max(axis=1), table["trials"]).any()
