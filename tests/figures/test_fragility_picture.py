"""What would change the findings: every interval is drawn, and those with another finding are marked."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection

from sharpstats.claims.finding import Findings
from sharpstats.claims.fragility import Change, Changed, Fragility
from sharpstats.figures import fragility_picture
from sharpstats.figures.picture import Picture
from sharpstats.figures.track import INKS_OF


@pytest.fixture(scope="module")
def drawn(judged: Findings) -> Picture:
    picture = fragility_picture(judged.fragility)
    assert picture is not None
    return picture


def panels(picture: Picture) -> list[Axes]:
    return [axes for axes in picture.figure.axes if axes.axison]


def bands(axes: Axes, kind: str) -> list[LineCollection]:
    return [one for one in axes.collections if isinstance(one, LineCollection) and one.get_label() == kind]


def test_every_claim_has_every_interval(judged: Findings, drawn: Picture) -> None:
    differences, readings = panels(drawn)
    assert drawn.data.equals(judged.fragility.table)
    for axes, claims in ((differences, 5), (readings, 2)):
        for kind, number in (("edge", 64), ("blade", 8), ("operator", 3), ("set aside", 1), ("scale", 1)):
            assert [len(band.get_segments()) for band in bands(axes, kind)] == [number] * claims


def test_intervals_are_those_of_the_table_and_lie_in_order(judged: Findings, drawn: Picture) -> None:
    axes = panels(drawn)[0]
    table = judged.fragility.table
    rows = table[(table["claim"] == "slate-as-plate") & (table["change"] == "blade")].sort_values("estimate")
    segments = np.array(bands(axes, "blade")[0].get_segments())
    np.testing.assert_allclose(segments[:, :, 0], rows[["low", "high"]])
    assert np.all(np.diff(segments[:, 0, 1]) > 0)


def test_other_findings_are_marked_with_shape_and_ink(judged: Findings, drawn: Picture) -> None:
    marks = [line for axes in panels(drawn) for line in axes.get_lines() if line.get_label() == "change"]
    other = [one for f in judged.findings for g in judged.fragility.groups(f.claim) for one in g.other]
    assert len(marks) == len(other) > 0
    assert {mark.get_color() for mark in marks} == {INKS_OF[str(one.finding)] for one in other}


def test_units_names_and_alternative_text(judged: Findings, drawn: Picture) -> None:
    assert [axes.get_xlabel() for axes in panels(drawn)] == [
        "difference, %: below zero the first medium is the keener one", "reading, gf (log axis); lower is keener",
    ]  # fmt: skip
    texts = [text.get_text() for text in drawn.figure.texts]
    for name in ("as found", "64\u00a0edges", "8\u00a0blades", "3\u00a0operators", "2\u00a0rows put back", "as read"):
        assert texts.count(name) == 7
    assert "without operator" in drawn.alt
    for finding in judged.findings:
        assert finding.says in drawn.alt


def test_an_endless_or_very_wide_interval_does_not_squeeze_the_others(judged: Findings) -> None:
    finding = judged.findings[0]
    wide: dict[str, Any] = {"claim": finding.claim, "finding": "open", "estimate": finding.estimate, "level": 0.9}
    made = Fragility(Findings(judged.trial, judged.fit, (finding,)), (
        Changed(**wide, change=Change("edge", "a"), low=-90.0, high=9000.0),
        Changed(**wide, change=Change("edge", "b"), low=-math.inf, high=math.inf),
        Changed(claim=finding.claim, change=Change("edge", "c"), finding=None, reason="No."),
    ))  # fmt: skip
    picture = fragility_picture(made)
    assert picture is not None
    left, right = panels(picture)[0].get_xlim()
    assert right - left < 4 * (finding.high - finding.low) + 4 * abs(finding.bound_high or 0)
    assert len(bands(panels(picture)[0], "edge")[0].get_segments()) == 2


def test_nothing_to_draw(judged: Findings) -> None:
    assert fragility_picture(Fragility(judged, ())) is None
    lost = replace(judged.findings[0], p=math.nan)
    alone = Findings(judged.trial, judged.fit, (lost,))
    assert fragility_picture(Fragility(alone, judged.fragility.changed)) is None


def test_hostile_labels_are_letters(hostile: Findings) -> None:
    picture = fragility_picture(hostile.fragility)
    assert picture is not None
    assert picture.png_bytes.startswith(b"\x89PNG")
    assert picture.svg_text.count("<svg ") == 1
