"""The frozen plan: its text, its fingerprint and its date, kept in `frozen.json`.

Whoever freezes a plan before the first reading can show later what was decided then. A
frozen plan may be amended, with a reason; what was frozen before is kept.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

from sharpstats.errors import PlanError, Problem, TrialError
from sharpstats.trial.compare import plan_differences
from sharpstats.trial.plan import Plan
from sharpstats.trial.toml import PLAN_FILE, parse_plan, plan_text

FROZEN_FILE = "frozen.json"
FORMAT = "sharpstats frozen plan, 1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Freeze:
    """A plan as it was at one moment.

    Attributes
    ----------
    plan_sha256 : str
        Fingerprint of the text, see `plan_sha256`.
    frozen_at : str
        Date and time in UTC, ISO 8601.
    plan_text : str
        The whole text of `trial.toml`.
    reason : str
        Why an earlier freeze was amended; empty for the first.
    earlier : tuple of Freeze
        What was frozen before, the first in front.
    """

    plan_sha256: str
    frozen_at: str
    plan_text: str
    reason: str = ""
    earlier: tuple[Freeze, ...] = ()


def plan_sha256(text: str | bytes) -> str:
    r"""Return the SHA-256 of a plan's text as UTF-8 with plain newlines and no byte-order mark.

    So the fingerprint does not depend on the system on which the file was saved.

    Examples
    --------
    >>> plan_sha256("title = 'A'\n") == plan_sha256(b"\xef\xbb\xbftitle = 'A'\r\n")
    True
    """
    data = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
    data = data.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n")
    return hashlib.sha256(data).hexdigest()


def freeze_plan(folder: str | Path, now: datetime, *, amend: bool = False, reason: str = "") -> Freeze:
    r"""Freeze the plan of a trial: write its text, fingerprint and date to `frozen.json`.

    Parameters
    ----------
    folder : str or Path
        The trial folder.
    now : datetime
        The moment, with its time zone.
    amend : bool
        Freeze anew what was frozen before; the earlier text is kept.
    reason : str
        Why; needed for an amendment.

    Returns
    -------
    Freeze

    Raises
    ------
    PlanError
        If the plan is not in order: a broken plan cannot be frozen.
    TrialError
        If the plan is frozen already and this is no amendment, if an amendment has no reason
        or changes nothing, or if the file cannot be read or written.
    ValueError
        If `now` has no time zone.

    Examples
    --------
    >>> import tempfile
    >>> folder = tempfile.TemporaryDirectory()
    >>> plan = Path(folder.name) / "trial.toml"
    >>> _ = plan.write_text('title = "A or B?"\n[factors]\nmedium = ["A", "B"]\n', encoding="utf-8")
    >>> freeze_plan(folder.name, datetime(2026, 9, 25, 8, tzinfo=UTC)).frozen_at
    '2026-09-25T08:00:00Z'
    >>> folder.cleanup()
    """
    if now.tzinfo is None:
        raise ValueError(f"`now` must have a time zone, got {now}")
    folder = Path(folder)
    text = plan_text(folder / PLAN_FILE)
    parse_plan(text, folder=folder)
    before = read_freeze(folder)
    freeze = Freeze(plan_sha256=plan_sha256(text), frozen_at=_utc(now), plan_text=text, reason=reason.strip())
    if before is None:
        freeze = replace(freeze, reason="")
    else:
        _refuse_amendment(before, freeze, amend=amend)
        freeze = replace(freeze, earlier=(*before.earlier, replace(before, earlier=())))
    write_freeze(folder, freeze)
    return freeze


def read_freeze(folder: str | Path) -> Freeze | None:
    """Read what was frozen last, with what was frozen before; None if nothing was.

    Raises
    ------
    TrialError
        If `frozen.json` is there and cannot be read, is damaged, or was changed by hand.
    """
    path = Path(folder) / FROZEN_FILE
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise _damaged(f"The frozen plan cannot be read: {_reason(error)}.") from error
    try:
        return _freeze(json.loads(text))
    except (ValueError, TypeError, LookupError, AttributeError, RecursionError) as error:
        raise _damaged("The frozen plan is damaged: this is not what was written here.") from error


def differences(freeze: Freeze, plan: Plan, text: str) -> tuple[str, ...]:
    r"""Say in sentences how the present plan differs from the frozen one.

    Parameters
    ----------
    freeze : Freeze
    plan : Plan
        The present plan.
    text : str
        Its text.

    Returns
    -------
    tuple of str
        A sentence for each difference; empty if the texts are the same.

    Examples
    --------
    >>> old = 'title = "A or B?"\n[factors]\nmedium = ["A", "B"]'
    >>> new = "alpha = 0.01\n" + old
    >>> freeze = Freeze(plan_sha256=plan_sha256(old), frozen_at="2026-09-25T08:00:00Z", plan_text=old)
    >>> differences(freeze, parse_plan(new), new)
    ('`alpha` was 0.05 and is 0.01.',)
    """
    if plan_sha256(text) == freeze.plan_sha256:
        return ()
    try:
        frozen = parse_plan(freeze.plan_text)
    except PlanError as error:
        first = error.problems[0]
        return (f"The frozen plan can no longer be read, so its differences cannot be listed one by one: {first}",)
    return plan_differences(frozen, plan) or ("Only comments or spacing changed; the plan means the same.",)


def amendments(freeze: Freeze) -> tuple[str, ...]:
    """Say in sentences what each amendment since the first freeze changed, and why.

    Examples
    --------
    >>> amendments(Freeze(plan_sha256="", frozen_at="2026-09-25T08:00:00Z", plan_text=""))
    ()
    """
    chain = (*freeze.earlier, freeze)
    return tuple(sentence for before, after in pairwise(chain) for sentence in _amendment(before, after))


def _amendment(before: Freeze, after: Freeze) -> tuple[str, ...]:
    head = f"Amended at {after.frozen_at} ({after.reason})"
    try:
        plan = parse_plan(after.plan_text)
    except PlanError:
        return (f"{head}: the amended plan can no longer be read.",)
    return tuple(f"{head}: {sentence}" for sentence in differences(before, plan, after.plan_text))


def _utc(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _refuse_amendment(before: Freeze, freeze: Freeze, *, amend: bool) -> None:
    frozen = f"The plan was frozen at {before.frozen_at}"
    if before.plan_sha256 == freeze.plan_sha256:
        raise _error("already-frozen", f"{frozen} and has not changed since.", "There is nothing to do.")
    if not amend:
        mend = "Go back to the frozen plan, or amend it and give the reason."
        raise _error("already-frozen", f"{frozen} and is not overwritten.", mend)
    if not freeze.reason:
        raise _error("no-reason", f"{frozen}; to amend it needs a reason.", "Say in a sentence why the plan changes.")


def _freeze(data: Any) -> Freeze:
    """Make the freeze from what the file holds; anything unexpected is an error."""
    freezes: list[Freeze] = []
    for entry in data["freezes"]:
        freeze = Freeze(**entry, earlier=tuple(freezes))
        datetime.fromisoformat(freeze.frozen_at)
        if not isinstance(freeze.reason, str) or plan_sha256(freeze.plan_text) != freeze.plan_sha256:
            raise ValueError("text and fingerprint do not belong together")
        freezes.append(replace(freeze, earlier=()))
    return replace(freezes[-1], earlier=tuple(freezes[:-1]))


def write_freeze(folder: Path, freeze: Freeze) -> None:
    """Write the file whole or not at all: an interrupted write leaves the old one."""
    target, draft = folder / FROZEN_FILE, folder / f".{FROZEN_FILE}.{os.getpid()}"
    entries = [_entry(one) for one in (*freeze.earlier, freeze)]
    text = json.dumps({"format": FORMAT, "freezes": entries}, indent=2, ensure_ascii=False)
    try:
        with draft.open("w", encoding="utf-8", newline="\n") as file:
            file.write(f"{text}\n")
            file.flush()
            os.fsync(file.fileno())
        draft.replace(target)
    except OSError as error:
        mend = "Make the folder writable, or copy the trial to one that is."
        raise _error("not-writable", f"The frozen plan cannot be written: {_reason(error)}.", mend) from error
    finally:
        draft.unlink(missing_ok=True)


def _entry(freeze: Freeze) -> dict[str, str]:
    return {
        "frozen_at": freeze.frozen_at,
        "reason": freeze.reason,
        "plan_sha256": freeze.plan_sha256,
        "plan_text": freeze.plan_text,
    }


def _reason(error: OSError | UnicodeDecodeError) -> str:
    return str(error.strerror or error) if isinstance(error, OSError) else "it is not UTF-8 text"


def _damaged(says: str) -> TrialError:
    mend = "Take the file from a backup. Without one, keep the damaged file elsewhere and freeze anew."
    return _error("damaged-freeze", says, mend)


def _error(code: str, says: str, mend: str) -> TrialError:
    return TrialError.gather([Problem(code=code, says=says, mend=mend, file=FROZEN_FILE)])
