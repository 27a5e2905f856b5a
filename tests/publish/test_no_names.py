"""A report on operators names none of them: page, notebook, results, figures, plan and readings."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from sharpstats.publish.publish import publish
from sharpstats.trial.freeze import freeze_plan
from sharpstats.trial.trial import open_trial

NAMES = ("Quirinius", "Wulfhilde")
PLAN = f"""\
title = "{NAMES[0]} or {NAMES[1]}?"
[factors]
medium = ["slate", "plate"]
operator = ["{NAMES[0]}", "{NAMES[1]}"]
[layout]
blocks = ["blade"]
[[claim]]
id = "{NAMES[0]}-loses-more"
says = "{NAMES[0]} loses more on slate than {NAMES[1]} does"
kind = "gap"
medium = "slate"
than = "plate"
across = "operator"
levels = ["{NAMES[0]}", "{NAMES[1]}"]
margin = "5 %"
depends = true
[[claim]]
id = "slate-as-plate"
says = "The same edge, by {NAMES[1]}'s hand"
kind = "same"
medium = "slate"
than = "plate"
margin = "15 %"
where = {{ operator = "{NAMES[1]}" }}
"""


def test_no_name_of_an_operator_under_test_is_in_a_report(tmp_path: Path) -> None:
    from datetime import UTC, datetime

    rng = np.random.default_rng(1)
    cells = [(blade, medium, hand) for blade in "abc" for medium in ("slate", "plate") for hand in NAMES]
    rows = [f"e{i},{m},b{blade},{hand},{rng.normal(150, 9):.1f}" for i, (blade, m, hand) in enumerate(cells)]
    (tmp_path / "readings.csv").write_text("\n".join(["edge,medium,blade,operator,reading", *rows]) + "\n")
    (tmp_path / "trial.toml").write_text(PLAN)
    freeze_plan(tmp_path, datetime(2026, 9, 25, tzinfo=UTC))
    report = publish(tmp_path)
    for file in filter(Path.is_file, report.rglob("*")):
        assert not [name for name in NAMES if name.lower() in file.name.lower()]
        assert not [name for name in NAMES if name.lower().encode() in file.read_bytes().lower()], file.name
    results = json.loads((report / "results.json").read_text(encoding="utf-8"))
    gap = results["findings"][0]
    assert (gap["claim"], gap["outside"]) == ("operator-1-loses-more", True)
    assert [part["at"] for part in gap["parts"]] == ["operator 1", "operator 2"]
    private = open_trial(tmp_path)
    told = results["provenance"]
    assert told["source_plan_sha256"] == told["source_frozen_sha256"] == private.plan_sha256
    assert told["plan_sha256"] == told["frozen"]["plan_sha256"] != private.plan_sha256
    assert told["differences"] == []
    assert "plan as written, with the names of operators" in (report / "index.html").read_text(encoding="utf-8")
