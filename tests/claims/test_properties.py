"""What must not change a finding, through the public door: folder in, findings out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from sharpstats.claims.finding import Finding, Findings
from sharpstats.units import NEWTONS_PER_GF

# Each example opens folders: few of them, the same every time, and no long search for a smaller one.
few = settings(
    max_examples=4, derandomize=True, deadline=None, phases=(Phase.generate,), suppress_health_check=list(HealthCheck)
)
seeds = st.integers(0, 10_000)

STEEL = {"b1": "carbon", "b2": "carbon", "b3": "carbon", "b4": "stainless", "b5": "stainless", "b6": "stainless"}
LOG_CLAIMS: list[dict[str, Any]] = [
    {"kind": "same", "medium": "film", "than": "stone", "margin": "15 %"},
    {"kind": "no worse", "medium": "film", "than": "slate", "margin": "10 %", "where": {"steel": "carbon"}},
    {"kind": "keener", "medium": "slate", "than": "stone", "by": "3 %"},
    {"kind": "reaches", "medium": "film", "level": "180 gf", "share": "80 %"},
    {"kind": "reaches", "medium": "stone", "level": "170 gf", "share": "70 %", "where": {"steel": "stainless"}},
]
FORCES = {"margin": "22 gf", "by": "5 gf"}
READ_CLAIMS = [claim | {key: FORCES[key] for key in FORCES if key in claim} for claim in LOG_CLAIMS]
NUMBERS = ("estimate", "low", "high", "df", "p", "p_adjusted", "level", "estimate_on_scale", "se")


@pytest.fixture(scope="module")
def lossy(draw):
    """Draw a trial in which some edges and cuts were lost."""

    def made(seed: int) -> pd.DataFrame:
        rng = np.random.default_rng(seed)
        means = {medium: 150 * math.exp(rng.normal(0, 0.06)) for medium in ("film", "slate", "stone")}
        table = draw(means, blades=tuple(STEEL), steel=STEEL, seed=seed)
        edges = rng.choice(table["edge"].unique(), 3, replace=False)
        cuts = rng.choice(len(table), 5, replace=False)
        return table[~table["edge"].isin(edges) & ~table.index.isin(cuts)]

    return made


def trial(open_made, table: pd.DataFrame, claims: Sequence[Mapping[str, Any]] = LOG_CLAIMS, **keys: Any) -> Findings:
    return open_made(table, claims, **({"factors": ["steel"]} | keys)).judge()


def assert_alike(one: Findings, two: Findings, factor: float = 1.0) -> None:
    """Same findings and, but for the unit, the same numbers to nine digits."""
    for a, b in zip(one.findings, two.findings, strict=True):
        assert (a.finding, a.more_edges, a.more_edges_capped) == (b.finding, b.more_edges, b.more_edges_capped)
        assert list(a.edges.values()) == list(b.edges.values())
        assert (a.opinions[0].outcome, a.opinions[0].text) == (b.opinions[0].outcome, b.opinions[0].text)
        by = 1.0 if a.unit == "%" else factor
        for name in ("estimate", "low", "high"):
            assert getattr(b, name) == pytest.approx(by * getattr(a, name), rel=1e-9, abs=1e-9)
        for name in ("df", "p", "p_adjusted", "level"):
            assert getattr(b, name) == pytest.approx(getattr(a, name), rel=1e-9, abs=1e-12, nan_ok=True)


@few
@given(seed=seeds, shuffle=seeds)
def test_row_order(lossy, open_made, seed: int, shuffle: int) -> None:
    table = lossy(seed)
    assert_alike(trial(open_made, table), trial(open_made, table.sample(frac=1, random_state=shuffle)))


@few
@given(seed=seeds, random=st.randoms(use_true_random=False))
def test_names_of_media_blades_edges_and_steels(lossy, open_made, seed: int, random) -> None:
    table = lossy(seed)
    new: dict[str, dict[str, str]] = {}
    for column in ("medium", "blade", "edge", "steel"):
        old = sorted(table[column].unique())
        names = [f"{column} {i:03d}" for i in range(len(old))]
        random.shuffle(names)
        new[column] = dict(zip(old, names, strict=True))
    claims = [claim | {key: new["medium"][claim[key]] for key in ("medium", "than") if key in claim}
              for claim in LOG_CLAIMS]  # fmt: skip
    for claim in claims:
        if "where" in claim:
            claim["where"] = {"steel": new["steel"][claim["where"]["steel"]]}
    renamed = table.assign(**{column: table[column].map(names) for column, names in new.items()})
    assert_alike(trial(open_made, table), trial(open_made, renamed, claims))


@few
@given(seed=seeds, log=st.booleans())
def test_swapping_the_pair(lossy, open_made, seed: int, log: bool) -> None:
    """The difference turns its sign, and on the log scale the ratio becomes its inverse; `same` stays as it was."""
    scale, margin = ("log", "12 %") if log else ("as read", "20 gf")
    pair = {"kind": "same", "margin": margin, "where": {"steel": "carbon"}}
    claims = [pair | {"medium": "film", "than": "stone"}, pair | {"medium": "stone", "than": "film"}]
    there, back = trial(open_made, lossy(seed), claims, scale=scale).findings

    def ratio(value: float) -> float:
        return 1 + value / 100

    assert (back.finding, back.p, back.se, back.df) == (there.finding, there.p, there.se, there.df)
    assert back.estimate_on_scale == -there.estimate_on_scale
    assert back.real == there.real
    assert (back.opinions[0].outcome, back.more_edges) == (there.opinions[0].outcome, there.more_edges)
    told = [(there.estimate, back.estimate), (there.low, back.high), (there.high, back.low)]
    for one, other in told:
        if log:
            assert ratio(one) * ratio(other) == pytest.approx(1, rel=1e-12)
        else:
            assert one == -other


@few
@given(seed=seeds, log=st.booleans())
def test_grams_force_or_newtons(lossy, open_made, seed: int, log: bool) -> None:
    """Readings and plan in newtons, the claims still in gf: the same findings."""
    claims, scale = (LOG_CLAIMS, "log") if log else (READ_CLAIMS, "as read")
    table = lossy(seed)
    newtons = table.assign(reading=table["reading"] * NEWTONS_PER_GF)
    grams = trial(open_made, table, claims, scale=scale)
    assert_alike(grams, trial(open_made, newtons, claims, scale=scale, unit="N"), NEWTONS_PER_GF)


@few
@given(seed=seeds)
def test_margins_in_newtons(lossy, open_made, seed: int) -> None:
    """A margin may be written in the other unit than the plan's."""
    table, claim = lossy(seed), READ_CLAIMS[0]
    in_newtons = claim | {"margin": f"{22 * NEWTONS_PER_GF:.12f} N"}
    assert_alike(
        trial(open_made, table, [claim], scale="as read"), trial(open_made, table, [in_newtons], scale="as read")
    )


@few
@given(seed=seeds, parts=st.integers(2, 3))
def test_one_file_or_several(lossy, open_made, seed: int, parts: int) -> None:
    table = lossy(seed)
    assert_alike(trial(open_made, table), trial(open_made, table, parts=parts))


@settings(few, max_examples=2)
@given(seed=seeds)
@pytest.mark.parametrize("suffix", [".xlsx", ".ods"])
def test_file_format(lossy, open_made, suffix: str, seed: int) -> None:
    table = lossy(seed)
    assert_alike(trial(open_made, table), trial(open_made, table, suffix=suffix))


@few
@given(seed=seeds)
def test_the_log_scale_is_the_scale_as_read_of_logs(lossy, open_made, seed: int) -> None:
    """The same trial with logs written into the file, and margins and levels to suit."""
    table = lossy(seed)
    logs = table.assign(reading=np.log(table["reading"]))
    claims = []
    for claim in LOG_CLAIMS:
        turned = dict(claim)
        for key in ("margin", "by"):
            if key in claim:
                turned[key] = f"{math.log1p(float(claim[key].split()[0]) / 100):.15f} gf"
        if "level" in claim:
            turned["level"] = f"{math.log(float(claim['level'].split()[0])):.15f} gf"
        claims.append(turned)
    ratios, differences = trial(open_made, table), trial(open_made, logs, claims, scale="as read")
    for a, b in zip(ratios.findings, differences.findings, strict=True):
        assert a.finding == b.finding
        for name in ("estimate_on_scale", "se", "df", "p", "p_adjusted"):
            assert getattr(b, name) == pytest.approx(getattr(a, name), rel=1e-8, nan_ok=True)
        low, high = (math.log(v) if a.unit == "gf" else math.log1p(v / 100) for v in (a.low, a.high))
        assert (b.low, b.high) == pytest.approx((low, high), rel=1e-8, abs=1e-10)


def more_cuts(table: pd.DataFrame, edge: str, extra: int, seed: int) -> pd.DataFrame:
    """Further cuts on one edge, of its own spread."""
    own = table[table["edge"] == edge]
    rng = np.random.default_rng(seed)
    reading = float(np.exp(np.log(own["reading"]).mean())) * np.exp(rng.normal(0, 0.05, extra))
    rows = pd.DataFrame([own.iloc[0]] * extra).assign(cut=np.arange(101, 101 + extra), reading=reading.round(3))
    return pd.concat([table, rows], ignore_index=True)


@few
@given(seed=seeds)
def test_fifteen_more_cuts_on_an_edge_are_not_fifteen_more_edges(lossy, open_made, seed: int) -> None:
    """The interval stays about as wide as it was; fifteen edges of the same readings narrow it."""
    table = lossy(seed)
    edge = table.loc[table["medium"] == "film", "edge"].iloc[0]
    cut = more_cuts(table, edge, 15, seed)
    as_edges = cut.assign(edge=cut["edge"].mask(cut["cut"] > 100, "x" + cut["cut"].astype(str)))
    layout = {"blocks": []}
    before, after, wrong = (_film(trial(open_made, t, layout=layout)) for t in (table, cut, as_edges))
    assert after.edges == before.edges
    assert after.cuts["film"] == before.cuts["film"] + 15
    assert after.df == pytest.approx(before.df, abs=1)
    assert after.se >= 0.95 * before.se
    assert wrong.edges["film"] == before.edges["film"] + 15
    assert wrong.se < 0.9 * before.se


def _film(findings: Findings) -> Finding:
    return findings.findings[0]
