"""What a finding carries, and how findings are looked up."""

from __future__ import annotations

import dataclasses

import pytest

CLAIMS = [
    {"id": "as-stone", "says": "Film is as good as stone", "kind": "same", "medium": "film", "than": "stone",
     "margin": "15 %", "where": {"steel": "carbon"}},
    {"id": "fit", "kind": "reaches", "medium": "film", "level": "200 gf", "share": "80 %", "primary": False},
]  # fmt: skip
STEEL = {"b1": "carbon", "b2": "carbon", "b3": "stainless", "b4": "stainless"}


@pytest.fixture(scope="module")
def findings(draw, open_made):
    return open_made(draw(steel=STEEL), CLAIMS, factors=["steel"]).judge()


def test_a_finding_repeats_what_was_declared(findings) -> None:
    one, other = findings.findings
    assert (one.claim, one.says, one.kind) == ("as-stone", "Film is as good as stone", "same")
    assert (one.medium, one.than, dict(one.where), one.primary) == ("film", "stone", {"steel": "carbon"}, True)
    assert (other.kind, other.medium, other.than, dict(other.where), other.primary) == (
        "reaches", "film", None, {}, False,
    )  # fmt: skip


def test_a_finding_is_found_by_the_name_of_its_claim(findings) -> None:
    assert findings["fit"] is findings.findings[1]
    with pytest.raises(KeyError, match="no claim 'as-plate'; there are as-stone, fit"):
        findings["as-plate"]


def test_findings_do_not_iterate(findings) -> None:
    with pytest.raises(TypeError, match="not iterable"):
        iter(findings)


def test_the_table_only_rearranges(findings) -> None:
    table = findings.table
    assert list(table.columns) == [
        "claim", "kind", "finding", "estimate", "low", "high", "level", "df", "p", "p_adjusted", "unit",
    ]  # fmt: skip
    for finding, row in zip(findings.findings, table.to_dict("records"), strict=True):
        for name, value in row.items():
            assert value == getattr(finding, name) or (value != value and getattr(finding, name) != value)


def test_nothing_can_be_changed_afterwards(findings) -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        findings.findings[0].finding = "shown"
    with pytest.raises(dataclasses.FrozenInstanceError):
        findings.findings = ()
