"""One claim on a slide."""

from __future__ import annotations

import math
from dataclasses import replace
from io import BytesIO

import pytest
from PIL import Image

from sharpstats.claims.finding import Finding, Findings
from sharpstats.figures.claim import claim_picture
from sharpstats.figures.picture import Picture


def words(picture: Picture) -> str:
    return " ".join(" ".join(text.get_text().split("\n")) for text in picture.figure.texts)


def lines(picture: Picture, label: str) -> list[tuple[float, ...]]:
    every = [line for axes in picture.figure.axes for line in axes.get_lines()]
    return [tuple(line.get_xdata()) for line in every if line.get_label() == label]


def comparison(judged: Findings) -> Finding:
    return next(finding for finding in judged.findings if finding.than is not None and finding.where)


def test_it_is_sixteen_to_nine(judged: Findings) -> None:
    assert Image.open(BytesIO(claim_picture(judged.findings[0]).png_bytes)).size == (1920, 1080)


def test_the_sentence_is_the_title_and_the_finding_a_word(judged: Findings) -> None:
    for finding in judged.findings:
        picture = claim_picture(finding, judged.fit)
        assert finding.says in words(picture)
        assert finding.finding in [text.get_text() for text in picture.figure.texts]
        assert picture.name == f"claim-{finding.claim}"
        assert picture.alt.startswith(f"{finding.says}: {finding.finding}. ")
        assert lines(picture, "interval") == [(finding.low, finding.high)]


def test_hollow_marks_are_edges_with_cuts_over_the_range(limited: Findings) -> None:
    finding = limited["film-as-oilstone"]
    picture = claim_picture(finding, limited.fit)
    edges = limited.fit.edges[limited.fit.edges["medium"].isin([finding.medium, finding.than])]
    over = edges["over_range"] > 0
    for label, here in (("edges", ~over), ("edges with a cut over the range", over)):
        drawn = sorted(reading for strip in lines(picture, label) for reading in strip)
        assert drawn == sorted(edges.loc[here, "reading"])
    picture.figure.draw_without_rendering()
    titles = [text for text in picture.figure.texts if text.get_text().startswith(("Every edge", "Shaded"))]
    assert titles[0].get_text() == "Every edge (hollow: some cuts over range)"
    left, right = (title.get_window_extent() for title in titles)
    assert left.x1 < right.x0


def test_edges_behind_the_finding_are_drawn_and_only_those(judged: Findings) -> None:
    finding = comparison(judged)
    picture = claim_picture(finding, judged.fit)
    edges = judged.fit.edges
    for name, level in finding.where.items():
        edges = edges[edges[name] == level]
    edges = edges[edges["medium"].isin([finding.medium, finding.than])]
    drawn = sorted(reading for strip in lines(picture, "edges") for reading in strip)
    assert drawn == sorted(edges["reading"])
    data = picture.data[picture.data["part"] == "edge"]
    assert sorted(data["edge"]) == sorted(edges["edge"])


def test_without_the_fit_the_interval_has_the_whole_width(judged: Findings) -> None:
    picture = claim_picture(judged.findings[0])
    assert [axes.get_xlabel() for axes in picture.figure.axes] == [
        "difference, %: below zero the first medium is the keener one"
    ]
    assert (picture.data["part"] == "interval").all()


def test_each_axis_has_its_unit(judged: Findings) -> None:
    labels = [axes.get_xlabel() for axes in claim_picture(judged.findings[0], judged.fit).figure.axes]
    assert labels == ["reading, gf (log axis); lower is keener", "difference, %; below 0 is keener"]


def test_the_interval_has_its_level_beside_it(judged: Findings) -> None:
    for finding in judged.findings:
        axes = claim_picture(finding, judged.fit).figure.axes[-1]
        assert any(text.get_text().endswith("% interval") for text in axes.texts)


def test_reaches_has_edges_level_and_interval_on_one_axis(judged: Findings) -> None:
    finding = next(finding for finding in judged.findings if finding.kind == "reaches")
    picture = claim_picture(finding, judged.fit)
    assert len(picture.figure.axes) == 1
    assert lines(picture, "bound")[0][0] == finding.bound_high
    assert len(lines(picture, "edges")[0]) == finding.edges[finding.medium]


@pytest.mark.parametrize(("claim", "name"), [("a-b", "claim-a-b"), ("../x y/$", "claim-x-y"), ("石", "claim-unnamed")])
def test_the_name_is_fit_for_a_file(judged: Findings, claim: str, name: str) -> None:
    finding = judged.findings[0]
    assert claim_picture(replace(finding, declared=replace(finding.declared, id=claim))).name == name


def test_a_claim_that_is_not_answered_has_no_interval(judged: Findings) -> None:
    nan = math.nan
    silent = replace(judged.findings[0], finding="open", p=nan, p_adjusted=nan, estimate=nan, low=nan, high=nan)
    picture = claim_picture(silent, judged.fit)
    assert lines(picture, "interval") == []
    assert "The edges of this trial do not answer it." in words(picture)


def test_hostile_words_are_letters_and_stay_on_the_sheet(hostile: Findings) -> None:
    for finding in hostile.findings:
        made = claim_picture(finding, hostile.fit)
        assert "<script" not in made.svg_text
        made.figure.draw_without_rendering()
        width, height = made.figure.bbox.size
        boxes = [text.get_window_extent() for text in made.figure.texts]
        assert max(box.x1 for box in boxes) <= width
        assert min(box.y0 for box in boxes) >= 0 and max(box.y1 for box in boxes) <= height
