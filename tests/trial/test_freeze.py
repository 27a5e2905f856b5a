"""Freezing: fingerprint, amendments, damage, and what is said about the differences."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from privilege import place_for_all, read_only

from sharpstats.errors import PlanError, TrialError
from sharpstats.trial.freeze import Freeze, amendments, differences, freeze_plan, plan_sha256, read_freeze
from sharpstats.trial.toml import parse_plan

NOW = datetime(2026, 9, 25, 10, 0, 30, 999_999, tzinfo=timezone(timedelta(hours=2)))
LATER = datetime(2026, 10, 1, tzinfo=UTC)
TEXT = """\
title = "Does slate reach the plate?"
[factors]
medium = ["slate", "plate"]
[[claim]]
id = "slate-as-plate"
says = "Slate reaches the same edge as the plate"
kind = "same"
medium = "slate"
than = "plate"
margin = "15 %"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "trial.toml").write_text(TEXT, encoding="utf-8")
    return tmp_path


def change(folder: Path, old: str, new: str) -> str:
    path = folder / "trial.toml"
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")
    return text.replace(old, new)


def test_a_freeze_keeps_text_fingerprint_and_date(folder: Path) -> None:
    freeze = freeze_plan(folder, NOW)
    assert freeze == Freeze(plan_sha256=plan_sha256(TEXT), frozen_at="2026-09-25T08:00:30Z", plan_text=TEXT)
    assert read_freeze(folder) == freeze
    assert sorted(path.name for path in folder.iterdir()) == ["frozen.json", "trial.toml"]


def test_a_trial_that_is_not_frozen_has_no_freeze(folder: Path) -> None:
    assert read_freeze(folder) is None


def test_a_moment_without_time_zone_is_refused(folder: Path) -> None:
    with pytest.raises(ValueError, match="`now` must have a time zone, got 2026-09-25 00:00:00"):
        freeze_plan(folder, datetime(2026, 9, 25))
    assert read_freeze(folder) is None


def test_a_broken_plan_cannot_be_frozen(folder: Path) -> None:
    change(folder, '"15 %"', '"15"')
    with pytest.raises(PlanError, match=r'line 10, claim 1, margin: "15" has no unit. Write "15 %"'):
        freeze_plan(folder, NOW)
    assert read_freeze(folder) is None


def test_a_frozen_plan_is_not_overwritten(folder: Path) -> None:
    freeze_plan(folder, NOW)
    before = (folder / "frozen.json").read_bytes()
    with pytest.raises(TrialError) as caught:
        freeze_plan(folder, LATER)
    assert str(caught.value) == (
        "frozen.json: The plan was frozen at 2026-09-25T08:00:30Z and has not changed since. There is nothing to do."
    )
    change(folder, "15 %", "20 %")
    with pytest.raises(TrialError) as caught:
        freeze_plan(folder, LATER, reason="a reason alone is not enough")
    assert str(caught.value) == (
        "frozen.json: The plan was frozen at 2026-09-25T08:00:30Z and is not overwritten. "
        "Go back to the frozen plan, or amend it and give the reason."
    )
    with pytest.raises(TrialError, match=r"to amend it needs a reason\. Say in a sentence why the plan changes\."):
        freeze_plan(folder, LATER, amend=True, reason="  ")
    assert (folder / "frozen.json").read_bytes() == before


def test_an_amendment_that_changes_nothing_is_refused(folder: Path) -> None:
    freeze_plan(folder, NOW)
    with pytest.raises(TrialError, match="has not changed since"):
        freeze_plan(folder, LATER, amend=True, reason="just so")


def test_amendments_keep_what_was_frozen_before(folder: Path) -> None:
    first = freeze_plan(folder, NOW)
    text = change(folder, "15 %", "20 %")
    second = freeze_plan(folder, LATER, amend=True, reason="15 % is finer than the tester resolves")
    assert second == Freeze(
        plan_sha256=plan_sha256(text),
        frozen_at="2026-10-01T00:00:00Z",
        plan_text=text,
        reason="15 % is finer than the tester resolves",
        earlier=(first,),
    )
    change(folder, "20 %", "25 %")
    third = freeze_plan(folder, LATER + timedelta(days=1), amend=True, reason="again")
    assert read_freeze(folder) == third
    assert [freeze.plan_text for freeze in third.earlier] == [TEXT, text]
    assert all(freeze.earlier == () for freeze in third.earlier)
    assert amendments(third) == (
        "Amended at 2026-10-01T00:00:00Z (15 % is finer than the tester resolves): "
        'Claim "slate-as-plate": `margin` was "15 %" and is "20 %".',
        'Amended at 2026-10-02T00:00:00Z (again): Claim "slate-as-plate": `margin` was "20 %" and is "25 %".',
    )
    assert amendments(first) == ()


def test_the_first_freeze_has_no_reason(folder: Path) -> None:
    assert freeze_plan(folder, NOW, amend=True, reason="nothing to amend yet").reason == ""


@given(st.text())
def test_the_fingerprint_does_not_depend_on_the_system(text: str) -> None:
    unix = text.replace("\r", "")
    windows = unix.replace("\n", "\r\n")
    assert plan_sha256(unix) == plan_sha256(windows) == plan_sha256(b"\xef\xbb\xbf" + windows.encode())


def test_the_fingerprint_is_the_one_of_the_bytes() -> None:
    assert plan_sha256("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert plan_sha256("abc\n") != plan_sha256("abc")


def damage(folder: Path, **changes: Any) -> None:
    path = folder / "frozen.json"
    data = json.loads(path.read_text(encoding="utf-8"))
    data["freezes"][0] |= changes
    path.write_text(json.dumps(data), encoding="utf-8")


@pytest.mark.parametrize(
    "changes",
    [
        {"plan_text": TEXT.replace("15 %", "50 %")},
        {"plan_sha256": "0" * 64},
        {"plan_text": 5},
        {"frozen_at": "yesterday"},
        {"frozen_at": 5},
        {"reason": None},
        {"unknown": "key"},
    ],
)
def test_a_file_changed_by_hand_is_refused(folder: Path, changes: dict[str, Any]) -> None:
    freeze_plan(folder, NOW)
    damage(folder, **changes)
    with pytest.raises(TrialError, match=r"^frozen.json: The frozen plan is damaged: .* freeze anew\.$"):
        read_freeze(folder)
    change(folder, "15 %", "20 %")
    before = (folder / "frozen.json").read_bytes()
    with pytest.raises(TrialError, match="is damaged"):
        freeze_plan(folder, LATER, amend=True, reason="over the damage")
    assert (folder / "frozen.json").read_bytes() == before


@pytest.mark.parametrize(
    "content", ["", "{", "[]", "5", "null", "{}", '{"freezes": []}', '{"freezes": 5}', '{"freezes": [5]}', "[" * 10**5]
)
def test_a_damaged_file_is_told(folder: Path, content: str) -> None:
    (folder / "frozen.json").write_text(content, encoding="utf-8")
    with pytest.raises(TrialError, match=r"^frozen.json: The frozen plan is damaged: "):
        read_freeze(folder)


def test_a_file_that_cannot_be_read_is_told(folder: Path) -> None:
    (folder / "frozen.json").write_bytes(b"\xff")
    with pytest.raises(TrialError, match=r"cannot be read: it is not UTF-8 text\."):
        read_freeze(folder)
    (folder / "frozen.json").unlink()
    (folder / "frozen.json").mkdir()
    with pytest.raises(TrialError, match=r"cannot be read: Is a directory\."):
        read_freeze(folder)


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_folder_that_cannot_be_written_is_told(folder: Path, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    """Root may write anywhere, so the refusal is made here: while writing, and at the last step."""

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    first = freeze_plan(folder, NOW)
    change(folder, "15 %", "20 %")
    with monkeypatch.context() as patch:
        patch.setattr(os if step == "fsync" else Path, step, refuse)
        with pytest.raises(TrialError) as caught:
            freeze_plan(folder, LATER, amend=True, reason="why not")
    assert str(caught.value) == (
        "frozen.json: The frozen plan cannot be written: Permission denied. "
        "Make the folder writable, or copy the trial to one that is."
    )
    assert read_freeze(folder) == first
    assert sorted(path.name for path in folder.iterdir()) == ["frozen.json", "trial.toml"]


@pytest.mark.skipif(os.name == "nt", reason="folders have other rights there")
def test_a_read_only_folder_is_told() -> None:
    with place_for_all() as folder:
        (folder / "trial.toml").write_text(TEXT, encoding="utf-8")
        with read_only(folder), pytest.raises(TrialError, match="cannot be written: Permission denied"):
            freeze_plan(folder, NOW)
        assert [path.name for path in folder.iterdir()] == ["trial.toml"]


def differences_of(new: str, old: str = TEXT) -> tuple[str, ...]:
    freeze = Freeze(plan_sha256=plan_sha256(old), frozen_at="2026-09-25T08:00:30Z", plan_text=old)
    return differences(freeze, parse_plan(new), new)


def test_the_same_text_has_no_differences() -> None:
    assert differences_of(TEXT) == ()
    assert differences_of(TEXT.replace("\n", "\r\n")) == ()


@pytest.mark.parametrize(
    "new", ["# hm\n" + TEXT, TEXT.replace(" = ", "="), TEXT.replace("15 %", "15.0%"), f"alpha = 0.05\n{TEXT}"]
)
def test_comments_and_spacing_are_told_as_such(new: str) -> None:
    assert differences_of(new) == ("Only comments or spacing changed; the plan means the same.",)


def test_each_difference_has_its_sentence() -> None:
    new = TEXT.replace("15 %", "20 %").replace('["slate", "plate"]', '["slate", "plate", "film"]')
    assert differences_of(f"alpha = 0.01\n{new}") == (
        '`factors.medium` was "slate", "plate" and is "slate", "plate", "film".',
        "`alpha` was 0.05 and is 0.01.",
        'Claim "slate-as-plate": `margin` was "15 %" and is "20 %".',
    )


def test_a_frozen_plan_that_no_longer_parses_is_told_in_words() -> None:
    assert differences_of(TEXT, old=TEXT.replace("margin", "boundary")) == (
        "The frozen plan can no longer be read, so its differences cannot be listed one by one: "
        'trial.toml, line 4, claim 1, margin: `margin` is missing. Write for example: margin = "15 %"',
    )


def test_an_amended_plan_that_no_longer_parses_is_told_in_words() -> None:
    first = Freeze(plan_sha256=plan_sha256(TEXT), frozen_at="2026-09-25T08:00:30Z", plan_text=TEXT)
    freeze = Freeze(plan_sha256="", frozen_at="2026-10-01T00:00:00Z", plan_text="?", reason="why", earlier=(first,))
    assert amendments(freeze) == (
        "Amended at 2026-10-01T00:00:00Z (why): the amended plan can no longer be read.",
    )
