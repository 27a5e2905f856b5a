"""Trials beside the demo, judged once."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

import sharpstats as ss
from sharpstats.claims.finding import Findings

sys.path.insert(0, str(Path(__file__).parents[1]))  # for hostile.py, whatever the import mode


@pytest.fixture(scope="session")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Findings:
    """The findings of a trial whose labels try to be more than labels."""
    from hostile import write_hostile_trial

    found: Findings = ss.open_trial(write_hostile_trial(tmp_path_factory.mktemp("figures"))).judge()
    return found


@pytest.fixture(scope="session")
def tiny(tmp_path_factory: pytest.TempPathFactory) -> Findings:
    """Two media, two edges each, one cut an edge, in newtons, on the scale as read."""
    folder = tmp_path_factory.mktemp("tiny")
    (folder / "trial.toml").write_text(
        'title = "Tiny"\nunit = "N"\nscale = "as read"\n[factors]\nmedium = ["stone", "plate"]\n'
        '[[claim]]\nid = "as-good"\nsays = "Stone is as good"\nkind = "same"\nmedium = "stone"\nthan = "plate"\n'
        'margin = "0.3 N"\n'
        '[[claim]]\nid = "below"\nsays = "Below"\nkind = "reaches"\nmedium = "stone"\nlevel = "2 N"\nshare = "90 %"\n',
        encoding="utf-8",
    )
    rows = ["edge,medium,reading", "e1,stone,1.51", "e2,stone,1.62", "e3,plate,1.43", "e4,plate,1.58"]
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    found: Findings = ss.open_trial(folder).judge()
    return found
