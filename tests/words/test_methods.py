"""The methods of a trial, told from its fit and plan."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sharpstats.claims.finding import Findings
from sharpstats.model.trialfit import TrialFit
from sharpstats.words.kinds import KINDS
from sharpstats.words.methods import REFERENCES, methods_text
from sharpstats.words.numbers import NBSP


@pytest.fixture(scope="module")
def text(judged: Findings) -> str:
    return " ".join(methods_text(judged).paragraphs).replace(NBSP, " ")


def test_the_model_is_the_fits(text: str, judged: Findings) -> None:
    edges = judged.fit.data["edge"].nunique()
    assert f"{edges} edges with {len(judged.fit.data)} cuts were compared." in text
    assert "Readings were analysed as logarithms" in text
    assert "The model holds medium, steel and medium by steel as what is compared." in text
    assert "Blade and blade by medium count as samples of more" in text
    assert f"The plan gives {judged.trial.plan.layout.seed} as the seed" in text


def test_each_kind_is_told_once(text: str, judged: Findings) -> None:
    kinds = {finding.kind for finding in judged.findings}
    assert all(text.count(KINDS[kind].method) == 1 for kind in kinds)


def test_what_was_left_out_is_counted(text: str, judged: Findings) -> None:
    counts = judged.trial.counts
    assert f"Of {counts['read']} rows read, {counts['used']} were used and {counts['set_aside']} set aside" in text
    assert "over the tester's range" not in text
    assert "control edges read" in text


def test_cuts_over_the_range_are_told(limited: Findings) -> None:
    told = methods_text(limited)
    text = " ".join(told.paragraphs).replace(NBSP, " ")
    assert "14 cuts on 8 edges were over the tester's range. Each enters the likelihood as the chance of" in text
    assert "the equivalent trial, in which each such edge has as many cuts in range as it is worth" in text
    for author in ("Tobin", "Breslow"):
        assert sum(point.startswith(f"{author},") for point in told.points) == 1


def test_every_work_named_has_its_reference(text: str, judged: Findings) -> None:
    points = methods_text(judged).points
    assert list(points) == sorted(points)
    for author in ("Patterson", "Kenward", "Searle", "Box", "Shapiro", "Welch", "Holm"):
        assert author in text
        assert sum(point.startswith(f"{author},") for point in points) == 1


def test_mean_squares_are_told_where_the_layout_is_balanced(judged: Findings, balanced: TrialFit) -> None:
    for fit, told in ((judged.fit, 0), (balanced, 1)):
        page = methods_text(replace(judged, fit=fit))
        assert " ".join(page.paragraphs).count("limits from mean squares stand beside those of the likelihood") == told
        assert sum(point.startswith(("Graybill,", "Ting,")) for point in page.points) == 2 * told


def test_a_family_of_one_is_no_family(judged: Findings) -> None:
    alone = methods_text(replace(judged, findings=judged.findings[:1]))
    assert "Holm" not in " ".join((*alone.paragraphs, *alone.points))


def test_references_of_kinds_exist() -> None:
    assert {key for kind in KINDS.values() for key in kind.references} <= set(REFERENCES)
