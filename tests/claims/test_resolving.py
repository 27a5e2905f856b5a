"""Margins held against what the tester can show between two edges."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from reference.studies import cuts_on_edges, made_study

from sharpstats.claims.resolving import Resolution, resolution
from sharpstats.tester.spreads import find_spreads
from sharpstats.trial.trial import Trial, open_trial

SAYS = {
    "same": 'kind = "same"\nmargin = "{}"',
    "noworse": 'kind = "no worse"\nmargin = "{}"',
    "keener": 'kind = "keener"\nby = "{}"',
    "gap": 'kind = "gap"\nmargin = "{}"\nacross = "steel"\nlevels = ["x", "y"]',
}


def made_trial(folder: Path, margin: str = "15 %", *, kinds: tuple[str, ...] = ("same",), cuts: str = "1123",
               layout: str = "", scale: str = "log", read: bool = True) -> Trial:  # fmt: skip
    """Return a trial with an edge for each number of cuts, beside a tester study."""
    folder.mkdir(parents=True, exist_ok=True)
    claims = [f'[[claim]]\nid = "{kind}"\nsays = "A as B"\nmedium = "A"\nthan = "B"\n{SAYS[kind].format(margin)}'
              for kind in kinds]  # fmt: skip
    plan = ['title = "A or B?"', f'scale = "{scale}"', 'tester_study = "../tester"', "[factors]",
            'medium = ["A", "B"]', 'steel = ["x", "y"]', "[layout]", layout, *claims]  # fmt: skip
    (folder / "trial.toml").write_text("\n".join(plan), encoding="utf-8")
    rows = [(f"e{i}", "AB"[i % 2], "xy"[i // 2 % 2], cut + 1, 150 + cut if read else "")
            for i, count in enumerate(cuts) for cut in range(int(count))]  # fmt: skip
    table = pd.DataFrame(rows, columns=["edge", "medium", "steel", "cut", "reading"])
    table.to_csv(folder / "readings.csv", index=False)
    return open_trial(folder)


def judged(trial: Trial) -> Resolution:
    found = resolution(trial)
    assert found is not None
    return found


@pytest.fixture
def study(tmp_path: Path) -> Path:
    return made_study(tmp_path / "tester", cuts_on_edges(2))


def test_no_study_no_resolution(tmp_path: Path, study: Path) -> None:
    trial = made_trial(tmp_path / "trial")
    text = (trial.folder / "trial.toml").read_text(encoding="utf-8")
    (trial.folder / "trial.toml").write_text(text.replace('tester_study = "../tester"\n', ""), encoding="utf-8")
    assert resolution(open_trial(trial.folder)) is None


def test_the_smallest_difference_is_that_of_iso_5725_6(tmp_path: Path, study: Path) -> None:
    """1.96 sqrt(2 s_r^2 / c) with c the harmonic mean of the cuts: 4 / (1 + 1 + 1/2 + 1/3).

    Operator x edge, where it stays a part of its own, adds to it; this seed pools it.
    """
    found = judged(made_trial(tmp_path / "trial"))
    spreads = find_spreads(pd.read_csv(study / "readings.csv"), scale="log")
    assert spreads.terms == ("operator", "edge", "repeatability")
    one = found.claims[0]
    assert one.cuts == pytest.approx(4 / (2 + 1 / 2 + 1 / 3), rel=1e-14)
    s_r = spreads.sds["repeatability"].estimate
    assert one.smallest.estimate == pytest.approx(1.959963984540054 * s_r * np.sqrt(2 / one.cuts), rel=1e-12)
    assert one.smallest.low < one.smallest.estimate < one.smallest.high
    assert one.apart is not None
    assert one.apart.estimate > one.smallest.estimate


@pytest.mark.parametrize("margin", ["2 %", "10 %", "25 %", "80 %"])
def test_the_verdict_follows_from_margin_and_interval(tmp_path: Path, study: Path, margin: str) -> None:
    one = judged(made_trial(tmp_path / "trial", margin)).claims[0]
    size = np.log1p(float(margin.split()[0]) / 100)
    assert one.margin_on_scale == pytest.approx(size, rel=1e-14)
    assert one.verdict.endswith("larger") is bool(size >= one.smallest.estimate)
    assert one.verdict.startswith("perhaps") is bool(one.smallest.low <= size < one.smallest.high)
    assert (one.enough is None or one.enough > one.cuts) is one.verdict.endswith("smaller")


def test_more_cuts_show_less(tmp_path: Path, study: Path) -> None:
    few, many = (judged(made_trial(tmp_path / f"t{cuts}", cuts=cuts)).claims[0] for cuts in ("1111", "9999"))
    assert many.smallest.estimate == pytest.approx(few.smallest.estimate / 3, rel=1e-12)


def test_a_gap_is_a_difference_of_differences(tmp_path: Path, study: Path) -> None:
    same, gap = judged(made_trial(tmp_path / "trial", kinds=("same", "gap"))).claims
    assert gap.smallest.estimate == pytest.approx(np.sqrt(2) * same.smallest.estimate, rel=1e-12)


def test_claims_without_a_margin_are_left_out(tmp_path: Path, study: Path) -> None:
    assert judged(made_trial(tmp_path / "trial", "0 %", kinds=("keener",))).claims == ()
    assert [one.claim.id for one in judged(made_trial(tmp_path / "two", kinds=("noworse", "keener"))).claims] == [
        "noworse", "keener",
    ]  # fmt: skip


def test_before_the_first_reading_the_cuts_of_the_plan_count(tmp_path: Path, study: Path) -> None:
    found = judged(made_trial(tmp_path / "trial", layout="cuts = 5", read=False))
    assert found.planned
    assert found.claims[0].cuts == 5
    unknown = judged(made_trial(tmp_path / "unknown", read=False))
    assert unknown.claims == ()
    assert "cuts-unknown" in [note.code for note in unknown.notes]


def test_as_read_the_margin_is_a_force(tmp_path: Path, study: Path) -> None:
    one = judged(made_trial(tmp_path / "trial", "25 gf", scale="as read")).claims[0]
    assert one.margin_on_scale == 25
    assert 1 < one.smallest.estimate < 200
