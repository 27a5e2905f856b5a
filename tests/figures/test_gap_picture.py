"""A gap on a slide: four strips of edges, two differences, and the gap against where the claim is true."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

import sharpstats as ss
from sharpstats.claims.finding import Findings
from sharpstats.figures.claim import claim_picture
from sharpstats.figures.claims import claims_picture
from sharpstats.figures.picture import Picture

HANDS = ("learner", "practised", "master")


@pytest.fixture(scope="module")
def findings(tmp_path_factory: pytest.TempPathFactory) -> Findings:
    folder, rng = tmp_path_factory.mktemp("trial"), np.random.default_rng(2)
    cells = [(m, o) for m in ("film", "stone") for o in HANDS for _ in range(4)]
    rows = [f"e{i},{m},{o},{rng.normal(200 if o == 'learner' and m == 'film' else 150, 9):.1f}"
            for i, (m, o) in enumerate(cells)]  # fmt: skip
    (folder / "readings.csv").write_text("\n".join(["edge,medium,operator,reading", *rows]) + "\n")
    claims = "".join(
        f'[[claim]]\nid = "c{depends}"\nsays = "Film asks skill"\nkind = "gap"\nmedium = "film"\nthan = "stone"\n'
        f'across = "operator"\nlevels = ["learner", "practised"]\nmargin = "10 %"\ndepends = {depends}\n'
        for depends in ("true", "false")
    )
    (folder / "trial.toml").write_text(
        f'title = "Skill"\n[factors]\nmedium = ["film", "stone"]\noperator = {json.dumps(HANDS)}\n{claims}'
    )
    found: Findings = ss.open_trial(folder).judge()
    return found


def lines(picture: Picture, label: str) -> list[tuple[float, ...]]:
    every = [line for axes in picture.figure.axes for line in axes.get_lines()]
    return [tuple(line.get_xdata()) for line in every if line.get_label() == label]


def shaded(picture: Picture, axes: int) -> list[tuple[float, float]]:
    """Ends of each shaded region."""
    boxes = [one.get_datalim(picture.figure.axes[axes].transData) for one in picture.figure.axes[axes].collections
             if one.get_label() == "region"]  # fmt: skip
    return [(box.x0, box.x1) for box in boxes]


def test_edges_of_the_four_cells_are_drawn_and_no_others(findings: Findings) -> None:
    picture = claim_picture(findings.findings[0], findings.fit)
    edges = findings.fit.edges
    strips = [edges[(edges["medium"] == m) & (edges["operator"] == o)]["reading"].tolist()
              for o in HANDS[:2] for m in ("film", "stone")]  # fmt: skip
    assert [sorted(strip) for strip in lines(picture, "edges")] == [sorted(strip) for strip in strips]
    names = [text.get_text() for text in picture.figure.axes[0].texts]
    assert names == ["film, learner", "stone, learner", "film, practised", "stone, practised"]
    assert len(picture.data[picture.data["part"] == "edge"]) == 16


def test_both_differences_and_the_gap_are_drawn(findings: Findings) -> None:
    finding = findings.findings[0]
    picture = claim_picture(finding, findings.fit)
    assert lines(picture, "part") == [(part.low, part.high) for part in finding.parts]
    assert lines(picture, "interval") == [(finding.low, finding.high)]
    names = [text.get_text().replace("\u00a0", " ") for text in picture.figure.axes[1].texts]
    assert names == ["difference where operator is learner", "difference where operator is practised",
                     "their gap; each with its 97.5 % interval"]  # fmt: skip
    stored = picture.data[picture.data["part"] == "difference"]
    assert stored["at"].tolist() == ["learner", "practised"]
    assert stored["estimate"].tolist() == [part.estimate for part in finding.parts]


def test_shaded_is_where_the_claim_is_true(findings: Findings) -> None:
    depends, same = (claim_picture(finding, findings.fit) for finding in findings.findings)
    low, high = findings.findings[0].bound_low, findings.findings[0].bound_high
    left, right = depends.figure.axes[1].get_xlim()
    assert np.array(shaded(depends, 1)) == pytest.approx(np.array([(left, low), (high, right)]))
    assert np.array(shaded(same, 1)) == pytest.approx(np.array([(low, high)]))


def test_the_slide_says_the_gap_and_the_page_of_all_claims_has_its_axis(findings: Findings) -> None:
    picture = claim_picture(findings.findings[0], findings.fit)
    words = " ".join(" ".join(text.get_text().split()) for text in picture.figure.texts)
    assert "The difference depends on operator by more than your 10 %: a gap of +" in words
    together = claims_picture(findings)
    (axes,) = together.figure.axes[1:]
    assert axes.get_xlabel() == "gap, %: how far the first difference lies above the second"
    assert any("shown, a gap of +" in text.get_text() for text in axes.texts)


def test_a_gap_that_is_not_answered_has_neither(findings: Findings) -> None:
    nan = math.nan
    finding = findings.findings[0]
    parts = tuple(replace(part, estimate=nan, low=nan, high=nan) for part in finding.parts)
    silent = replace(finding, finding="open", p=nan, p_adjusted=nan, estimate=nan, low=nan, high=nan, parts=parts)
    picture = claim_picture(silent, findings.fit)
    assert lines(picture, "interval") == lines(picture, "part") == []
