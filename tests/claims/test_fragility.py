"""Fragility: each change is just what the file without that part would give, and is told in one sentence."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

import sharpstats as ss
from sharpstats.claims import fragility as module
from sharpstats.claims.finding import Finding, Findings
from sharpstats.claims.fragility import Change, Changed, Fragility, fragility
from sharpstats.words.fragility import what_changes

few = settings(
    max_examples=2, derandomize=True, deadline=None, phases=(Phase.generate,), suppress_health_check=list(HealthCheck)
)
CLAIMS: list[dict[str, Any]] = [
    {"kind": "same", "medium": "film", "than": "stone", "margin": "15 %"},
    {"kind": "keener", "medium": "slate", "than": "stone", "by": "3 %"},
    {"kind": "reaches", "medium": "film", "level": "180 gf", "share": "80 %"},
]
KEENER = {"kind": "keener", "medium": "film", "than": "stone", "by": "0 %"}


def one_of(found: Fragility, claim: str, kind: str, name: str) -> Changed:
    return next(one for one in found.changed if one.claim == claim and one.change == Change(kind, name))


def assert_is(one: Changed, finding: Finding) -> None:
    """A claim under a change is the finding of a trial that is so: exactly."""
    assert one.finding == finding.finding
    assert (one.estimate, one.low, one.high, one.level) == (
        finding.estimate, finding.low, finding.high, finding.level
    )  # fmt: skip


@few
@given(seed=st.integers(0, 1000))
def test_left_out_is_as_if_the_file_lacked_it(draw, open_made, seed: int) -> None:
    """An edge, a blade, an operator: the same findings, to the last digit, under the same shares of the error rate."""
    table = draw({"film": 140.0, "slate": 150.0, "stone": 155.0}, seed=seed, edges=1)
    table["operator"] = np.where(table["run"] % 4 == 0, "ann", "bob")
    found = open_made(table, CLAIMS).judge().fragility
    for kind, name in (("edge", table["edge"].iloc[seed % len(table)]), ("blade", "b2"), ("operator", "ann")):
        without = open_made(table[table[kind] != name], CLAIMS).judge()
        for finding in without.findings:
            assert_is(one_of(found, finding.claim, kind, name), finding)


def test_every_edge_blade_and_operator_is_left_out_once(draw, open_made) -> None:
    table = draw(edges=1)
    table["operator"] = np.where(table["run"] % 2 == 0, "ann", "bob")
    found = open_made(table, CLAIMS[:2]).judge().fragility
    tried = {group.kind: [one.change.name for one in group.members] for group in found.groups("claim-2")}
    assert tried == {
        "edge": sorted(table["edge"].unique()), "blade": ["b1", "b2", "b3", "b4"], "operator": ["ann", "bob"],
        "scale": ["as read"],
    }  # fmt: skip
    assert found.table["change"].value_counts().to_dict() == {"edge": 24, "blade": 8, "operator": 4, "scale": 2}


def test_one_operator_is_not_left_out(draw, open_made) -> None:
    found = open_made(draw(edges=1).assign(operator="ann"), [KEENER]).judge().fragility
    assert [group.kind for group in found.groups("claim-1")] == ["edge", "blade", "scale"]


def test_rows_set_aside_by_hand_are_put_back(draw, open_made) -> None:
    """As a file without the reasons: a row without a usable reading stays out."""
    table = draw(edges=1)
    reading = table["reading"].astype(str)
    reading[5] = "blunt"
    aside = table.assign(reading=reading, set_aside="")
    aside.loc[[3, 4, 5], "set_aside"] = "slipped"
    found = open_made(aside, CLAIMS).judge().fragility
    plain = open_made(aside.drop(columns="set_aside"), CLAIMS).judge()
    for finding in plain.findings:
        assert_is(one_of(found, finding.claim, "set aside", "2"), finding)


def test_a_cut_made_again_counts_as_a_further_cut_when_it_is_put_back(draw, open_made) -> None:
    """Cut 2 slipped and was made again under its number: both readings stand, not none."""
    table = draw(edges=1).assign(set_aside="")
    again = table.iloc[[1]].assign(reading=151.0)
    table.loc[1, "set_aside"] = "slipped"
    found = open_made(pd.concat([table, again]), [KEENER]).judge().fragility
    renumbered = pd.concat([table.assign(set_aside=""), again.assign(cut=9)])
    (finding,) = open_made(renumbered, [KEENER]).judge().findings
    assert one_of(found, "claim-1", "set aside", "1").estimate == pytest.approx(finding.estimate, rel=1e-12)


def test_nothing_to_put_back(draw, open_made) -> None:
    table = draw(edges=1).assign(set_aside="")
    reading = table["reading"].astype(str)
    reading[5] = "blunt"
    table.loc[5, "set_aside"] = "slipped"
    found = open_made(table.assign(reading=reading), [KEENER]).judge().fragility
    assert "set aside" not in [group.kind for group in found.groups("claim-1")]


def deciding(open_made, **keys: Any) -> Findings:
    """Eight edges of film and of stone; stone's last one, much duller, alone keeps the claim from being shown."""
    film = [150.0, 153.0, 151.0, 149.0, 152.0, 150.5, 151.5, 149.5]
    stone = [160.0, 163.0, 161.0, 159.0, 162.0, 160.5, 161.5, 90.0]
    rows = [
        {"edge": f"{m[0]}{i}", "medium": m, "reading": x}
        for m, xs in (("film", film), ("stone", stone)) for i, x in enumerate(xs)
    ]  # fmt: skip
    found: Findings = open_made(pd.DataFrame(rows), [KEENER | keys], layout={"blocks": []}).judge()
    return found


def test_one_edge_decides(open_made) -> None:
    findings = deciding(open_made)
    (finding,) = findings.findings
    (edges, scale) = findings.fragility.groups("claim-1")
    assert finding.finding == "open"
    assert [(one.change.name, one.finding) for one in edges.other] == [("s7", "shown")]
    assert (scale.kind, scale.other) == ("scale", ())
    assert what_changes(findings.fragility, finding) == (
        "would change to shown without edge s7 (one of 16); otherwise it stays open."
    )


def test_a_robust_finding(draw, open_made) -> None:
    findings = open_made(draw({"film": 100.0, "slate": 150.0, "stone": 200.0}), [KEENER]).judge()
    assert what_changes(findings.fragility, findings.findings[0]) == "stays shown under every change."
    assert str(findings.fragility).splitlines()[0] == (
        "What would change the findings? Every claim was judged anew without each edge and blade in turn and"
    )


def test_a_change_that_leaves_no_answer_is_kept_with_its_reason(draw, open_made) -> None:
    """The one blade of stainless steel cannot be missed by a claim about stainless steel."""
    steel = {"b1": "carbon", "b2": "carbon", "b3": "carbon", "b4": "stainless"}
    table = draw(steel=steel)
    claims = [KEENER, KEENER | {"where": {"steel": "stainless"}}]
    findings = open_made(table, claims, factors=["steel"], layout={"interactions": [["medium", "steel"]]}).judge()
    lost = one_of(findings.fragility, "claim-2", "blade", "b4")
    assert (lost.finding, math.isnan(lost.estimate)) == (None, True)
    assert lost.reason.startswith("The edges in the comparison do not answer how film and stone differ where steel is")
    assert one_of(findings.fragility, "claim-1", "blade", "b4").finding is not None
    assert "could not be judged without blade b4 (one of 4)" in what_changes(findings.fragility, findings.findings[1])


def test_a_fit_that_fails_is_kept_with_its_reason(open_made) -> None:
    """Without either edge of two that differ, all readings are alike."""
    rows = [("f1", "film", 1.0), ("f2", "film", 1.0), ("s1", "stone", 1.0), ("s2", "stone", 2.0), ("s3", "stone", 1.0)]
    table = pd.DataFrame(rows, columns=["edge", "medium", "reading"])
    found = open_made(table, [KEENER], layout={"blocks": []}).judge().fragility
    lost = one_of(found, "claim-1", "edge", "s2")
    assert (lost.finding, lost.reason[:16]) == (None, "All 4 cuts read ")
    assert one_of(found, "claim-1", "edge", "f1").finding == "open"


def test_a_zero_has_no_logarithm(open_made) -> None:
    rows = [(f"{m}{i}", m, float(x)) for m in ("film", "stone") for i, x in enumerate((0, 2, 3, 5))]
    table = pd.DataFrame(rows, columns=["edge", "medium", "reading"])
    claim = {"kind": "same", "medium": "film", "than": "stone", "margin": "3 gf"}
    found = open_made(table, [claim], layout={"blocks": []}, scale="as read").judge().fragility
    assert one_of(found, "claim-1", "scale", "log").reason == "A reading of zero has no logarithm."


@pytest.mark.parametrize("scale", ["log", "as read"])
def test_on_the_other_scale_the_margin_is_as_much_at_the_usual_reading(draw, open_made, scale: str) -> None:
    """As a plan on that scale whose margin is worked out by hand; told in the claim's own unit."""
    table = draw({"film": 150.0, "slate": 150.0, "stone": 160.0}, edges=1)
    edges = table[table["medium"] == "stone"].groupby("edge")["reading"]
    usual = float(np.exp(edges.apply(lambda x: np.log(x).mean()).mean())) if scale == "log" else edges.mean().mean()
    claim = {"kind": "no worse", "medium": "film", "than": "stone"}
    margins = {"log": "15 %", "as read": f"{0.15 * usual:.12f} gf"}
    other = "as read" if scale == "log" else "log"
    found = open_made(table, [claim | {"margin": margins[scale]}], scale=scale).judge().fragility
    (peer,) = open_made(table, [claim | {"margin": margins[other]}], scale=other).judge().findings
    one = one_of(found, "claim-1", "scale", other)
    factor = 100 / usual if scale == "log" else usual / 100
    assert one.finding == peer.finding
    assert (one.estimate, one.low, one.high) == pytest.approx(
        (factor * peer.estimate, factor * peer.low, factor * peer.high), rel=1e-9
    )


def test_a_level_is_the_same_reading_on_either_scale(draw, open_made) -> None:
    table = draw(edges=1)
    found = open_made(table, [CLAIMS[2]]).judge().fragility
    (peer,) = open_made(table, [CLAIMS[2]], scale="as read").judge().findings
    assert_is(one_of(found, "claim-1", "scale", "as read"), peer)


def test_of_many_edges_and_blades_the_most_influential_are_left_out(draw, open_made, monkeypatch) -> None:
    monkeypatch.setattr(module, "MOST", 3)
    findings = open_made(draw(), [KEENER]).judge()
    edges = findings.fit.edges.nlargest(3, "influence")["edge"]
    groups = {group.kind: [one.change.name for one in group.members] for group in findings.fragility.groups("claim-1")}
    assert groups["edge"] == sorted(edges)
    assert len(groups["blade"]) == 3
    assert [note.text for note in findings.fragility.notes if note.code == "most-influential"] == [
        "Of the 24 edges the 3 whose influence is largest were left out in turn.",
        "Of the 4 blades the 3 that have the most influential edges were left out in turn.",
    ]


def test_many_readings_are_left_alone(draw, open_made, monkeypatch) -> None:
    monkeypatch.setattr(module, "LARGE", 10)
    findings = open_made(draw(), [KEENER]).judge()
    assert findings.fragility.changed == ()
    assert findings.fragility.notes[0].code == "large-trial"
    assert len(findings.fragility.table) == 0
    assert " ".join(str(findings.fragility).split()) == (
        "The trial is too large to leave one of its parts out after the other and see what changes."
    )


def test_a_name_that_says_its_kind_is_not_told_twice(draw, open_made) -> None:
    table = draw(edges=1)
    table["operator"] = np.where(table["run"] % 4 == 0, "operator 1", "operator 2")
    findings = open_made(table, [KEENER]).judge()
    changed = [
        Changed(claim="claim-1", change=Change("operator", f"operator {i}"), finding=found)
        for i, found in ((1, "shown"), (2, "open"))
    ]  # fmt: skip
    finding = replace(findings.findings[0], finding="open")
    made = Fragility(Findings(findings.trial, findings.fit, (finding,)), tuple(changed))
    said = "would change to shown without operator 1 (one of 2); otherwise it stays open."
    assert what_changes(made, finding) == said


def test_stopping_is_possible(draw, open_made, monkeypatch) -> None:
    findings = open_made(draw(), [KEENER]).judge()

    def stop(*_: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(module, "evidence_for", stop)
    with pytest.raises(KeyboardInterrupt):
        fragility(findings)


def told(findings: Findings, outcomes: Mapping[str, list[str | None]], own: str = "shown") -> str:
    """The sentence for a claim whose changes came out so."""
    names = {"set aside": "2", "scale": "as read"}
    changed = [
        Changed(claim="claim-1", change=Change(kind, names.get(kind, str(i))), finding=one)
        for kind, found in outcomes.items() for i, one in enumerate(found, start=1)
    ]  # fmt: skip
    finding = replace(findings.findings[0], finding=own)
    made = Fragility(Findings(findings.trial, findings.fit, (finding,)), tuple(changed))
    return what_changes(made, finding)


@pytest.mark.parametrize(
    ("outcomes", "text"),
    [
        ({"edge": ["open", "open", "shown"]},
         "would change to open without edge 1 or 2 (2 of 3); otherwise it stays shown."),
        ({"edge": ["open"] * 4 + ["shown"]},
         "would change to open without any one of 4 of the 5\u00a0edges (1, 2, 3 among them); otherwise it stays "
         "shown."),
        ({"blade": ["open", "open"]}, "would change to open without any one of the 2\u00a0blades."),
        ({"edge": ["shown"] * 3, "set aside": ["contradicted"]},
         "would change to contradicted with the 2\u00a0rows set aside put back; otherwise it stays shown."),
        ({"edge": [None, "shown"]}, "could not be judged without edge 1 (one of 2); otherwise it stays shown."),
        ({"edge": ["open", "shown"], "blade": ["open", "contradicted", "shown"], "scale": ["open"]},
         "would change to open without edge 1 (one of 2) or blade 1 (one of 3) or with the readings analysed as read; "
         "would change to contradicted without blade 2 (one of 3); otherwise it stays shown."),
        ({"edge": ["shown"], "blade": ["shown"]}, "stays shown under every change."),
    ],
)  # fmt: skip
def test_sentences(draw, open_made, outcomes, text: str) -> None:
    assert told(open_made(draw(), [KEENER]).judge(), outcomes) == text


def test_a_trial_added_up_edge_by_edge(draw, open_made) -> None:
    """The same findings without each edge and blade as with all readings at hand; no other scale."""
    made = open_made(draw(edges=1), [KEENER])
    whole, large = made.judge().fragility, ss.open_large(made.folder).judge().fragility
    assert {one.change.kind for one in large.changed} == {"edge", "blade"}
    for one in large.changed:
        peer = one_of(whole, one.claim, one.change.kind, one.change.name)
        assert one.finding == peer.finding
        assert (one.estimate, one.low, one.high) == pytest.approx((peer.estimate, peer.low, peer.high), rel=1e-9)
    assert [note.code for note in large.notes] == ["added-up"]


def test_of_many_edges_whose_influence_is_unknown_none_is_left_out(draw, open_made, monkeypatch) -> None:
    monkeypatch.setattr(module, "MOST", 3)
    made = ss.open_large(open_made(draw(edges=1), [KEENER]).folder).judge().fragility
    assert made.changed == ()
    assert [note.text for note in made.notes if note.code == "too-many"] == [
        "The 12 edges are too many to leave each out in turn.", "The 4 blades are too many to leave each out in turn.",
    ]  # fmt: skip
