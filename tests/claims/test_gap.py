"""`gap`: a difference of differences, against hand-worked tables, statsmodels and what R stored."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.formula.api import ols

from sharpstats.errors import PlanError

R = Path(__file__).parents[1] / "reference" / "r"
HANDS = ("learner", "practised")
GAP = {"kind": "gap", "medium": "film", "than": "stone", "across": "operator", "margin": "15 %"}
DEPENDS = GAP | {"depends": True}
FORCE = {"scale": "as read", "factors": ["operator"]}
NO_BLOCKS = {"layout": {"blocks": []}, "factors": ["operator"], "family": "none"}


def edges_of(cells: dict[tuple[str, str], list[float]]) -> pd.DataFrame:
    """One row an edge, one cut each."""
    rows = [(medium, hand, x) for (medium, hand), values in cells.items() for x in values]
    table = pd.DataFrame(rows, columns=["medium", "operator", "reading"])
    return table.assign(edge=[f"e{i:02d}" for i in range(len(table))])


HAND_WORKED = edges_of({
    ("film", "learner"): [140.0, 150.0, 160.0], ("stone", "learner"): [100.0, 110.0, 120.0],
    ("film", "practised"): [125.0, 135.0, 130.0], ("stone", "practised"): [100.0, 105.0, 95.0],
})  # fmt: skip
"""Means 150, 110, 130 and 100: the film is 40 gf duller by the learner, 30 gf by the other: a gap of 10 gf.
Sums of squares 200, 200, 50 and 50 on 2 df each: variance 500 / 8 = 62.5, standard error sqrt(4 x 62.5 / 3)."""


def test_two_by_two_worked_by_hand(open_made) -> None:
    trial = open_made(HAND_WORKED, [GAP | {"margin": "20 gf"}], layout={"blocks": []}, **FORCE)
    (finding,) = trial.judge().findings
    se = math.sqrt(4 * 62.5 / 3)
    reach = stats.t.isf(0.05, 8) * se
    assert (finding.estimate, finding.se, finding.df) == pytest.approx((10, se, 8), rel=1e-9)
    assert (finding.low, finding.high) == pytest.approx((10 - reach, 10 + reach), rel=1e-9)
    assert [part.at for part in finding.parts] == list(HANDS)
    assert [part.estimate for part in finding.parts] == pytest.approx([40, 30], rel=1e-9)
    assert finding.parts[0].high - 40 == pytest.approx(reach / math.sqrt(2), rel=1e-9)
    assert finding.edges == {"film": 6, "stone": 6}
    assert [part.edges for part in finding.parts] == [{"film": 3, "stone": 3}] * 2
    assert (finding.bound_low, finding.bound_high, finding.outside) == (-20, 20, False)


def test_simple_second_opinion_is_welch_on_four_samples(open_made) -> None:
    """Variances 100, 100, 25 and 25 over 3 edges each; df by Welch and Satterthwaite."""
    from sharpstats.claims.second import without_model

    at = [HAND_WORKED[HAND_WORKED["operator"] == hand].assign(mean=lambda t: t["reading"]) for hand in HANDS]
    name, (estimate, se, df) = without_model(at[0], "film", "stone", [], [], at[1])
    variances = np.array([100, 100, 25, 25]) / 3
    assert name == "edge means"
    assert (estimate, se) == pytest.approx((10, math.sqrt(variances.sum())), rel=1e-12)
    assert df == pytest.approx(variances.sum() ** 2 / (variances**2 / 2).sum(), rel=1e-12)


def test_simple_second_opinion_is_one_value_a_blade_where_blades_hold_all_four(draw) -> None:
    from sharpstats.claims.second import without_model

    table = draw({"film": 140.0, "stone": 150.0}, edges=1, cuts=1, operator=HANDS).rename(columns={"reading": "mean"})
    at = [table[table["operator"] == hand] for hand in HANDS]
    name, found = without_model(at[0], "film", "stone", [], ["blade"], at[1])
    wide = table.pivot_table(index="blade", columns=["operator", "medium"], values="mean")
    first, second = (wide[hand]["film"] - wide[hand]["stone"] for hand in HANDS)
    gaps = first - second
    peer = stats.ttest_1samp(gaps, 0)
    assert name == "the difference between the differences within each blade"
    assert (found[0], found[0] / found[1], found[2]) == pytest.approx((gaps.mean(), peer.statistic, 3), rel=1e-12)


def test_simple_second_opinion_where_each_blade_has_one_operator(draw) -> None:
    """Two samples of differences within blades: Welch's test."""
    from sharpstats.claims.second import without_model

    hand = dict(zip(["b1", "b2", "b3", "b4", "b5"], [HANDS[0]] * 3 + [HANDS[1]] * 2, strict=True))
    table = draw({"film": 140.0, "stone": 150.0}, blades=tuple(hand), edges=1, cuts=1, operator=hand)
    table = table.rename(columns={"reading": "mean"})
    at = [table[table["operator"] == hand] for hand in HANDS]
    name, found = without_model(at[0], "film", "stone", [], ["blade"], at[1])
    wide = [one.pivot_table(index="blade", columns="medium", values="mean") for one in at]
    peer = stats.ttest_ind(*(one["film"] - one["stone"] for one in wide), equal_var=False)
    assert name == "the differences within each blade"
    assert (found[0] / found[1], found[2]) == pytest.approx((peer.statistic, peer.df), rel=1e-12)


def test_interaction_of_statsmodels(draw, open_made) -> None:
    """Unbalanced edges without blocks: the interaction of an ordinary regression, and both of its tests."""
    table = draw({"film": 140.0, "stone": 150.0}, edges=3, cuts=1, operator=HANDS, seed=3).drop(index=[0, 5, 6, 20])
    peer = ols("np.log(reading) ~ C(medium) * C(operator)", table).fit()
    name = "C(medium)[T.stone]:C(operator)[T.practised]"  # (stone - film) at practised less that at learner
    b, se, df = peer.params[name], peer.bse[name], peer.df_resid
    margin = math.log(1.15)
    within, beyond, at_all = open_made(table, [GAP, DEPENDS, DEPENDS | {"margin": "0 %"}], **NO_BLOCKS).judge().findings
    assert (within.estimate_on_scale, within.se, within.df) == pytest.approx((b, se, df), rel=1e-8)
    above, below = stats.t.sf((b + margin) / se, df), stats.t.cdf((b - margin) / se, df)
    assert within.p == pytest.approx(max(above, below), rel=1e-7)
    assert beyond.p == pytest.approx(min(1, 2 * stats.t.sf((abs(b) - margin) / se, df)), rel=1e-7)
    assert at_all.p == pytest.approx(peer.pvalues[name], rel=1e-7)
    low, high = peer.conf_int(0.05).loc[name]
    assert (at_all.low, at_all.high) == pytest.approx((100 * math.expm1(low), 100 * math.expm1(high)), rel=1e-7)
    assert at_all.level == pytest.approx(0.95)


def test_split_plot_as_r(open_made) -> None:
    """Yates' oats: interactions with their Kenward-Roger errors, as R's lmerTest and pbkrtest have them."""
    table = pd.read_csv(R / "lmm_oats.csv").rename(columns={"Variety": "medium", "Block": "block", "yield": "reading"})
    table = table.assign(edge=[f"e{i}" for i in range(len(table))], nitro="n" + table["nitro"].astype(str))
    stored = json.loads((R / "lmm_oats.json").read_text(encoding="utf-8"))["kenward_roger"]["coefficients"]
    theirs = {row["term"]: row for row in stored}
    pairs = [(medium, nitro) for medium in ("Marvellous", "Victory") for nitro in ("0.2", "0.4", "0.6")]
    asked = {"kind": "gap", "than": "Golden_Rain", "across": "nitro", "margin": "5 gf", "depends": True}
    claims = [asked | {"medium": medium, "levels": [f"n{nitro}", "n0.0"]} for medium, nitro in pairs]
    findings = open_made(table, claims, scale="as read", factors=["nitro"], layout={"blocks": ["block"]}).judge()
    for (medium, nitro), finding in zip(pairs, findings.findings, strict=True):
        row = theirs[f"nitro{nitro}:Variety{medium}"]
        assert finding.estimate == pytest.approx(row["estimate"], abs=1e-9)
        assert (finding.se, finding.df) == pytest.approx((row["se"], row["df"]), rel=1e-8)


def test_an_uneven_trial_as_emmeans(open_made) -> None:
    """Blades crossed, block by medium made again, one to four cuts an edge: gaps, both differences, both tests."""
    stored = json.loads((R / "lmm_gap_a.json").read_text(encoding="utf-8"))
    table = pd.read_csv(R / "lmm_gap_a.csv").rename(columns={"force": "reading"})
    claims = []
    for row in stored["gaps"]:
        medium, than = row["contrast"].split(" - ")
        claims += [GAP | {"medium": medium, "than": than}]
        claims += [DEPENDS | {"medium": medium, "than": than, "margin": "0 %"}]
    trial = open_made(table, claims, factors=["operator"], family="none", alpha=0.05)
    findings = trial.judge().findings
    assert trial.fit().mixed.reml_criterion == pytest.approx(stored["criterion"], rel=1e-10)
    for row, same, depends in zip(stored["gaps"], findings[::2], findings[1::2], strict=True):
        theirs = [row[name] for name in ("estimate", "se", "df", "p_equivalence")]
        assert [same.estimate_on_scale, same.se, same.df, same.p] == pytest.approx(theirs, rel=1e-8)
        limits = [math.log1p(limit / 100) for limit in (same.low, same.high)]
        assert limits == pytest.approx([row["lower_90"], row["upper_90"]], abs=1e-9)
        assert same.level == pytest.approx(0.9)
        assert depends.p == pytest.approx(row["p_zero"], rel=1e-8)
        pair = [one for one in stored["differences"] if one["contrast"] == row["contrast"]]
        for part, one in zip(same.parts, pair, strict=True):
            found = [math.log1p(value / 100) for value in (part.estimate, part.low, part.high)]
            assert part.at == one["operator"]
            assert found == pytest.approx([one["estimate"], one["lower_90"], one["upper_90"]], abs=1e-9)


def judged(open_made, table, claim, **plan):
    (finding,) = open_made(table, [claim], **(NO_BLOCKS | plan)).judge().findings
    return finding


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 10**6), claim=st.sampled_from([GAP, DEPENDS, DEPENDS | {"margin": "0 %"}]))
def test_swaps_flip_the_gap_and_change_no_finding(draw, open_made, seed, claim) -> None:
    table = draw({"film": 140.0, "stone": 150.0}, cuts=1, operator=HANDS, seed=seed)
    one = judged(open_made, table, claim)
    media = judged(open_made, table, claim | {"medium": "stone", "than": "film"})
    levels = judged(open_made, table, claim | {"levels": list(HANDS[::-1])})
    both = judged(open_made, table, claim | {"medium": "stone", "than": "film", "levels": list(HANDS[::-1])})
    for other in (media, levels):
        assert other.estimate_on_scale == pytest.approx(-one.estimate_on_scale, rel=1e-9)
        assert 1 + other.low / 100 == pytest.approx(1 / (1 + one.high / 100), rel=1e-9)
    assert both.estimate_on_scale == pytest.approx(one.estimate_on_scale, rel=1e-9)
    for other in (media, levels, both):
        assert (other.finding, other.level, other.real) == (one.finding, one.level, one.real)
        assert (other.p, other.se, other.df) == pytest.approx((one.p, one.se, one.df), rel=1e-9)


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10**6), depends=st.booleans())
def test_order_names_and_unit_do_not_matter(draw, open_made, seed, depends) -> None:
    table = draw({"film": 140.0, "stone": 150.0}, blades=("b1", "b2", "b3"), edges=1, operator=HANDS, seed=seed)
    claim = GAP | {"margin": "15 gf", "depends": depends}
    plan = {"scale": "as read", "layout": {"blocks": ["blade"]}}
    one = judged(open_made, table, claim, **plan)
    new = {"film": "zinc", "stone": "agate", "learner": "x", "practised": "a"}
    other = table.replace(new).sample(frac=1, random_state=seed).assign(reading=lambda t: t["reading"] * 0.00980665)
    asked = claim | {"medium": "zinc", "than": "agate", "levels": ["x", "a"]}
    two = judged(open_made, other, asked, unit="N", **plan)
    assert (two.finding, two.real, two.level) == (one.finding, one.real, one.level)
    assert (two.estimate / 0.00980665, two.p, two.df) == pytest.approx((one.estimate, one.p, one.df), rel=1e-6)


def test_an_empty_cell_is_not_answered_and_named(draw, open_made) -> None:
    table = draw({"film": 140.0, "stone": 150.0}, operator=HANDS)
    table = table[~((table["medium"] == "film") & (table["operator"] == "learner"))]
    finding = judged(open_made, table, GAP)
    assert finding.finding == "open"
    assert all(map(math.isnan, (finding.estimate, finding.p, finding.low, finding.parts[0].estimate)))
    (note,) = [note.text for note in finding.notes if note.code == "not-answered"]
    assert note == (
        "The gap needs to know how film and stone differ at both levels: no edge was made with film where operator is "
        "learner."
    )
    assert finding.parts[0].edges == {"film": 0, "stone": 8}


def test_one_operator_only_does_not_fit_the_plan(draw, open_made) -> None:
    table = draw({"film": 140.0, "stone": 150.0}, operator=["learner"])
    with pytest.raises(PlanError) as caught:
        judged(open_made, table, GAP, levels={"operator": HANDS})
    assert str(caught.value) == (
        'trial.toml, line 9, levels: Claim "claim-1" is about `operator` "practised", and no reading has it. The '
        'readings have: "learner".'
    )


def test_one_operator_left_in_the_comparison_is_not_answered(draw, open_made) -> None:
    """The other one's edges all have an over-range cut."""
    table = draw({"film": 140.0, "stone": 150.0}, operator=HANDS)
    table["reading"] = table["reading"].where(table["operator"] == "learner", ">1500")
    finding = judged(open_made, table, GAP)
    (note,) = [note.text for note in finding.notes if note.code == "not-answered"]
    assert note.endswith("with film where operator is practised; nor with stone where operator is practised.")
    assert (finding.finding, finding.more_edges, finding.opinions) == ("open", None, ())


def test_one_operator_a_level_is_said_and_more_are_not(draw, open_made) -> None:
    table = draw({"film": 140.0, "stone": 150.0}, skill=HANDS)
    claim = GAP | {"across": "skill"}
    each = table.assign(operator=table["skill"].map({"learner": "P", "practised": "Q"}))
    several = each.assign(operator=each["operator"] + (each["blade"] > "b2").astype(str))
    said = [
        {note.code for note in judged(open_made, one, claim, factors=["skill"]).notes} for one in (table, each, several)
    ]
    assert ["one-hand" in codes for codes in said] == [False, True, False]
