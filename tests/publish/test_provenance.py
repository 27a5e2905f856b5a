"""Provenance: what a result was made from and with, whole, and harmless to show."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from demos import copy_of

import sharpstats as ss
from sharpstats.publish.provenance import Provenance, origin, provenance


def test_a_plan_that_was_not_frozen_says_so(demo: Path) -> None:
    told = str(Provenance(provenance(ss.open_trial(demo))))
    assert "plan frozen: no: nothing shows that the claims were there before the readings" in told
    assert f"sharpstats {ss.__version__}" in told


def test_every_difference_from_the_frozen_plan_is_told_whole(demo: Path, tmp_path: Path) -> None:
    folder = copy_of(demo, tmp_path)
    ss.freeze_plan(folder, datetime(2026, 4, 11, tzinfo=UTC))
    plan = folder / "trial.toml"
    plan.write_text(plan.read_text(encoding="utf-8").replace('by = "20 %"', 'by = "5 %"'), encoding="utf-8")
    trial = ss.open_trial(folder)
    content = provenance(trial)
    assert content["frozen"]["frozen_at"] == "2026-04-11T00:00:00Z"
    assert content["frozen"]["plan_sha256"] != content["plan_sha256"]
    assert len(content["differences"]) == 1
    told = str(Provenance(content))
    assert f"changed since it was frozen: {content['differences'][0]}" in told
    assert content["plan_sha256"] in Provenance(content)._repr_html_()


def test_an_unchanged_frozen_plan_says_that_nothing_changed(demo: Path, tmp_path: Path) -> None:
    folder = copy_of(demo, tmp_path)
    ss.freeze_plan(folder, datetime(2026, 4, 11, tzinfo=UTC))
    assert "changed since it was frozen: nothing" in str(Provenance(provenance(ss.open_trial(folder))))


def test_repairs_are_told(demo: Path, tmp_path: Path) -> None:
    folder = copy_of(demo, tmp_path)
    readings = folder / "readings.csv"
    readings.write_bytes(b"\xef\xbb\xbf" + readings.read_bytes().replace(b",", b";"))
    content = provenance(ss.open_trial(folder))
    assert content["repairs"]
    assert f"repaired in order to read them: {content['repairs'][0]}" in str(Provenance(content))


def test_a_report_remembers_the_files_it_was_made_from(published: Path, demo: Path) -> None:
    assert provenance(ss.open_trial(published))["source_sha256"] == origin(ss.open_trial(demo))["source_sha256"]


def test_labels_are_letters() -> None:
    content = {
        "plan_sha256": "1", "data_sha256": "2", "source_sha256": "3", "source_plan_sha256": "1",
        "source_frozen_sha256": None, "repairs": ["<script>hit()</script>"],
        "seeds": {}, "versions": {}, "frozen": None, "differences": [],
    }  # fmt: skip
    assert "<script>" not in Provenance(content)._repr_html_()
