"""Rules on labels: edges have a name, factors a planned level, blocks a value, and an edge only one of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from sharpstats.columns import readings_column
from sharpstats.trial.checking import Checking
from sharpstats.trial.labels import Flags, Labels, key_of
from sharpstats.trial.numerals import ERRORS
from sharpstats.trial.spelling import closest, listed, quoted

NO_VALUE = frozenset({"", "-", "–", "—", "?", "na", "n/a", "n.a.", "nan", "null", "nil", "#n/a"})
"""Texts that mean "no value" where labels are not laid down by the plan."""

ONE_PER_EDGE = ("medium", "steel", "blade")
"""Columns that an edge has one value of, whether or not the plan names them."""


def check_labels(checking: Checking) -> None:
    """Read edge, role, factors and blocks as labels, and set rows aside that lack one or have a wrong one."""
    plan = checking.plan
    check_named(checking, "edge", "The row does not say which edge was read.")
    for name, levels in plan.factors.items():
        _check_planned(checking, name, levels)
    for name in plan.layout.blocks:
        if name not in checking.labels:
            check_named(checking, name, f"The row has no {name}, which the plan names as a block.")
    for name in ONE_PER_EDGE:
        if name not in checking.labels and checking.has(name):
            checking.labels[name] = _stripped(checking, name)
    _check_role(checking)


def check_edges_agree(checking: Checking) -> None:
    """Set every row of an edge aside that has two media, two blades, two roles and so on."""
    edge = checking.labels["edge"]
    witness = checking.asides.kept.copy()
    for name, labels in checking.labels.items():
        if name != "edge" and len(labels.texts) > 1:
            _check_one_each(checking, name, edge, labels, witness)


def _stripped(checking: Checking, name: str) -> Labels:
    labels = checking.encoded(name)
    stripped = [text.strip() for text in labels.texts]
    changed = [bool(new) and new != old for new, old in zip(stripped, labels.texts, strict=True)]
    checking.repaired("label-space", labels.rows_where(changed), f"of {name} had space around the label")
    return labels.renamed(stripped)


def check_named(checking: Checking, name: str, reason: str) -> None:
    """Check a column whose labels are free: only a missing one, or a spreadsheet's error, is wrong."""
    labels = checking.labels[name] = _stripped(checking, name)
    missing = [text.casefold() in NO_VALUE for text in labels.texts]
    checking.asides.add(labels.rows_where(missing), name, "no-edge" if name == "edge" else "no-value", reason)
    broken = [text in ERRORS and not no for text, no in zip(labels.texts, missing, strict=True)]
    _add_broken(checking, name, labels.rows_where(broken))


def _add_broken(checking: Checking, name: str, broken: Flags) -> None:
    reason = f"The cell of {name} holds an error of the spreadsheet program; write the {name} itself."
    checking.asides.add(broken, name, "spreadsheet-error", reason)


def _check_planned(checking: Checking, name: str, levels: Sequence[str]) -> None:
    """Check a column whose labels are laid down; spelling is mended where only one level can be meant."""
    labels = checking.encoded(name)
    meant = meanings(labels.texts, levels)
    pairs = list(zip(labels.texts, meant, strict=True))
    mended = labels.rows_where([level is not None and level != text for text, level in pairs])
    checking.repaired("label-spelling", mended, f"of {name} differed from a level of the plan only in case or space")
    blank = labels.rows_where([level is None and not text.strip() for text, level in pairs])
    checking.asides.add(blank, name, "no-value", f"The row has no {name}.")
    broken = labels.rows_where([level is None and text.strip() in ERRORS for text, level in pairs])
    _add_broken(checking, name, broken)
    unknown = labels.rows_where([level is None for level in meant]) & ~blank & ~broken
    if unknown.any():
        reasons = [_unknown(name, text.strip(), levels) for text in labels.texts]
        checking.asides.add(unknown, name, "unknown-level", labels.spread(reasons, unknown))
    checking.labels[name] = labels.renamed([text.strip() if level is None else level for text, level in pairs])


def meanings(texts: Sequence[str], levels: Sequence[str]) -> list[str | None]:
    """Return the level that each text means; None where it is none, or more than one may be meant."""
    by_key: dict[str, str | None] = {}
    for level in levels:
        key = key_of(level)
        by_key[key] = None if key in by_key else level
    exact = set(levels)
    return [text if text in exact else by_key.get(key_of(text)) for text in texts]


def _unknown(name: str, text: str, levels: Sequence[str]) -> str:
    near = closest(text, levels)
    if near is not None:
        mend = f"Did you mean {quoted(near)}?"
    else:
        mend = f"The plan has {listed(levels[:8], last='and')}{' and more' if len(levels) > 8 else ''}."
    return f"{quoted(text)} is not a level of {name} in the plan. {mend}"


def _check_role(checking: Checking) -> None:
    if not checking.has("role"):
        checking.labels["role"] = Labels(np.zeros(len(checking.frame), dtype=np.int64), ("trial",))
        return
    column = readings_column("role")
    choices = () if column is None else column.choices
    labels = checking.encoded("role")
    meant = meanings(labels.texts, choices)
    filled = [level or text.strip() or choices[0] for text, level in zip(labels.texts, meant, strict=True)]
    unknown = labels.rows_where([text not in choices for text in filled])
    reason = f"The role of an edge is {listed(choices)}; blank means {quoted(choices[0])}."
    checking.asides.add(unknown, "role", "unknown-role", reason)
    checking.labels["role"] = labels.renamed(filled)


def _check_one_each(checking: Checking, name: str, edge: Labels, labels: Labels, witness: Flags) -> None:
    """Compare every row with the first of its edge. Rows that are out already, or blank, are no witness."""
    rows = np.flatnonzero(witness & ~labels.rows_where([not text for text in labels.texts]))
    edges, values = edge.codes[rows], labels.codes[rows]
    first = np.full(len(edge.texts), -1, dtype=np.int64)
    first[edges[::-1]] = values[::-1]
    differs = values != first[edges]
    if not differs.any():
        return
    reasons = _conflicts(name, edge, labels, first, rows[differs])
    condemned = np.isin(edge.codes, list(reasons)) & witness
    texts = [reasons[code] for code in edge.codes[condemned].tolist()]
    checking.asides.add(condemned, name, "two-values", texts)


def _conflicts(
    name: str, edge: Labels, labels: Labels, first: NDArray[np.int64], differs: NDArray[np.int64]
) -> Mapping[int, str]:
    """Name, for each edge at fault, two of its labels."""
    edges, at = np.unique(edge.codes[differs], return_index=True)
    reasons: dict[int, str] = {}
    for code, row in zip(edges.tolist(), differs[at].tolist(), strict=True):
        one, two = quoted(labels.texts[first[code]]), quoted(labels.texts[labels.codes[row]])
        reasons[code] = (
            f"Edge {quoted(edge.texts[code])} has two values of {name}: {one} and {two}. "
            "An edge is one sharpening: correct the rows, or give the second sharpening a name of its own."
        )
    return reasons
