"""Three claims that are just not true: Holm keeps the chance of any error to alpha."""

from __future__ import annotations

from functools import lru_cache

from validity import family
from validity.layouts import TWICE, Layout
from validity.shares import bound

TRIALS = 1200


@lru_cache
def measured() -> dict[str, float]:
    return family.measure(Layout(TWICE, 12, media=3), "blade x medium most", TRIALS)


def test_any_wrongly_shown() -> None:
    assert measured()["shown"] <= family.ALPHA + bound(TRIALS)


def test_any_wrongly_contradicted() -> None:
    assert measured()["contradicted"] <= family.ALPHA + bound(TRIALS)


def test_without_a_family_there_would_be_more() -> None:
    assert measured()["without"] > family.ALPHA + bound(TRIALS)
