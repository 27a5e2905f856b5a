"""Notes that say how often a claim erred in simulated trials, each pinned to its situation."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from reference.layouts import made_trial
from scipy import stats

from sharpstats.claims.finding import Finding
from sharpstats.claims.region import Outside, Region
from sharpstats.claims.simulated import (
    OTHER_SHAPES,
    OTHER_SPREADS,
    SHARED_BLOCKS,
    count_note,
    narrow_note,
    shape_note,
    spread_note,
)

SAME = '[[claim]]\nid = "c"\nsays = "Alike."\nkind = "same"\nmedium = "m0"\nthan = "m1"\nmargin = "30 gf"\n'
REACHES = '[[claim]]\nid = "c"\nsays = "Fine."\nkind = "reaches"\nmedium = "m0"\nlevel = "150 gf"\nshare = "80 %"\n'

STEADIER = '[[claim]]\nid = "c"\nsays = "Steadier."\nkind = "steadier"\nmedium = "m0"\nthan = "m1"\n'


def readings(edges: tuple[int, int], power: float) -> pd.DataFrame:
    """Two media a factor of two apart with so many edges; powers of the readings spread alike, 0 for logarithms."""
    rng, rows = np.random.default_rng(4), []
    for medium, (number, level) in enumerate(zip(edges, (100.0, 200.0), strict=True)):
        for edge in range(number):
            spread = 0.2 * level ** (1 - power) * 100**power
            own = level + spread * rng.standard_normal()
            name = f"m{medium}", f"e{medium}-{edge}"
            rows += [(*name, cut, own + spread * rng.standard_normal()) for cut in (1, 2, 3)]
    return pd.DataFrame(rows, columns=["medium", "edge", "cut", "reading"]).round({"reading": 1})


def judged(folder: Path, table: pd.DataFrame, claim: str) -> Finding:
    made_trial(folder, table, blocks=(), plan={"scale": "as read"})
    with (folder / "trial.toml").open("a", encoding="utf-8") as plan:
        plan.write(f"\n{claim}")
    from sharpstats import open_trial

    return open_trial(folder).judge()["c"]


def codes(finding: Finding) -> list[str]:
    return [note.code for note in finding.notes]


class TestScaleInDoubt:
    def test_wrong_scale_and_uneven_numbers(self, tmp_path: Path) -> None:
        finding = judged(tmp_path / "t", readings((16, 10), 0), SAME)
        text = {note.code: note.text for note in finding.notes}["scale-in-doubt"]
        assert text == (
            'The readings do not suit the scale "as read", and the media have different numbers of edges. In simulated '
            "trials like that, with media a factor of two apart, such a claim was wrongly shown in up to 10 of 100 "
            "instead of 5."
        )

    def test_not_where_the_media_have_as_many_edges(self, tmp_path: Path) -> None:
        finding = judged(tmp_path / "t", readings((16, 16), 0), SAME)
        assert "scale-in-doubt" not in codes(finding)

    def test_not_where_the_scale_suits(self, tmp_path: Path) -> None:
        finding = judged(tmp_path / "t", readings((16, 10), 1), SAME)
        assert "scale-in-doubt" not in codes(finding)


class TestNormalEdges:
    def test_every_bound_says_what_it_rests_on(self, tmp_path: Path) -> None:
        finding = judged(tmp_path / "t", readings((16, 10), 1), REACHES)
        assert shape_note(16, 0.8) in finding.notes

    @pytest.mark.parametrize(("edges", "size"), [(2, 3), (3, 3), (7, 6), (24, 24), (49, 24)])
    @pytest.mark.parametrize(("claimed", "share"), [(0.5, 0.8), (0.9, 0.9), (0.99, 0.95)])
    def test_figures_of_the_nearest_setting(self, edges: int, size: int, claimed: float, share: float) -> None:
        text = shape_note(edges, claimed).text
        assert re.findall(r"up to (\d+)", text) == [str(figure) for figure in OTHER_SHAPES[share][size]]
        assert f", which {edges} edges can hardly show." in text

    def test_many_edges_show_their_shape(self) -> None:
        assert "spread normally; look at the residuals." in shape_note(50, 0.9).text


class TestNormalSpreads:
    def test_every_ratio_of_spreads_says_what_it_rests_on(self, tmp_path: Path) -> None:
        finding = judged(tmp_path / "t", readings((16, 10), 1), STEADIER)
        assert spread_note(10) in finding.notes

    @pytest.mark.parametrize(("edges", "size"), [(2, 3), (7, 6), (30, 24)])
    def test_figure_of_the_nearest_setting(self, edges: int, size: int) -> None:
        assert f"in up to {OTHER_SPREADS[size]} of 100" in spread_note(edges).text
        assert f", which {edges} edges can hardly show." in spread_note(edges).text


class TestNarrowMargin:
    def test_a_margin_beside_which_chance_is_wide(self, tmp_path: Path) -> None:
        table = readings((6, 6), 1)
        notes = {note.code: note.text for note in judged(tmp_path / "a", table, SAME.replace("30 gf", "0.1 gf")).notes}
        assert "wrongly contradicted in up to 10 of 100 trials instead of 5" in notes["narrow-margin"]
        assert "narrow-margin" not in codes(judged(tmp_path / "b", table, SAME.replace("30 gf", "60 gf")))

    @pytest.mark.parametrize(("width", "told"), [(0.3, True), (0.5, False)])
    def test_as_often_as_the_t_distribution_says(self, width: float, told: bool) -> None:
        """Draws at one of the limits: how often the estimate lies beyond either."""
        rng, draws, df = np.random.default_rng(4), 200_000, 15
        t = rng.standard_normal(draws) / np.sqrt(rng.chisquare(df, draws) / df)
        reach = float(stats.t.isf(0.05, df))
        wrong = float(np.mean((t > reach) | (t < -reach - width)))
        note = narrow_note(Region(-width / 2, width / 2), 1.0, df, 0.05)
        assert (note is not None) == (wrong > 1.5 * 0.05) == told
        if note is not None:
            assert f"up to {100 * wrong:.0f} of 100" in note.text

    def test_one_limit_and_two_tails_are_as_they_say(self) -> None:
        assert narrow_note(Region(-np.inf, 0.0), 1.0, 10, 0.05) is None
        assert narrow_note(Outside(0.0, 0.0), 1.0, 10, 0.05) is None
        assert narrow_note(Region(0.0, 0.0), float("nan"), float("nan"), 0.05) is None


class TestCountedInBlocks:
    @pytest.mark.parametrize(("edges", "blocks", "size"), [(24, 12, 2), (24, 10, 4), (24, 6, 4), (48, 3, 8)])
    def test_figures_of_as_many_edges_a_block(self, edges: int, blocks: int, size: int) -> None:
        note = count_note("blade", edges, blocks)
        assert note.code == "counted-in-blocks"
        assert "with about as many edges a blade" in note.text
        assert re.findall(r"up to (\d+)", note.text) == [str(figure) for figure in SHARED_BLOCKS[size]]
