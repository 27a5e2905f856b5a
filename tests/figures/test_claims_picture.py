"""All claims in one picture."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_hex
from matplotlib.lines import Line2D

from sharpstats.claims.finding import Findings
from sharpstats.figures.claims import claims_picture, in_short
from sharpstats.figures.picture import Picture
from sharpstats.figures.track import INKS_OF, MARKS_OF


def panels(picture: Picture) -> list[Axes]:
    return [axes for axes in picture.figure.axes if axes.get_xlabel()]


def lines(picture: Picture, label: str) -> list[Line2D]:
    return [line for axes in panels(picture) for line in axes.get_lines() if line.get_label() == label]


@pytest.fixture(scope="module")
def picture(judged: Findings) -> Picture:
    return claims_picture(judged)


def test_every_interval_is_drawn_where_the_finding_has_it(picture: Picture, judged: Findings) -> None:
    drawn = [tuple(line.get_xdata()) for line in lines(picture, "interval")]
    assert sorted(drawn) == sorted((finding.low, finding.high) for finding in judged.findings)
    marks = lines(picture, "estimate")
    assert sorted(line.get_xdata()[0] for line in marks) == sorted(finding.estimate for finding in judged.findings)


def test_data_are_the_findings(picture: Picture, judged: Findings) -> None:
    assert picture.data["claim"].tolist() == [finding.claim for finding in judged.findings]
    assert picture.data["low"].tolist() == [finding.low for finding in judged.findings]


def test_the_region_ends_at_the_margin(picture: Picture, judged: Findings) -> None:
    drawn = [line.get_xdata()[0] for line in lines(picture, "bound")]
    bounds = [bound for finding in judged.findings for bound in (finding.bound_low, finding.bound_high)]
    assert sorted(drawn) == pytest.approx(sorted(bound for bound in bounds if bound is not None))
    regions = [area for axes in panels(picture) for area in axes.collections if area.get_label() == "region"]
    assert len(regions) == len(judged.findings)


def test_differences_and_readings_have_an_axis_each_with_its_unit(picture: Picture) -> None:
    assert [axes.get_xlabel() for axes in panels(picture)] == [
        "difference, %: below zero the first medium is the keener one",
        "reading, gf (log axis); lower is keener",
    ]


def test_the_finding_decides_shape_and_ink(picture: Picture, judged: Findings) -> None:
    looks = {(line.get_marker(), line.get_color()) for line in lines(picture, "estimate")}
    assert looks == {(MARKS_OF[finding.finding], INKS_OF[finding.finding]) for finding in judged.findings}


def test_only_an_open_finding_is_hollow(picture: Picture, judged: Findings) -> None:
    hollow = [to_hex(line.get_markerfacecolor()) == "#ffffff" for line in lines(picture, "estimate")]
    inks = [line.get_color() for line in lines(picture, "estimate")]
    assert hollow == [ink == INKS_OF["open"] for ink in inks]
    assert sum(hollow) == sum(finding.finding == "open" for finding in judged.findings) > 0


def test_each_claim_stands_above_its_track_with_the_level_of_its_interval(picture: Picture, judged: Findings) -> None:
    texts = " ".join(" ".join(text.get_text().split("\n")) for axes in panels(picture) for text in axes.texts)
    for finding in judged.findings:
        assert finding.says in texts
        assert in_short(finding) in texts
        assert "% interval: " in in_short(finding)


def test_an_interval_without_upper_limit_ends_in_an_arrow_head(judged: Findings) -> None:
    endless = replace(judged.findings[4], high=math.inf)
    axes = panels(claims_picture(replace(judged, findings=(endless,))))[0]
    heads = [line for line in axes.get_lines() if line.get_label() == "endless"]
    assert [line.get_marker() for line in heads] == [">"]
    assert heads[0].get_xdata()[0] == axes.get_xlim()[1]


def test_a_claim_that_is_not_answered_has_words_and_no_interval(judged: Findings) -> None:
    nan = math.nan
    silent = replace(judged.findings[0], finding="open", p=nan, p_adjusted=nan, estimate=nan, low=nan, high=nan)
    axes = panels(claims_picture(replace(judged, findings=(silent,))))[0]
    assert [line for line in axes.get_lines() if line.get_label() == "interval"] == []
    assert any(text.get_text() == "open, not answered by these edges" for text in axes.texts)


def test_hostile_claims_are_letters_and_stay_on_the_sheet(hostile: Findings) -> None:
    made = claims_picture(hostile)
    assert "<script" not in made.svg_text
    made.figure.draw_without_rendering()
    width = made.figure.bbox.width
    assert all(text.get_window_extent().x1 <= width for axes in made.figure.axes for text in axes.texts)
