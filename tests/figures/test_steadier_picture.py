"""A finding about spreads drawn: an axis of percent more or less, that ends at nothing left."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sharpstats.claims.finding import Findings
from sharpstats.figures.claim import claim_picture
from sharpstats.figures.claims import SPREADS, claims_picture
from sharpstats.figures.fragility import fragility_picture
from sharpstats.trial.trial import open_trial

CLAIMS = """
[[claim]]
id = "steady"
says = "Film comes out steadier"
kind = "steadier"
medium = "film"
than = "stone"
by = "10 %"
[[claim]]
id = "back"
says = "Stone comes out steadier"
kind = "steadier"
medium = "stone"
than = "film"
[[claim]]
id = "keener"
says = "Film is keener"
kind = "keener"
medium = "film"
than = "stone"
"""


@pytest.fixture(scope="module")
def spread(tmp_path_factory: pytest.TempPathFactory) -> Findings:
    folder: Path = tmp_path_factory.mktemp("spread")
    rng = np.random.default_rng(2)
    rows = ["edge,cut,medium,reading"]
    for medium, sd in (("film", 0.02), ("stone", 0.2)):
        for edge in range(8):
            centre = 5 + sd * rng.normal()
            rows += [f"{medium}{edge},{cut},{medium},{np.exp(centre + 0.05 * rng.normal()):.2f}" for cut in (1, 2, 3)]
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    text = 'title = "S"\n[factors]\nmedium = ["film", "stone"]\n' + CLAIMS
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    found: Findings = open_trial(folder).judge()
    return found


def test_the_axis_says_what_it_measures_and_ends_at_minus_hundred(spread: Findings) -> None:
    finding = spread["steady"]
    axes = claim_picture(finding, spread.fit).figure.axes
    assert [ax.get_xlabel() for ax in axes] == [
        "reading, gf (log axis); lower is keener", "spread, % more or less; below 0 is steadier"
    ]
    left, right = axes[1].get_xlim()
    assert left >= -100 and right > 0
    (interval,) = [line for line in axes[1].lines if line.get_label() == "interval"]
    assert list(interval.get_xdata()) == [finding.low, finding.high]


def test_a_side_without_limit_runs_out_and_has_its_name_in_the_middle(spread: Findings) -> None:
    finding = spread["back"]
    assert finding.high == np.inf
    axes = claim_picture(finding, spread.fit).figure.axes[1]
    assert [line.get_label() for line in axes.lines].count("endless") == 1
    (text,) = [text for text in axes.texts if "interval" in text.get_text()]
    assert text.xy[0] == pytest.approx((finding.low + axes.get_xlim()[1]) / 2)


def test_spreads_have_a_panel_of_their_own_among_all_claims(spread: Findings) -> None:
    picture = claims_picture(spread)
    labels = [ax.get_xlabel() for ax in picture.figure.axes if ax.get_xlabel()]
    assert labels == [
        "difference, %: below zero the first medium is the keener one",
        "spread, % more or less: below zero the first medium is the steadier one",
    ]
    titles = [text.get_text() for text in picture.figure.texts]
    assert titles.index("Differences of two media") < titles.index(SPREADS)
    assert "less spread (" in picture.alt


def test_fragility_keeps_them_apart_too(spread: Findings) -> None:
    picture = fragility_picture(spread.fragility)
    assert picture is not None
    titles = [text.get_text() for text in picture.figure.texts]
    assert SPREADS in titles
