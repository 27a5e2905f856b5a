"""The tester study that a trial names."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from reference.studies import cuts_on_edges, made_study

from sharpstats.errors import PlanError, TrialError
from sharpstats.tester.linked import linked_folder, linked_study, spreads_for
from sharpstats.trial.plan import Plan
from sharpstats.trial.toml import parse_plan

FACTORS = '[factors]\nmedium = ["A", "B"]'


def naming(place: str, scale: str = "log", unit: str = "gf") -> Plan:
    lines = ['title = "A or B?"', f'scale = "{scale}"', f'unit = "{unit}"', f'tester_study = "{place}"', FACTORS]
    return parse_plan("\n".join(lines))


def test_a_plan_without_a_study_has_none(tmp_path: Path) -> None:
    assert linked_study(tmp_path, parse_plan(f'title = "A or B?"\n{FACTORS}')) is None


def test_a_study_beside_the_trial_is_opened(tmp_path: Path) -> None:
    made_study(tmp_path / "tester")
    (tmp_path / "trial").mkdir()
    study = linked_study(tmp_path / "trial", naming("../tester"))
    assert study is not None
    assert study.counts["cuts"] == 96


def test_a_study_that_is_not_there_is_an_error_with_its_mend(tmp_path: Path) -> None:
    with pytest.raises(TrialError, match=r"names the tester study \.\./tester.*correct `tester_study`"):
        linked_folder(tmp_path, naming("../tester"))


@pytest.mark.parametrize("place", ["/srv/tester", "C:/tester", "", ".", "a\\tb"])
def test_a_place_on_one_computer_alone_is_refused(place: str) -> None:
    with pytest.raises(PlanError, match="tester_study"):
        naming(place)


def test_spreads_come_on_the_scale_and_in_the_unit_of_the_trial(tmp_path: Path) -> None:
    made_study(tmp_path / "t", cuts_on_edges(4))
    found = {}
    for scale, unit in (("log", "gf"), ("log", "N"), ("as read", "gf"), ("as read", "N")):
        plan = naming("t", scale, unit)
        study = linked_study(tmp_path, plan)
        assert study is not None
        found[scale, unit] = spreads_for(study, plan).sds["repeatability"].estimate
    np.testing.assert_allclose(found["log", "N"], found["log", "gf"], rtol=1e-9)
    np.testing.assert_allclose(found["as read", "N"], found["as read", "gf"] * 0.00980665, rtol=1e-9)


def test_a_study_without_cuts_cannot_tell(tmp_path: Path) -> None:
    made_study(tmp_path / "t", cuts_on_edges(4).assign(reading=""))
    plan = naming("t")
    study = linked_study(tmp_path, plan)
    assert study is not None
    with pytest.raises(TrialError, match="t has no cuts on edges"):
        spreads_for(study, plan)
