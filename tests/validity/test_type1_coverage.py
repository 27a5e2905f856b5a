"""Coverage and error rates in simulated trials: a short run here, the full study as `slow`.

Shares are judged by three standard errors of a binomial. With fixed seeds nothing here is
luck, but a change of the arithmetic must not be able to hide behind it.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from validity import study
from validity.study import Drawn, bound, layout, simulate

INTERIOR = "media suit some blades"
TRIALS = 2_500


@lru_cache
def short(setting: str) -> Drawn:
    return simulate(study.SETTINGS[setting], TRIALS, seed=7)


class TestLayout:
    def test_it_is_small_uneven_and_has_an_empty_cell(self) -> None:
        frame = layout().frame
        table = pd.DataFrame({name: factor.codes for name, factor in frame.factors.items()})
        cells = table.groupby(["medium", "blade"])["edge"].nunique()
        assert table["blade"].nunique() == 6
        assert table["medium"].nunique() == 3
        assert table["edge"].nunique() == 30
        assert len(cells) == 17
        assert sorted(set(cells)) == [1, 2]
        assert sorted(set(table.groupby("edge").size())) == [1, 2, 3]

    def test_a_true_difference_moves_the_estimate_and_nothing_else(self) -> None:
        """What lets one set of trials serve for zero and for the margin."""
        rng = np.random.default_rng(5)
        y = study.draw_response(rng, study.SETTINGS[INTERIOR])
        moved = y + study.MARGIN * (layout().frame.factors["medium"].codes == 1)
        one, two = layout().refit(y).contrasts("medium"), layout().refit(moved).contrasts("medium")
        assert two.estimate[0] == pytest.approx(one.estimate[0] - study.MARGIN, abs=1e-10)
        assert two.se == pytest.approx(one.se, rel=1e-9)
        assert two.df == pytest.approx(one.df, rel=1e-9)

    def test_what_is_drawn_has_the_spreads_asked_for(self) -> None:
        rng = np.random.default_rng(6)
        sd = (0.2, 0.1, 0.05, 0.3)
        draws = np.array([study.draw_response(rng, sd) for _ in range(4000)])
        assert draws.var(axis=0).mean() == pytest.approx(sum(value**2 for value in sd), rel=0.05)


def test_the_page_is_the_one_that_the_study_writes() -> None:
    """Its text at least; the numbers are for the slow run."""
    page = (Path(study.__file__).parent / "RESULTS.md").read_text(encoding="utf-8")
    table = pd.DataFrame({"setting": ["x"], "SDs": ["0"], "share": [5.0]})
    made = study.page(table, study.FULL, 0)
    assert made.rpartition("|")[2] == page.rpartition("|")[2]
    assert made.splitlines()[0] == page.splitlines()[0]


class TestShortRun:
    def test_intervals_cover_what_they_say(self) -> None:
        assert short(INTERIOR).covered["Kenward-Roger"] == pytest.approx(0.95, abs=bound(TRIALS))

    def test_same_errs_in_no_more_than_five_of_a_hundred_at_its_margin(self) -> None:
        """By two one-sided tests it may err less often, where the margin is narrow; not so here."""
        assert short("all spreads alike").same_at_margin == pytest.approx(0.05, abs=bound(TRIALS))

    def test_keener_errs_in_five_of_a_hundred_at_zero(self) -> None:
        assert short(INTERIOR).keener_at_zero == pytest.approx(0.05, abs=bound(TRIALS))

    def test_a_normal_approximation_does_worse_on_the_same_trials(self) -> None:
        drawn = short(INTERIOR)
        normal = drawn.covered["normal"]
        assert normal < 0.95 - bound(TRIALS)
        assert abs(drawn.covered["Kenward-Roger"] - 0.95) < abs(normal - 0.95)
        assert drawn.keener_by_normal > 0.05 + bound(TRIALS)
        assert abs(drawn.keener_at_zero - 0.05) < abs(drawn.keener_by_normal - 0.05)

    def test_spreads_that_are_not_there_make_findings_careful_not_bold(self) -> None:
        drawn = simulate(study.SETTINGS["nothing but cuts"], 800, seed=8)
        assert drawn.zeros.mean() > 0.9
        assert drawn.covered["Kenward-Roger"] > 0.95
        assert drawn.keener_at_zero < 0.05 + bound(800)
        assert drawn.same_at_margin < 0.05 + bound(800)


@lru_cache
def full() -> pd.DataFrame:
    return study.results(study.FULL).set_index("setting")


@pytest.mark.slow
class TestFullStudy:
    """The study that RESULTS.md tells; about five minutes."""

    def test_the_page_tells_what_comes_out(self) -> None:
        table, page = full(), (Path(__file__).parent / "RESULTS.md").read_text(encoding="utf-8")
        rows = [line.strip("| ").split(" | ") for line in page.splitlines() if line.startswith("| ")]
        told = {row[0]: [float(cell) for cell in row[2:]] for row in rows if row[0] in table.index}
        assert told.keys() == set(table.index)
        for setting, cells in told.items():
            assert table.loc[setting].tolist()[1:] == pytest.approx(cells, abs=0.11)

    def test_no_claim_errs_more_often_than_it_may(self) -> None:
        table = full()
        allowed = 100 * (0.05 + bound(study.FULL))
        assert table["`same` at the margin"].max() < allowed
        assert table["`keener` at zero"].max() < allowed
        assert table["covers, Kenward-Roger"].min() > 100 * (0.95 - bound(study.FULL))

    def test_nominal_where_every_spread_is_there(self) -> None:
        table = full()
        for setting in (INTERIOR, "all spreads alike"):
            row = table.loc[setting]
            assert row["covers, Kenward-Roger"] == pytest.approx(95, abs=100 * bound(study.FULL) + 0.05)
            assert row["covers, normal"] < 95 - 100 * bound(study.FULL)
            assert abs(row["covers, Kenward-Roger"] - 95) < abs(row["covers, normal"] - 95)


def test_bound_is_three_standard_errors() -> None:
    assert bound(2500) == pytest.approx(3 * stats.binom(2500, 0.05).std() / 2500)
