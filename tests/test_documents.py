"""README.md and DEVELOPERS.md keep up with the code."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from sharpstats.cli.main import COMMANDS
from sharpstats.trial.claimkeys import keys_of
from sharpstats.trial.plan import CLAIM_KINDS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", README, flags=re.DOTALL | re.MULTILINE)


def test_two_commands_of_one_line_each_do_their_own_set_up() -> None:
    publish, tests = blocks("sh")
    assert re.fullmatch(r"python3 -m venv (\S+) && \1/bin/pip install .+ && \1/bin/sharpstats publish \S+\n", publish)
    assert re.fullmatch(r"python3 -m venv (\S+) && \1/bin/pip install .+ && \1/bin/python -m pytest\n", tests)
    assert (ROOT / publish.split()[-1] / "trial.toml").is_file()


def test_every_command_and_every_kind_of_claim_is_told() -> None:
    told = re.findall(r"^\| `sharpstats (\w+) DIR` \|", README, flags=re.MULTILINE)
    assert told == [command.NAME for command in COMMANDS]
    kinds = re.findall(r"^\| `([a-z ]+)` \| ", README.split("## Claims")[1], flags=re.MULTILINE)
    assert kinds == [kind.kind for kind in CLAIM_KINDS]


def test_the_claims_in_the_readme_are_of_the_kinds_that_there_are() -> None:
    for text in blocks("toml"):
        (claim,) = tomllib.loads(text)["claim"]
        (kind,) = [kind for kind in CLAIM_KINDS if kind.kind == claim["kind"]]
        assert set(claim) <= set(keys_of(kind))


def test_the_notebook_lines_of_the_readme_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    lines, _ = blocks("python")
    names: dict[str, object] = {}
    exec(lines, names)
    assert names["trial"].counts["edges"] == 64  # type: ignore[attr-defined]


def test_the_experts_lines_of_the_readme_run() -> None:
    import pandas as pd

    _, lines = blocks("python")
    scores = [5.1, 5.6, 6.2, 6.0, 7.1, 7.4, 4.4, 4.9, 5.2, 5.8, 6.1, 6.9, 4.9, 5.0, 6.6, 6.3, 7.7, 7.2]
    table = pd.DataFrame({
        "worker": [w for w in "abc" for _ in range(6)],
        "machine": [m for _ in range(3) for m in ("old", "old", "new", "new", "own", "own")],
        "score": scores,
    })  # fmt: skip
    import sharpstats as ss

    names: dict[str, object] = {"ss": ss, "table": table}
    exec(lines, names)
    assert names["fit"].means("machine").table.shape[0] == 3  # type: ignore[attr-defined]


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_files_and_folders_that_are_named_exist(text: str) -> None:
    named = re.findall(r"`((?:sharpstats|datasets|tests|trial|claims|cli|figures|words|publish|model)/[\w./-]*)`", text)
    ours = [name for name in named if not name.endswith("/report/")]
    assert [name for name in ours if not ((ROOT / name).exists() or (ROOT / "sharpstats" / name).exists())] == []


@pytest.mark.parametrize(
    "caution",
    ["cut-resistant glove", "blade clamped", "away from your body", "powered wheel", "crystalline silica",
     "compounds off the skin", "lungs", "count the blades", "makers' instructions", "local rules", "workplace safety"],
)  # fmt: skip
def test_the_readme_gives_the_cautions(caution: str) -> None:
    assert caution in " ".join(README.lower().split())
