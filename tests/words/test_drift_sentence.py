"""The drift of control edges in a sentence."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from sharpstats.words.drift import drift_sentence
from sharpstats.words.numbers import NBSP


def sentence(scale: str, **drift: Any) -> str:
    values = {"edges": 6, "level": 0.95, "p": 0.5} | drift
    fit: Any = SimpleNamespace(scale=scale, unit="gf", drift=SimpleNamespace(**values) if drift else None)
    return drift_sentence(fit).replace(NBSP, " ")


@pytest.mark.parametrize(
    ("scale", "drift", "text"),
    [
        ("log", {"estimate": 0.0862, "low": -0.0408, "high": 0.207, "p": 0.13},
         "6 control edges read 9 % higher at the end of the trial than at its start (95 % interval: 4 % lower to 23 % "
         "higher; p = 0.13). Chance alone could do as much."),
        ("as read", {"estimate": -14.2, "low": -25.0, "high": -3.4, "p": 0.012},
         "6 control edges read 14 gf lower at the end of the trial than at its start (95 % interval: 3 gf to 25 gf "
         "lower; p = 0.012). That is more than chance would do."),
        ("log", {"estimate": 0.0001, "low": -0.06, "high": 0.06, "p": 0.9},
         "6 control edges read the same at the end as at the start (95 % interval: 6 % lower to 6 % higher; p = 0.9). "
         "Chance alone could do as much."),
    ],
)  # fmt: skip
def test_drift(scale: str, drift: dict[str, float], text: str) -> None:
    assert sentence(scale, **drift) == text


def test_no_control_edges_no_sentence() -> None:
    assert sentence("log") == ""
