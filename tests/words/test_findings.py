"""A finding -> its words, for each kind and outcome."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from sharpstats.claims.finding import Finding, Findings, SecondOpinion
from sharpstats.notes import Note
from sharpstats.trial.plan import CLAIM_KINDS, Level, Plan
from sharpstats.units import Quantity
from sharpstats.words.findings import edges_behind, family, more_edges, other_notes, second_opinion, tell
from sharpstats.words.kinds import KINDS
from sharpstats.words.numbers import NBSP

Make = Callable[..., Finding]


def plain(text: str) -> str:
    return text.replace(NBSP, " ")


def told(finding: Finding) -> tuple[str, list[str]]:
    words = tell(finding)
    return plain(words.verdict), [plain(text) for text in words.details]


def test_every_kind_of_claim_has_its_words() -> None:
    assert set(KINDS) == {kind.kind for kind in CLAIM_KINDS}


@pytest.mark.parametrize(
    ("kind", "finding", "numbers", "verdict"),
    [
        ("same", "shown", (4.0, -2.0, 10.0),
         "the same to within your 15 %: slate reads 4 % higher than plate (90 % interval: 2 % lower to 10 % higher)"),
        ("same", "contradicted", (40.0, 30.0, 51.0),
         "not the same: slate reads 40 % higher than plate (90 % interval: 30 % to 51 % higher); "
         "it is duller by more than your 15 %"),
        ("same", "open", (-8.0, -15.0, -1.0),
         "slate reads 8 % lower than plate (90 % interval: 1 % to 15 % lower); "
         "your margin is 15 % either way (13 % lower to 15 % higher)"),
        ("no worse", "shown", (-3.0, -9.0, 4.0),
         "not duller by your 15 %: slate reads 3 % lower than plate (90 % interval: 9 % lower to 4 % higher)"),
        ("no worse", "contradicted", (25.0, 18.0, 33.0),
         "duller by more than your 15 %: slate reads 25 % higher than plate (90 % interval: 18 % to 33 % higher)"),
        ("no worse", "open", (9.0, -1.0, 20.0),
         "slate reads 9 % higher than plate (90 % interval: 1 % lower to 20 % higher); your margin is 15 % higher"),
        ("keener", "shown", (-12.0, -19.0, -5.0),
         "keener: slate reads 12 % lower than plate (90 % interval: 5 % to 19 % lower)"),
        ("keener", "contradicted", (8.0, 2.0, 14.0),
         "not keener: slate reads 8 % higher than plate (90 % interval: 2 % to 14 % higher)"),
        ("keener", "open", (-3.0, -9.0, 3.0),
         "slate reads 3 % lower than plate (90 % interval: 9 % lower to 3 % higher); "
         "the claim asks for a difference in its favour"),
        ("gap", "shown", (9.8, 6.2, 13.5),
         "the same difference to within your 15 %: slate reads 12 % higher than plate where operator is learner and "
         "2 % higher where operator is practised: a gap of +10 % (90 % interval: +6 % to +14 %)"),
        ("gap", "contradicted", (29.8, 17.2, 43.5),
         "the difference depends on operator by more than your 15 %: slate reads 12 % higher than plate where operator "
         "is learner and 2 % higher where operator is practised: a gap of +30 % (90 % interval: +17 % to +44 %)"),
        ("gap", "open", (-9.8, -16.2, 0.2),
         "slate reads 12 % higher than plate where operator is learner and 2 % higher where operator is practised: a "
         "gap of \u221210 % (90 % interval: \u221216 % to 0 %); "
         "your margin is 15 % either way (\u221213 % to +15 %)"),
        ("steadier", "shown", (-40.0, -60.0, -10.0),
         "steadier: edges of slate spread 40 % less than those of plate (90 % interval: 10 % to 60 % less)"),
        ("steadier", "contradicted", (80.0, 20.0, 190.0),
         "not steadier: edges of slate spread 80 % more than those of plate (90 % interval: 20 % to 190 % more)"),
        ("steadier", "open", (-20.0, -60.0, 30.0),
         "edges of slate spread 20 % less than those of plate (90 % interval: 60 % less to 30 % more); the claim asks "
         "for less"),
        ("steadier", "open", (-100.0, -100.0, math.inf),
         "edges of slate spread 100 % less than those of plate (90 % interval: no limit on either side); the claim "
         "asks for less"),
        ("steadier", "open", (math.inf, -20.0, math.inf),
         "edges of slate spread, those of plate no more than cuts do (90 % interval: from 20 % less upwards); the "
         "claim asks for less"),
        ("steadier", "open", (math.nan, -100.0, math.inf),
         "neither the edges of slate nor those of plate spread more than cuts do (90 % interval: no limit on either "
         "side); the claim asks for less"),
        ("reaches", "shown", (138.0, 131.0, 146.0),
         "reached: 90 % of the edges of slate read below 138 gf (90 % interval: 131 gf to 146 gf); "
         "the level is 150 gf"),
        ("reaches", "contradicted", (174.0, 153.0, 353.0),
         "not reached: 90 % of the edges of slate read below 174 gf (90 % interval: 153 gf to 353 gf); "
         "the level is 150 gf"),
        ("reaches", "open", (148.0, 140.0, 171.0),
         "90 % of the edges of slate read below 148 gf (90 % interval: 140 gf to 171 gf); the level is 150 gf"),
    ],
)  # fmt: skip
def test_verdicts(
    make_finding: Make, kind: str, finding: str, numbers: tuple[float, float, float], verdict: str
) -> None:
    assert told(make_finding(kind, finding, *numbers))[0] == verdict


def test_the_headline_is_the_claim_on_one_line(make_finding: Make, make_claim: Callable[..., Any]) -> None:
    claim = make_claim("same")
    broken = replace(claim, says="Slate\nis good")
    assert tell(make_finding("same", "shown", 4.0, -2.0, 10.0, claim=broken)).headline == "Slate is good"


def test_a_difference_that_rounds_to_nothing_is_said_so(make_finding: Make) -> None:
    verdict, _ = told(make_finding("same", "shown", 0.1, -6.0, 6.0))
    assert "slate reads the same as plate to within rounding (90 % interval: 6 % lower to 6 % higher)" in verdict


def test_a_limit_just_inside_the_margin_does_not_read_as_the_margin(make_finding: Make) -> None:
    verdict, _ = told(make_finding("same", "shown", 8.0, 1.0, 14.98))
    assert "90 % interval: 1.00 % to 14.98 % higher" in verdict


@pytest.mark.parametrize(
    ("kind", "finding", "numbers", "changes", "detail"),
    [
        ("same", "shown", (4.0, 1.0, 10.0), {"real": True},
         "A real difference this small exists, slate being the duller one; you said it does not matter."),
        ("same", "shown", (-4.0, -9.0, -1.0), {"real": True},
         "A real difference this small exists, slate being the keener one; you said it does not matter."),
        ("same", "shown", (4.0, -2.0, 10.0), {"real": False},
         "A real difference this small may exist; you said it does not matter."),
        ("same", "open", (-8.0, -15.0, -1.0), {"real": True},
         "That there is a difference is clear, slate being the keener one; whether it matters is open."),
        ("no worse", "shown", (-8.0, -15.0, -1.0), {"real": True},
         "The whole interval lies below zero: slate is in fact keener."),
        ("no worse", "shown", (8.0, 2.0, 14.0), {"real": True},
         "A real difference this small exists, slate being the duller one; you said it does not matter."),
        ("keener", "contradicted", (8.0, 2.0, 14.0), {}, "Slate is in fact the duller one."),
        ("reaches", "shown", (138.0, 131.0, 146.0), {}, "The level stands for: fine work."),
        ("steadier", "contradicted", (80.0, 20.0, 190.0), {}, "Slate is in fact the less steady one."),
        ("steadier", "shown", (-100.0, -100.0, -10.0), {},
         "Cuts alone explain how far edges of slate differ: their own spread is estimated as zero."),
        ("steadier", "open", (60.0, -10.0, math.inf), {},
         "These edges put no upper limit on it: plate may have no spread of its own."),
        ("steadier", "shown", (-40.0, -60.0, -10.0), {"opinions": (SecondOpinion("x", "open", False, "By x."),)},
         "The finding leans on edges that follow a normal distribution, the second opinions do not: where they differ, "
         "keep to the more cautious one."),
        ("reaches", "open", (138.0, 131.0, math.inf), {}, "So few edges put no upper limit on it."),
    ],
)  # fmt: skip
def test_what_a_kind_adds(
    make_finding: Make, kind: str, finding: str, numbers: tuple[float, float, float], changes: dict[str, Any],
    detail: str,
) -> None:  # fmt: skip
    assert detail in told(make_finding(kind, finding, *numbers, **changes))[1]


DEPENDS = {
    "shown": "the difference depends on operator by more than your 15 %: ",
    "contradicted": "the same difference to within your 15 %: ",
    "open": "slate reads 12 % higher than plate ",
}


@pytest.mark.parametrize("finding", DEPENDS)
def test_a_gap_that_is_claimed_to_be_there(make_finding: Make, make_claim: Callable[..., Any], finding: str) -> None:
    claim = make_claim("gap", depends=True)
    verdict, details = told(make_finding("gap", finding, 30.0, 17.0, 44.0, claim=claim, outside=True, real=True))
    assert verdict.startswith(DEPENDS[finding])
    assert verdict.endswith("; the claim asks for a gap of more than 15 % either way (\u221213 % to +15 %)") == (
        finding == "open")  # fmt: skip
    assert "Slate compares worse with plate where operator is learner." in details
    assert not any("does not matter" in text or "is open" in text for text in details)


def test_any_gap_at_all_on_the_scale_as_read_by_operators_under_pseudonyms(
    make_finding: Make, make_claim: Callable[..., Any]
) -> None:
    claim = make_claim("gap", depends=True, margin=Quantity(0.0, "gf"), levels=("operator 1", "operator 2"))
    before = make_finding("gap", "open", 0, 0, 0).parts
    parts = [replace(part, at=at) for part, at in zip(before, claim.levels, strict=True)]
    values = {"claim": claim, "outside": True, "unit": "gf", "scale": "as read", "bound_low": 0.0, "bound_high": 0.0}
    shown = make_finding("gap", "shown", 10.0, 2.0, 18.0, parts=tuple(parts), real=True, **values)
    verdict, details = told(shown)
    assert verdict == (
        "the difference depends on operator: slate reads 12 gf higher than plate where operator is 1 and 2 gf "
        "higher where operator is 2: a gap of +10 gf (90 % interval: +2 gf to +18 gf)"
    )
    assert "Slate compares worse with plate where operator is 1." in details
    opened = make_finding("gap", "open", 10.0, -2.0, 22.0, parts=tuple(parts), **values)
    assert told(opened)[0].endswith("; the claim asks for any gap at all")


def test_a_gap_of_two_percentages_is_said_to_be_a_ratio_where_they_do_not_subtract(make_finding: Make) -> None:
    ratio = "Percentages are ratios, so the gap is one ratio divided by the other, not one percentage less the other."
    assert ratio not in told(make_finding("gap", "shown", 9.8, 6.2, 13.5))[1]
    before = make_finding("gap", "open", 0, 0, 0).parts
    parts = [replace(part, estimate=x) for part, x in zip(before, (60.0, 40.0), strict=True)]
    assert ratio in told(make_finding("gap", "open", 14.3, 6.2, 22.5, parts=tuple(parts)))[1]


def test_a_small_gap(make_finding: Make) -> None:
    shown = told(make_finding("gap", "shown", -5.0, -9.0, -1.0, real=True))[1]
    assert "Slate compares worse with plate where operator is practised." in shown
    assert "A real gap this small exists; you said it does not matter." in shown
    opened = told(make_finding("gap", "open", -9.0, -16.0, -1.0, real=True))[1]
    assert "That there is a gap is clear; whether it matters is open." in opened


def test_edges_of_the_four_cells_are_counted(make_finding: Make) -> None:
    finding = make_finding("gap", "shown", 9.8, 6.2, 13.5)
    assert plain(edges_behind(finding)) == "8 edges and 40 cuts in each of the four cells."
    first, second = finding.parts
    uneven = replace(second, edges={"slate": 7, "plate": 8}, cuts={"slate": 35, "plate": 40})
    assert plain(edges_behind(replace(finding, parts=(first, uneven)))) == (
        "Slate, learner: 8 edges and 40 cuts; plate, learner: 8 edges and 40 cuts; slate, practised: 7 edges and 35 "
        "cuts; plate, practised: 8 edges and 40 cuts."
    )
    open_finding = replace(finding, finding="open", more_edges=4)
    assert plain(more_edges(open_finding)).startswith("About 4 more edges in each of the four cells would settle it")


def test_a_small_difference_is_told_once_and_only_where_it_is_the_point(make_finding: Make) -> None:
    details = told(make_finding("same", "contradicted", 40.0, 30.0, 51.0, real=True))[1]
    assert not any("small" in text or "matter" in text for text in details)


def test_keener_by_a_share_says_what_that_asks(make_finding: Make, make_claim: Callable[..., Any]) -> None:
    claim = make_claim("keener", by=Quantity(20.0, "%"))
    finding = make_finding("keener", "contradicted", -6.0, -11.0, -1.0, claim=claim, bound_high=-16.6667)
    verdict, details = told(finding)
    assert verdict == "not keener by 20 %: slate reads 6 % lower than plate (90 % interval: 1 % to 11 % lower)"
    assert "Keener by 20 % means that plate reads at least 1.2 times as much: slate 17 % lower or more." in details
    assert "Slate is keener, but by less than the claim asks." in details


def test_steadier_by_a_share_says_what_that_asks(make_finding: Make, make_claim: Callable[..., Any]) -> None:
    claim = make_claim("steadier", by=Quantity(20.0, "%"))
    verdict, details = told(
        make_finding("steadier", "open", -30.0, -50.0, -5.0, claim=claim, bound_high=-16.6667, real=True)
    )
    assert verdict == (
        "edges of slate spread 30 % less than those of plate (90 % interval: 5 % to 50 % less); "
        "the claim asks for at least 17 % less"
    )
    asked = "edges of plate spread at least 1.2 times as much, those of slate at least 17 % less."
    assert f"Steadier by 20 % means that {asked}" in details
    assert "That slate is steadier is clear; whether by that much is open." in details


def test_keener_by_a_force_on_the_scale_as_read(make_finding: Make, make_claim: Callable[..., Any]) -> None:
    claim = make_claim("keener", by=Quantity(20.0, "gf"))
    finding = make_finding("keener", "open", -26.0, -41.0, -11.0, claim=claim, bound_high=-20.0, unit="gf")
    verdict, details = told(finding)
    assert verdict == (
        "slate reads 26 gf lower than plate (90 % interval: 11 gf to 41 gf lower); "
        "the claim asks for 20 gf lower or more"
    )
    assert "That slate is keener is clear; whether by that much is open." in details
    assert not any("times as much" in text for text in details)


def test_a_margin_in_force_needs_no_second_number(make_finding: Make, make_claim: Callable[..., Any]) -> None:
    claim = make_claim("same", margin=Quantity(0.25, "N"))
    finding = make_finding("same", "open", 0.1, -0.1, 0.3, claim=claim, bound_low=-0.25, bound_high=0.25, unit="N")
    assert told(finding)[0].endswith("(90 % interval: 0.10 N lower to 0.30 N higher); your margin is 0.25 N either way")


def test_a_level_that_is_only_a_reading_is_not_named_twice(make_finding: Make, make_claim: Callable[..., Any]) -> None:
    claim = make_claim("reaches", level=Level(name="150 gf", reading=Quantity(150.0, "gf")))
    details = told(make_finding("reaches", "shown", 138.0, 131.0, 146.0, claim=claim))[1]
    assert not any("stands for" in text for text in details)


@pytest.mark.parametrize(
    ("edges", "cuts", "text"),
    [
        ({"slate": 16, "plate": 16}, {"slate": 80, "plate": 80}, "16 edges each, 80 cuts each."),
        ({"slate": 16, "plate": 15}, {"slate": 79, "plate": 74},
         "Slate 16 edges and 79 cuts; plate 15 edges and 74 cuts."),
        ({"slate": 1}, {"slate": 5}, "1 edge, 5 cuts."),
    ],
)  # fmt: skip
def test_edges_behind(make_finding: Make, edges: dict[str, int], cuts: dict[str, int], text: str) -> None:
    assert plain(edges_behind(make_finding("same", "shown", 4.0, -2.0, 10.0, edges=edges, cuts=cuts))) == text


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"more_edges": 11},
         "About 11 more edges for each medium would settle it four times in five, if the spread stays as it is."),
        ({"more_edges": 1},
         "About 1 more edge for each medium would settle it four times in five, if the spread stays as it is."),
        ({"more_edges": 9, "edges": {"slate": 8}},
         "About 9 more edges would settle it four times in five, if the spread stays as it is."),
        ({"more_edges_capped": True},
         "More than 1,000 more edges for each medium would be needed: the result is too close to your number for more "
         "edges to settle it soon."),
        ({}, "How many more edges would settle it cannot be said from these readings."),
    ],
)  # fmt: skip
def test_more_edges(make_finding: Make, changes: dict[str, Any], text: str) -> None:
    finding = make_finding("same", "open", 9.0, -1.0, 20.0, **changes)
    assert plain(more_edges(finding)) == text
    assert plain(more_edges(finding)) in told(finding)[1]


def test_only_an_open_claim_asks_for_more_edges(make_finding: Make) -> None:
    assert not any("more edge" in text for text in told(make_finding("same", "shown", 4.0, -2.0, 10.0))[1])


@pytest.mark.parametrize(
    ("outcome", "agrees", "text"),
    [
        ("shown", True, "A second opinion agrees: by edge means alone it is shown, too."),
        ("open", False, "A second opinion is not as sure: by edge means alone it is shown, too."),
        ("contradicted", False, "A second opinion differs: by edge means alone it is shown, too."),
    ],
)
def test_second_opinion(outcome: Any, agrees: bool, text: str) -> None:
    assert second_opinion(SecondOpinion("edge means", outcome, agrees, "By edge means alone it is shown, too.")) == text


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        (
            {"p": 0.01, "p_adjusted": 0.05},
            "Test: p = 0.05 among all primary claims, 0.01 alone; 11.3 degrees of freedom.",
        ),
        ({"p": 0.01, "p_adjusted": 0.01}, "Test: p = 0.01; 11.3 degrees of freedom."),
        ({"p": 0.01, "p_adjusted": 0.01, "df": math.nan}, "Test: p = 0.01."),
        ({"p": 1e-9, "p_adjusted": 1e-8}, "Test: p < 0.001; 11.3 degrees of freedom."),
    ],
)
def test_the_line_for_statisticians(make_finding: Make, changes: dict[str, float], text: str) -> None:
    assert text in told(make_finding("same", "shown", 4.0, -2.0, 10.0, **changes))[1]


def test_a_contradicted_claim_shows_no_p_value(make_finding: Make) -> None:
    details = told(make_finding("same", "contradicted", 40.0, 30.0, 51.0, p=0.99, p_adjusted=1.0))[1]
    assert "11.3 degrees of freedom." in details
    assert not any("p >" in text or "p =" in text for text in details)


def test_where_and_beside_the_family(make_finding: Make, make_claim: Callable[..., Any]) -> None:
    claim = make_claim("same", where={"steel": "stainless", "day": "1"}, primary=False)
    details = told(make_finding("same", "shown", 4.0, -2.0, 10.0, claim=claim))[1]
    assert details[0] == "Only where steel is stainless and day is 1."
    assert details[-1] == "Looked at on the side: it is no primary claim of the plan."


def test_a_claim_that_the_layout_cannot_answer(make_finding: Make) -> None:
    nan = math.nan
    note = Note("not-answered", "An edge that this needs is missing.")
    finding = make_finding("same", "open", nan, nan, nan, p=nan, p_adjusted=nan, df=nan, se=nan, notes=(note,))
    verdict, details = told(finding)
    assert verdict == "the edges of this trial do not answer it"
    assert details == ["16 edges each, 80 cuts each.", "An edge that this needs is missing."]


def test_a_finding_reads_as_text(make_finding: Make) -> None:
    lines = plain(str(tell(make_finding("same", "shown", 4.0, -2.0, 10.0)))).splitlines()
    assert lines[0] == "Slate is as good as the plate"
    assert lines[1].startswith("shown: the same to within your 15 %") and lines[1].endswith("higher).")


def several(make_finding: Make, plan: Plan, levels: list[float]) -> Findings:
    made = [make_finding("same", "shown", 4.0, -2.0, 10.0, level=level) for level in levels]
    trial: Any = SimpleNamespace(plan=plan)
    fit: Any = None
    return Findings(trial, fit, tuple(made), (Note("family", "x"), Note("other", "kept")))


@pytest.mark.parametrize(
    ("family_name", "levels", "text"),
    [
        ("holm", [0.9, 0.98, 0.95],
         "The 3 primary claims share one error rate of 5 % by Holm's method. That is why their intervals have levels "
         "of 90 % to 98 % instead of the 90 % of a claim alone: the more is claimed, the more it takes to show each."),
        ("none", [0.9, 0.9],
         "Each claim was judged by itself, with a 90 % interval. With 2 claims the chance that one of them is wrongly "
         "shown is larger than 5 %."),
    ],
)  # fmt: skip
def test_family(make_finding: Make, family_name: Any, levels: list[float], text: str) -> None:
    plan = Plan(title="t", factors={"medium": ("slate", "plate")}, family=family_name)
    assert [plain(line) for line in family(several(make_finding, plan, levels))] == [text]


def test_one_claim_is_no_family(make_finding: Make) -> None:
    plan = Plan(title="t", factors={"medium": ("slate", "plate")})
    assert family(several(make_finding, plan, [0.9])) == []


def test_notes_that_are_told_in_other_words_are_not_told_twice(make_finding: Make) -> None:
    plan = Plan(title="t", factors={"medium": ("slate", "plate")})
    assert other_notes(several(make_finding, plan, [0.9, 0.9])) == ["Kept."]


def test_a_note_about_the_fit_is_told_once_where_findings_stand_together(make_finding: Make) -> None:
    note = Note("zero-variance", "The spread between blades is estimated as zero.")
    finding = make_finding("same", "shown", 4.0, -2.0, 10.0, notes=(note,))
    trial: Any = SimpleNamespace(plan=Plan(title="t", factors={"medium": ("slate", "plate")}))
    fit: Any = None
    assert note.text in tell(finding).details
    assert note.text not in tell(finding, alone=False).details
    assert other_notes(Findings(trial, fit, (finding, finding), ())) == [note.text]


def test_long_labels_are_cut_in_sentences(make_finding: Make, make_claim: Callable[..., Any]) -> None:
    claim = make_claim("same")
    long = type(claim)(id="a", says="s", medium="x" * 300, than="plate", margin=claim.margin)
    verdict, _ = told(make_finding("same", "shown", 4.0, -2.0, 10.0, claim=long))
    assert f"{'x' * 59}… reads 4 % higher than plate" in verdict
