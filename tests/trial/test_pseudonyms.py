"""Names of operators under test never leave the trial folder."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from sharpstats.trial.freeze import freeze_plan, read_freeze
from sharpstats.trial.package import write_package
from sharpstats.trial.plan import Gap
from sharpstats.trial.pseudonyms import hidden, public_names
from sharpstats.trial.toml import parse_plan, read_plan
from sharpstats.trial.trial import open_trial

NAME, OTHER, GONE = "Quirinius", "Zoë van X", "Wulfhilde"
PLAN = f"""\
title = "Is {NAME} as good as {OTHER}?"  # ask {NAME.upper()}
question = "{NAME.lower()}'s edges against those of {OTHER}"
[factors]
medium = ["slate", "film"]
steel = ["soft", "hard"]
operator = ["{NAME}", "{OTHER}"]
[layout]
interactions = [["medium", "operator", "steel"]]
[[claim]]
id = "{NAME.lower()}-slate"
says = "{NAME} loses more on slate than {OTHER}"
kind = "gap"
medium = "slate"
than = "film"
across = "operator"
levels = ["{OTHER}", " {NAME}"]
margin = "15 %"
where = {{ steel = "soft" }}
[[claim]]
id = "same"
says = "The same for {OTHER}"
kind = "same"
medium = "slate"
than = "film"
margin = "15 %"
where = {{ operator = "{OTHER}" }}
"""
CELLS = [(m, s, o) for m in ("slate", "film") for s in ("soft", "hard") for o in (NAME, OTHER)]
ROWS = [f"e{i},{m},{s},{o},{150 + 7 * i % 11}" for i, (m, s, o) in enumerate(CELLS * 2)]
ROWS += [f"x1,slate,soft,{NAME.upper()},151", "x2,slate,soft,Quirinus,151", f"x3,{NAME},slate,soft,x,x"]
READINGS = "\n".join(["edge,medium,steel,operator,reading", *ROWS]) + "\n"
AS_WRITTEN = '[publishing]\noperators = "as written"\n'


@pytest.fixture
def public(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("public")


def nameless(folder: Path) -> None:
    for file in folder.iterdir():
        text = file.read_text(encoding="utf-8").casefold()
        for name in (NAME, OTHER, GONE, "Quirinus"):
            assert name.casefold() not in text, (file.name, name)


def test_no_name_is_in_the_package_and_the_claims_are_the_same_claims(make_folder, public: Path) -> None:
    trial = open_trial(make_folder(READINGS, PLAN))
    assert set(trial.set_aside["code"]) == {"unknown-level", "ragged-row"}
    write_package(trial, public)
    nameless(public)
    again = open_trial(public)
    assert again.counts == trial.counts
    assert (again.plan.title, again.plan.question) == (
        "Is operator 1 as good as operator 2?", "operator 1's edges against those of operator 2")  # fmt: skip
    gap, same = again.plan.claims
    assert isinstance(gap, Gap)
    assert (gap.id, gap.says) == ("operator-1-slate", "operator 1 loses more on slate than operator 2")
    assert (gap.across, gap.levels, dict(gap.where)) == ("operator", ("operator 2", "operator 1"), {"steel": "soft"})
    assert dict(same.where) == {"operator": "operator 2"}
    for one, other in zip(trial.judge().findings, again.judge().findings, strict=True):
        assert other.finding == one.finding
        assert (other.estimate, other.p) == pytest.approx((one.estimate, one.p), rel=1e-9)
    assert [part.at for part in again.judge()["operator-1-slate"].parts] == ["operator 2", "operator 1"]


def test_frozen_plans_keep_their_dates_and_lose_their_names(make_folder, public: Path) -> None:
    folder = make_folder(READINGS, PLAN.replace(f'"{OTHER}"]\n[lay', f'"{OTHER}", "{GONE}"]\n[lay'))
    freeze_plan(folder, datetime(2026, 9, 25, 8, tzinfo=UTC))
    (folder / "trial.toml").write_text(PLAN, encoding="utf-8")
    freeze_plan(folder, datetime(2026, 9, 26, 8, tzinfo=UTC), amend=True, reason=f"{GONE} is ill")
    trial = open_trial(folder)
    write_package(trial, public)
    nameless(public)
    frozen = read_freeze(public)
    assert frozen is not None
    assert (frozen.frozen_at, frozen.reason) == ("2026-09-26T08:00:00Z", "operator 3 is ill")
    assert 'operator = ["operator 1", "operator 2", "operator 3"]' in frozen.earlier[0].plan_text
    assert open_trial(public).differences == ()


def test_what_is_published_again_stays_the_same(make_folder, tmp_path_factory) -> None:
    first, second = tmp_path_factory.mktemp("first"), tmp_path_factory.mktemp("second")
    write_package(open_trial(make_folder(READINGS, PLAN)), first)
    write_package(open_trial(first), second)
    for name in ("trial.toml", "readings.csv"):
        assert (first / name).read_bytes() == (second / name).read_bytes()


def test_names_as_written_where_the_plan_says_so(make_folder, public: Path) -> None:
    trial = open_trial(make_folder(READINGS, PLAN.replace("[[claim]]", f"{AS_WRITTEN}[[claim]]", 1)))
    write_package(trial, public)
    assert read_plan(public / "trial.toml") == trial.plan
    assert NAME in (public / "readings.csv").read_text(encoding="utf-8")
    assert "operators-renamed" not in {note.code for note in trial.cautions}


def test_the_check_says_what_they_will_be_called(make_folder) -> None:
    cautions = open_trial(make_folder(READINGS, PLAN)).cautions
    (told,) = [note.text for note in cautions if note.code == "operators-renamed"]
    assert told == (
        f'A report names "{NAME}" as "operator 1", "{OTHER}" as "operator 2", in every sentence too; if they are no '
        'names of people, write operators = "as written" in [publishing].'
    )


def test_operators_that_are_no_factor_stand_in_no_plan(make_folder) -> None:
    plan = 'title = "A or B?"\n[factors]\nmedium = ["slate", "film"]\n[layout]\nblocks = ["operator"]\n'
    assert public_names(parse_plan(plan)) == {}


@pytest.mark.parametrize(("text", "expected"), [
    ("Al, ALL and al.", "operator 2, ALL and operator 2."),
    ("Al-fresco with al_x", "operator 2-fresco with operator 2_x"),
    ("A true Al, an Al and a AL", "A true operator 2, an operator 2 and an operator 2"),
    ("Al Green is not Al", "operator 1 is not operator 2"),
])  # fmt: skip
def test_only_whole_names_are_replaced_the_longest_first(text: str, expected: str) -> None:
    assert hidden(text, {"Al Green": "operator 1", "Al": "operator 2"}) == expected
