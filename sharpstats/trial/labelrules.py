"""Rules on labels: edges have a name, factors a planned level, blocks a value, and an edge only one of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from sharpstats.columns import readings_column
from sharpstats.trial.checking import Checking
from sharpstats.trial.labels import Flags, Labels, tidy
from sharpstats.trial.numerals import ERRORS
from sharpstats.trial.spelling import closest, listed, quoted

NO_VALUE = frozenset({"", "-", "–", "—", "?", "na", "n/a", "n.a.", "nan", "null", "nil", "#n/a"})
"""Texts that mean "no value" where labels are not laid down by the plan."""


def check_labels(checking: Checking) -> None:
    """Read edge, role, factors and blocks as labels, and set rows aside that lack one or have a wrong one."""
    _check_named(checking, "edge", "no-edge", "The row does not say which edge was read.")
    plan = checking.plan
    for name, levels in plan.factors.items():
        _check_against(checking, name, levels, "level")
    for name in plan.layout.blocks:
        if name not in plan.factors:
            _check_named(checking, name, f"no-{name}", f"The row has no {name}, which the layout needs as a block.")
    for name in ("blade", "steel", "medium"):
        if name not in checking.labels and checking.has(name):
            checking.labels[name] = _stripped(checking, name)
    _check_role(checking)


def check_edges_agree(checking: Checking) -> None:
    """Set every row of an edge aside that has two media, two blades, two roles and so on."""
    edge = checking.labels["edge"]
    witness = checking.asides.kept.copy()
    for name, labels in checking.labels.items():
        if name != "edge":
            _check_one_label_each(checking, name, edge, labels, witness)


def _stripped(checking: Checking, name: str) -> Labels:
    labels = checking.encoded(name)
    cleaned = labels.renamed([text.strip() for text in labels.texts])
    if cleaned is not labels:
        changed = labels.rows_where([text != text.strip() and bool(text.strip()) for text in labels.texts])
        checking.repaired("label-space", changed, f"of {name} had space around the label, which was taken off")
    return cleaned


def _check_named(checking: Checking, name: str, code: str, reason: str) -> None:
    """A column whose labels are free: only a missing one, or a spreadsheet error, is wrong."""
    labels = _stripped(checking, name)
    missing = labels.rows_where([text.casefold() in NO_VALUE for text in labels.texts])
    broken = labels.rows_where([text.upper() in ERRORS for text in labels.texts]) & ~missing
    checking.asides.add(missing, name, code, reason)
    _add_spreadsheet_error(checking, name, broken)
    checking.labels[name] = labels


def _add_spreadsheet_error(checking: Checking, name: str, broken: Flags) -> None:
    checking.asides.add(
        broken, name, "spreadsheet-error",
        f"The cell for {name} holds an error of the spreadsheet program; write the {name} itself.",
    )  # fmt: skip


def _check_against(checking: Checking, name: str, levels: Sequence[str], word: str) -> None:
    """A column whose labels are laid down: spelling is mended where only one can be meant."""
    labels = checking.encoded(name)
    meant = _meanings(labels.texts, levels)
    mended = labels.rows_where([m is not None and m != text for text, m in zip(labels.texts, meant, strict=True)])
    checking.repaired("label-spelling", mended, f"of {name} differed from a planned {word} only in case or space")
    blank = labels.rows_where([m is None and not t.strip() for t, m in zip(labels.texts, meant, strict=True)])
    broken = labels.rows_where([text.strip().upper() in ERRORS for text in labels.texts])
    broken &= labels.rows_where([m is None for m in meant])
    unknown = labels.rows_where([m is None for m in meant]) & ~blank & ~broken
    checking.asides.add(blank, name, f"no-{name}", f"The row has no {name}.")
    _add_spreadsheet_error(checking, name, broken)
    if unknown.any():
        reasons = np.array([_unknown(name, text, levels, word) for text in labels.texts], dtype=object)
        checking.asides.add(unknown, name, f"unknown-{name}", reasons[labels.codes[unknown]])
    found = [text.strip() if m is None else m for text, m in zip(labels.texts, meant, strict=True)]
    checking.labels[name] = labels.renamed(found)


def _meanings(texts: Sequence[str], levels: Sequence[str]) -> list[str | None]:
    """Return the level that each text means; None where it is none, or more than one may be meant."""
    by_key: dict[str, str | None] = {}
    for level in levels:
        key = _key(level)
        by_key[key] = None if key in by_key else level
    exact = set(levels)
    return [text if text in exact else by_key.get(_key(text)) for text in texts]


def _key(text: str) -> str:
    """Bring a label to the form in which spellings are compared; ``50.0`` is what a spreadsheet makes of 50."""
    key = tidy(text).casefold()
    head, point, tail = key.partition(".")
    return head if point and head.isdecimal() and tail and not tail.strip("0") else key


def _unknown(name: str, text: str, levels: Sequence[str], word: str) -> str:
    near = closest(text, levels)
    if near is not None:
        mend = f"Did you mean {quoted(near)}?"
    elif len(levels) <= 8:
        mend = f"The plan has {listed(levels, last='and')}."
    else:
        mend = "Add it to the plan, or correct the row."
    return f"{quoted(text.strip())} is not a {word} of {name} in the plan. {mend}"


def _check_role(checking: Checking) -> None:
    column = readings_column("role")
    assert column is not None
    size = len(checking.frame)
    if not checking.has("role"):
        checking.labels["role"] = Labels(np.zeros(size, dtype=np.int64), ("trial",))
        return
    labels = checking.encoded("role")
    blank = [not text.strip() for text in labels.texts]
    meant = _meanings(labels.texts, column.choices)
    unknown = labels.rows_where([m is None and not b for m, b in zip(meant, blank, strict=True)])
    checking.asides.add(
        unknown, "role", "unknown-role", "The role of an edge is trial or control, or blank, which means trial."
    )
    filled = ["trial" if b else (m or t.strip()) for t, m, b in zip(labels.texts, meant, blank, strict=True)]
    checking.labels["role"] = labels.renamed(filled)


def _check_one_label_each(checking: Checking, name: str, edge: Labels, labels: Labels, witness: Flags) -> None:
    rows = np.flatnonzero(witness & labels.rows_where([bool(text) for text in labels.texts]))
    if not len(rows):
        return
    first = np.full(len(edge.texts), -1, dtype=np.int64)
    first[edge.codes[rows[::-1]]] = labels.codes[rows[::-1]]
    differs = rows[labels.codes[rows] != first[edge.codes[rows]]]
    if not len(differs):
        return
    reasons = _conflicts(name, edge, labels, first, differs)
    condemned = np.isin(edge.codes, list(reasons)) & witness
    texts = [reasons[code] for code in edge.codes[condemned]]
    checking.asides.add(condemned, name, f"two-{name}", texts)


def _conflicts(name: str, edge: Labels, labels: Labels, first: np.ndarray, differs: np.ndarray) -> Mapping[int, str]:
    """Name, for each edge at fault, two of its labels."""
    reasons: dict[int, str] = {}
    edges, at = np.unique(edge.codes[differs], return_index=True)
    for code, row in zip(edges.tolist(), differs[at].tolist(), strict=True):
        one, two = labels.texts[first[code]], labels.texts[labels.codes[row]]
        reasons[code] = (
            f"Edge {quoted(edge.texts[code])} has two values of {name}: {quoted(one)} and {quoted(two)}. "
            "An edge is one sharpening: correct the rows, or give the second sharpening a name of its own."
        )
    return reasons
