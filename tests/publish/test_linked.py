"""A published trial whose plan names a tester study: the study goes along, and the report says what it says."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from demos import copy_of

import sharpstats as ss
from sharpstats.claims.resolving import resolution
from sharpstats.errors import TrialError
from sharpstats.publish.publish import publish


def test_the_study_goes_along_without_names(published: Path) -> None:
    study = ss.open_tester(published / "tester-study")
    assert study.readings is not None
    assert set(study.readings["operator"]) == {"operator 1", "operator 2", "operator 3"}
    whole = "".join(path.read_text(encoding="utf-8") for path in (published / "tester-study").iterdir())
    assert "volunteer A" not in whole


def test_opened_from_the_report_the_tester_says_the_same(demo: Path, published: Path) -> None:
    there, here = resolution(ss.open_trial(published)), resolution(ss.open_trial(demo))
    assert there is not None
    assert here is not None
    assert here.claims
    for one, other in zip(there.claims, here.claims, strict=True):
        assert one.verdict == other.verdict
        assert one.smallest.estimate == pytest.approx(other.smallest.estimate, rel=1e-9)


def test_page_and_results_hold_the_margins_against_it(published: Path) -> None:
    page = (published / "index.html").read_text(encoding="utf-8")
    assert "Can the tester see such differences?" in page
    assert "ISO 5725-6" in page
    found = json.loads((published / "results.json").read_text(encoding="utf-8"))["resolution"]
    assert found["study"] == "What is our bench tester worth?"
    assert {row["verdict"] for row in found["claims"]} <= {"larger", "perhaps larger", "perhaps smaller", "smaller"}
    study = ss.open_tester(published / "tester-study")
    assert (found["plan_sha256"], found["data_sha256"]) == (study.plan_sha256, study.data_sha256)


@pytest.mark.slow
def test_a_link_that_is_taken_out_takes_the_study_out_of_the_report(demo: Path, tmp_path: Path) -> None:
    trial = copy_of(demo, tmp_path)
    report = publish(trial)
    assert (report / "tester-study").is_dir()
    plan = (trial / "trial.toml").read_text(encoding="utf-8").splitlines()
    kept = [line for line in plan if not line.startswith("tester_study")]
    (trial / "trial.toml").write_text("\n".join(kept) + "\n", encoding="utf-8")
    publish(trial)
    assert not (report / "tester-study").exists()
    assert json.loads((report / "results.json").read_text(encoding="utf-8"))["resolution"] is None


def test_a_study_that_is_gone_leaves_the_old_report_alone(demo: Path, tmp_path: Path) -> None:
    trial = copy_of(demo, tmp_path)
    (trial / "report").mkdir()
    (trial / "report" / "results.json").write_text('{"format": "sharpstats-results/1"}', encoding="utf-8")
    shutil.rmtree(tmp_path / "tester-study")
    with pytest.raises(TrialError, match=r"holds no tester\.toml"):
        publish(trial)
    assert [path.name for path in (trial / "report").iterdir()] == ["results.json"]
