"""`trial.judge()`: each kind to each outcome, the family, and the notes that go with all findings."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest

import sharpstats as ss
from sharpstats.claims import judge
from sharpstats.errors import ClaimError
from sharpstats.trial.freeze import freeze_plan

BLADES = ("b1", "b2", "b3", "b4", "b5", "b6")
READINGS = {"film": 150.0, "slate": 152.0, "stone": 220.0, "plate": 172.0}


def same(medium: str, than: str, **keys) -> dict:
    return {"kind": "same", "medium": medium, "than": than, "margin": "15 %"} | keys


def no_worse(medium: str, than: str, **keys) -> dict:
    return {"kind": "no worse", "medium": medium, "than": than, "margin": "15 %"} | keys


def keener(medium: str, than: str, **keys) -> dict:
    return {"kind": "keener", "medium": medium, "than": than, "by": "15 %"} | keys


def reaches(medium: str, level: str, **keys) -> dict:
    return {"kind": "reaches", "medium": medium, "level": level, "share": "80 %"} | keys


EXPECTED = [
    (same("film", "slate"), "shown"), (same("film", "stone"), "contradicted"), (same("film", "plate"), "open"),
    (no_worse("film", "stone"), "shown"), (no_worse("stone", "film"), "contradicted"),
    (no_worse("plate", "film"), "open"), (keener("film", "stone"), "shown"),
    (keener("stone", "film"), "contradicted"), (keener("film", "plate"), "open"),
    (reaches("film", "400 gf"), "shown"), (reaches("stone", "150 gf"), "contradicted"),
    (reaches("film", "155 gf"), "open"),
]  # fmt: skip


@pytest.fixture(scope="module")
def table(draw) -> pd.DataFrame:
    return draw(READINGS, blades=BLADES, edges=3, sd=(0.03, 0.08, 0.04))


@pytest.fixture(scope="module")
def everything(table, open_made):
    return open_made(table, [claim for claim, _ in EXPECTED], family="none").judge()


@pytest.mark.parametrize("place", range(len(EXPECTED)), ids=lambda i: f"{EXPECTED[i][0]['kind']}-{EXPECTED[i][1]}")
def test_each_kind_to_each_outcome(everything, place: int) -> None:
    finding, (claim, expected) = everything.findings[place], EXPECTED[place]
    assert (finding.kind, finding.finding) == (claim["kind"], expected)
    bound_low = -math.inf if finding.bound_low is None else finding.bound_low
    inside = bound_low < finding.low and finding.high < finding.bound_high
    outside = finding.low > finding.bound_high or finding.high < bound_low
    assert (inside, outside) == (expected == "shown", expected == "contradicted")
    assert finding.low < finding.estimate < finding.high
    assert (finding.p_adjusted, finding.level) == (finding.p, pytest.approx(0.9))


@pytest.mark.parametrize("place", range(len(EXPECTED)), ids=lambda i: f"{EXPECTED[i][0]['kind']}-{EXPECTED[i][1]}")
def test_only_open_claims_ask_for_more_edges(everything, place: int) -> None:
    finding = everything.findings[place]
    if finding.finding == "open":
        assert (finding.more_edges is None) == finding.more_edges_capped
    else:
        assert (finding.more_edges, finding.more_edges_capped) == (None, False)


def test_worse_by_the_margin_is_the_reverse_keener_by_it(table, open_made) -> None:
    pairs = [("film", "stone"), ("stone", "film"), ("film", "plate"), ("slate", "film")]
    claims = [claim for a, b in pairs for claim in (no_worse(a, b), keener(b, a))]
    found = open_made(table, claims, family="none").judge().findings
    turned = {"shown": "contradicted", "contradicted": "shown", "open": "open"}
    for no_worse_one, reverse in zip(found[::2], found[1::2], strict=True):
        assert no_worse_one.finding == turned[reverse.finding]


def test_a_family_of_claims_is_told_at_the_levels_of_its_steps(table, open_made) -> None:
    findings = open_made(table, [same("film", "slate"), same("film", "plate"), no_worse("film", "stone")]).judge()
    assert [finding.finding for finding in findings.findings] == ["shown", "open", "shown"]
    third, half = 1 - 2 * 0.05 / 3, 1 - 2 * 0.05 / 2
    # The open one is at the whole rate for it by then, and at a third against it: the wider interval is told.
    assert [finding.level for finding in findings.findings] == pytest.approx([half, third, third])
    (note,) = [note.text for note in findings.notes if note.code == "family"]
    assert note == (
        "3 primary claims share the error rate 0.05 by Holm's method, so their intervals are wider than they would be "
        "alone."
    )


def test_claims_on_the_side_leave_the_family_alone(table, open_made) -> None:
    primary = [same("film", "slate"), same("film", "plate")]
    aside = [keener("film", "stone", primary=False), reaches("film", "400 gf", primary=False)]
    alone, together = (open_made(table, claims).judge() for claims in (primary, primary + aside))
    pd.testing.assert_frame_equal(together.table[:2], alone.table)
    for finding in together.findings[2:]:
        assert (finding.primary, finding.p_adjusted) == (False, finding.p)
        assert finding.level == pytest.approx(0.9)


def test_without_a_family_every_claim_keeps_the_whole_rate(everything, table, open_made) -> None:
    assert "family" not in {note.code for note in everything.notes}
    (alone,) = open_made(table, [same("film", "slate")]).judge().findings
    assert alone.p_adjusted == everything.findings[0].p
    assert alone.level == everything.findings[0].level


def test_alpha_of_the_plan_counts(table, open_made) -> None:
    (finding,) = open_made(table, [same("film", "slate")], alpha=0.1).judge().findings
    assert finding.level == pytest.approx(0.8)


def test_more_edges_are_reckoned_in_new_blocks(table, open_made) -> None:
    note = (
        "Where an open claim asks for more edges, a new blade is reckoned with for as many edges as one blade has "
        "here: more on the same blade would tell less."
    )
    claims = [keener("film", "plate")]
    assert note in {n.text for n in open_made(table, claims).judge().notes}
    without = open_made(table, claims, layout={"blocks": []}).judge()
    settled = open_made(table, [same("film", "slate")]).judge()
    assert "new-blocks" not in {n.code for n in (*without.notes, *settled.notes)}


def test_a_changed_plan_is_told(table, open_made) -> None:
    trial = open_made(table, [same("film", "slate")])
    freeze_plan(trial.folder, datetime(2026, 5, 1, tzinfo=UTC))
    plan = trial.folder / "trial.toml"
    plan.write_text(plan.read_text(encoding="utf-8").replace("15 %", "20 %"), encoding="utf-8")
    findings = ss.open_trial(trial.folder).judge()
    assert [note.text for note in findings.notes if note.code == "changed-plan"] == list(findings.trial.differences)
    assert len(findings.trial.differences) == 1


def test_no_claims(table, open_made) -> None:
    with pytest.raises(ClaimError, match=r"The plan makes no claim\. Add a \[\[claim\]\] to trial\.toml"):
        open_made(table, []).judge()


def test_a_trial_is_judged_once(table, open_made) -> None:
    trial = open_made(table, [same("film", "slate")])
    assert trial.judge() is trial.judge()
    assert trial.judge().fit is trial.fit()


def test_a_difference_is_real_only_where_the_interval_shown_says_so_too() -> None:
    def seen(low: float, high: float, real: bool | None) -> bool | None:
        return judge._real(SimpleNamespace(real=real), low, high)  # type: ignore[arg-type]

    assert seen(0.7, 12.0, True) is True
    assert seen(-0.3, 12.0, True) is False  # a wider interval, as Holm's method asks for
    assert seen(0.7, 12.0, False) is False
    assert seen(float("nan"), float("nan"), None) is None


def test_the_interval_of_a_finding_says_its_level_and_kind(demo: Path) -> None:
    for finding in ss.open_trial(demo).judge().findings:
        interval = finding.interval
        assert (interval.low, interval.high, interval.level) == (finding.low, finding.high, finding.level)
        assert interval.kind == ("tolerance" if finding.kind == "reaches" else "confidence")
