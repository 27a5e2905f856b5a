"""Layouts, draws and settings of the study are what they are said to be."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from reference.layouts import as_readings, made_trial
from scipy import stats
from validity import draw, grid
from validity.grid import APART, AS_READ, LOG, RIGHT, SPREADS, Setting, settings
from validity.layouts import KINDS, NESTED, NO_BLADES, ONCE, RANDOM, TWICE, Layout, all_layouts


class TestLayouts:
    @pytest.mark.parametrize("kind", KINDS)
    @pytest.mark.parametrize("lost", [False, True])
    def test_a_trial_with_that_layout_is_fitted_with_these_terms(self, tmp_path: Path, kind: str, lost: bool) -> None:
        layout = Layout(kind, 8, lost)
        table = layout.table.assign(y=5 + 0.1 * np.random.default_rng(1).standard_normal(len(layout.table)))
        blocks = () if kind == NO_BLADES else ("blade",)
        fit = made_trial(tmp_path / "trial", as_readings(table), blocks=blocks).fit()
        assert fit.mixed.frame.random == RANDOM[kind]

    def test_sizes(self) -> None:
        for layout in all_layouts():
            edges = layout.table.groupby("medium")["edge"].nunique()
            lost = len(range(1, layout.edges, 3)) if layout.lost else 0
            assert edges.to_dict() == {"m0": layout.edges, "m1": layout.edges - lost}
            assert layout.table.groupby("edge").size().min() == (1 if layout.lost else 3)

    def test_blades(self) -> None:
        assert Layout(ONCE, 6).table.groupby("blade")["edge"].nunique().eq(2).all()
        assert Layout(TWICE, 6).table.groupby(["blade", "medium"])["edge"].nunique().eq(2).all()
        assert Layout(NESTED, 6).table.groupby("blade")["medium"].nunique().eq(1).all()


class TestDraws:
    @pytest.mark.parametrize("shape", draw.SHAPES)
    def test_mean_zero_and_variance_one(self, shape: str) -> None:
        drawn = draw.SHAPES[shape](np.random.default_rng(3), (1_000_000,))
        assert drawn.mean() == pytest.approx(0.0, abs=0.005)
        assert drawn.var() == pytest.approx(1.0, abs=0.1 if shape == draw.HEAVY else 0.02)

    def test_shapes_are_what_they_are_called(self) -> None:
        heavy, skewed = (draw.SHAPES[name](np.random.default_rng(4), (200_000,)) for name in (draw.HEAVY, draw.SKEWED))
        assert stats.kurtosis(heavy) > 5
        assert stats.skew(skewed) == pytest.approx(3.26, abs=0.4)  # (e^s + 2) sqrt(e^s - 1) with s = 0.75^2

    @pytest.mark.parametrize("kind", KINDS)
    def test_readings_spread_as_asked(self, kind: str) -> None:
        sd = (0.2, 0.1, 0.05, 0.3)
        drawn = draw.errors(np.random.default_rng(5), Layout(kind, 12), sd, draw.NORMAL, 4000)
        assert drawn.var() == pytest.approx(sum(value**2 for value in sd), rel=0.05)

    def test_edges_of_a_blade_share_its_effect(self) -> None:
        layout = Layout(TWICE, 4)
        drawn = draw.errors(np.random.default_rng(6), layout, (1.0, 0.0, 0.0, 0.0), draw.NORMAL, 3)
        for codes in layout.table.groupby("blade").indices.values():
            assert np.ptp(drawn[:, codes], axis=1) == pytest.approx(0.0)


class TestSettings:
    def test_every_setting_has_its_own_name_and_so_its_own_seed(self) -> None:
        names = [setting.name for setting in settings()]
        assert len(set(names)) == len(names) == 610

    def test_the_grid_is_the_one_that_was_asked_for(self) -> None:
        found = settings()
        assert {setting.layout.edges for setting in found} == {3, 4, 6, 8, 12, 24}
        assert {setting.shape for setting in found} == set(draw.SHAPES)
        assert {setting.scale for setting in found} == {RIGHT, AS_READ, LOG}
        assert {setting.spread for setting in found} == set(SPREADS)

    @pytest.mark.parametrize("scale", [RIGHT, AS_READ, LOG])
    def test_the_true_difference_is_that_of_many_readings(self, scale: str) -> None:
        setting = Setting(Layout(TWICE, 24), scale=scale)
        drawn, second = setting.draw(4000), setting.layout.raised > 0
        means = drawn[:, second].mean(axis=1) - drawn[:, ~second].mean(axis=1)
        assert means.mean() == pytest.approx(setting.truth, abs=4 * means.std() / np.sqrt(4000))

    @pytest.mark.parametrize(("scale", "power"), [(AS_READ, 1.0), (LOG, -1.0)])
    def test_where_the_scale_is_wrong_the_second_medium_spreads_twice_as_much(self, scale: str, power: float) -> None:
        setting = Setting(Layout(NO_BLADES, 24), scale=scale)
        drawn, second = setting.draw(4000), setting.layout.raised > 0
        assert drawn[:, second].std() / drawn[:, ~second].std() == pytest.approx(APART[scale] ** power, rel=0.08)

    def test_the_margin_is_fifteen_percent(self) -> None:
        assert np.expm1(grid.MARGIN) == pytest.approx(0.15)
