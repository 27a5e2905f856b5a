"""How a tester study is laid out, and so which parts of the spread its readings can show.

The layout decides the model. What always changes together stays one part with both names, and what
the layout cannot tell from other parts is left inside them: both are said, neither is guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import get_args

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.errors import FitError
from sharpstats.notes import Note
from sharpstats.tester.plan import Kind

Codes = NDArray[np.intp]
Floats = NDArray[np.float64]
LAYOUTS: tuple[Kind, ...] = get_args(Kind)
REPEATABILITY, OPERATOR, EDGE, BOTH = "repeatability", "operator", "edge", "operator x edge"
CIRCUMSTANCES = {"day": "day", "filament_lot": "filament lot", "tester": "tester unit"}
"""Columns that may add a part of their own, and what the part is called."""
SAME_SPACE = 1e-9
"""Smallest eigenvalue, of a matrix with ones on its diagonal, at which parts can be told apart."""


@dataclass(frozen=True, eq=False)
class Part:
    """A part of the spread beside repeatability.

    Attributes
    ----------
    name : str
        For example ``operator x edge``, or ``day = filament lot`` where these always change together.
    columns : tuple of str
        Columns whose combinations are its levels.
    codes : integer ndarray of shape (N,)
        Level of each reading.
    """

    name: str
    columns: tuple[str, ...]
    codes: Codes

    @property
    def names(self) -> tuple[str, ...]:
        """The names of all that changes with it."""
        return tuple(self.name.split(" = "))

    @property
    def levels(self) -> int:
        """Number of levels."""
        return int(self.codes.max()) + 1

    @property
    def of_edges(self) -> bool:
        """Whether it holds the differences between edges, which are no fault of the tester."""
        return EDGE in self.names


@dataclass(frozen=True, eq=False)
class Arrangement:
    """A layout and the parts it can show.

    Attributes
    ----------
    kind : str
        ``crossed``, ``nested``, ``one operator`` or ``like edges``.
    parts : tuple of Part
    notes : tuple of Note
    """

    kind: Kind
    parts: tuple[Part, ...]
    notes: tuple[Note, ...]


def find_arrangement(readings: pd.DataFrame, stated: str | None = None) -> Arrangement:
    """Find which parts of the spread a study can show.

    Parameters
    ----------
    readings : DataFrame
        One row a cut: `edge`, and where recorded `operator`, `day`, `filament_lot`, `tester`.
    stated : str, optional
        The layout as the plan has it; left out: as the readings show it.

    Returns
    -------
    Arrangement

    Raises
    ------
    FitError
        If the readings contradict the layout, or show nothing.
    ValueError
        If there is no such layout.

    Examples
    --------
    >>> table = pd.DataFrame({"operator": list("AAAABBBB"), "edge": list("aabbaabb"), "day": list("11221122")})
    >>> found = find_arrangement(table)
    >>> found.kind, [part.name for part in found.parts]
    ('crossed', ['operator', 'edge = day', 'operator x edge'])
    """
    if stated is not None and stated not in LAYOUTS:
        raise ValueError(f"`layout` must be one of {', '.join(LAYOUTS)}, got {stated!r}")
    kind = _kind(readings, stated)
    parts = list(_together(_candidates(readings, kind)))
    notes = [_together_note(part) for part in parts if len(part.names) > 1]
    single = [part for part in parts if part.levels == len(readings)]
    parts = [part for part in parts if part.levels < len(readings)]
    notes += [_inside_note(part) for part in single]
    parts, lost = _told_apart(parts, len(readings))
    if any(part.of_edges for part in single) and kind in ("one operator", "nested"):
        _check_something_left(parts, kind)
    return Arrangement(kind, tuple(parts), (*_kind_notes(kind, parts), *notes, *map(_lost_note, lost)))


def _levels(readings: pd.DataFrame, column: str) -> int:
    return int(readings[column].nunique()) if column in readings else 0


def _kind(readings: pd.DataFrame, stated: str | None) -> Kind:
    """The layout the readings show; refuse one that they contradict."""
    operators, shared = _levels(readings, "operator"), _shared_edges(readings)
    found: Kind = "one operator" if operators < 2 else "crossed" if shared else "nested"
    if stated == "like edges":
        return "like edges"
    if stated is None or stated == found:
        return found
    if "one operator" in (stated, found):
        count = f"{operators} operators" if operators > 1 else "one operator" if operators else "no operator recorded"
        raise FitError(
            f'The layout is said to be "{stated}", but the readings have {count}. Write layout = "{found}", or '
            "correct the column `operator`."
        )
    if stated == "crossed":
        raise FitError(
            'The layout is said to be "crossed", but no edge was cut by more than one operator. Write '
            'layout = "nested", or give an edge the same name wherever it was cut.'
        )
    raise FitError(
        f'The layout is said to be "nested", but {shared[0]} was cut by more than one operator. If these are different '
        'edges, give each its own name; if it is the same edge, write layout = "crossed".'
    )


def _shared_edges(readings: pd.DataFrame) -> list[str]:
    """Edges that more than one operator cut."""
    if "operator" not in readings:
        return []
    counts = readings.groupby("edge", sort=True, observed=True)["operator"].nunique()
    return [str(edge) for edge in counts.index[counts > 1]]


def _candidates(readings: pd.DataFrame, kind: Kind) -> Iterable[Part]:
    """All parts that the columns could give, the layout's own first."""
    named = {OPERATOR: ("operator",), EDGE: ("edge",), BOTH: ("operator", "edge")}
    wanted = [] if kind == "one operator" else [OPERATOR]
    wanted += [] if kind == "like edges" else [EDGE]
    wanted += [BOTH] if kind == "crossed" and _levels(readings, "edge") > 1 else []
    columns = [(name, named[name]) for name in wanted]
    columns += [(name, (column,)) for column, name in CIRCUMSTANCES.items()]
    for name, used in columns:
        if min(_levels(readings, column) for column in used) > 1:
            codes = readings.groupby(list(used), observed=True, sort=True).ngroup().to_numpy()
            yield Part(name, used, codes.astype(np.intp))


def _together(candidates: Iterable[Part]) -> Iterable[Part]:
    """Join parts whose levels always change together."""
    found: dict[bytes, Part] = {}
    for part in candidates:
        key = pd.factorize(part.codes)[0].tobytes()
        first = found.get(key)
        found[key] = part if first is None else Part(f"{first.name} = {part.name}", first.columns, first.codes)
    return found.values()


def _told_apart(parts: list[Part], readings: int) -> tuple[list[Part], list[Part]]:
    """Leave out circumstances, the last first, until the rest can be told apart and something is left over."""
    kept, lost = list(parts), []
    while not can_tell_apart([part.codes for part in kept]):
        spare = [part for part in kept if set(part.names) <= set(CIRCUMSTANCES.values())]
        if not spare:
            names = ", ".join(part.name for part in kept)
            raise FitError(
                f"These readings cannot tell repeatability from {names}. Cut each edge more than once, "
                "and let every operator cut several edges."
            )
        kept = [part for part in kept if part is not spare[-1]]
        lost.append(spare[-1])
    return kept, lost


def can_tell_apart(codes: Sequence[Codes]) -> bool:
    """Whether readings with these levels can show a variance for each factor and one for what is left over.

    They can unless a weighted sum of the matrices I and Z Z', each without the mean, is nil.

    Examples
    --------
    >>> one, other = np.array([0, 0, 1, 1]), np.array([1, 1, 0, 0])
    >>> can_tell_apart([one]), can_tell_apart([one, other])
    (True, False)
    """
    centred = [_centred(one) for one in codes]
    k = len(centred)
    form = np.empty((k + 1, k + 1))
    form[k, k] = max(len(codes[0]) - 1, 1) if k else 1
    for i, one in enumerate(centred):
        form[i, k] = form[k, i] = np.sum(one**2)
        for j, other in enumerate(centred[: i + 1]):
            form[i, j] = form[j, i] = np.sum((one.T @ other) ** 2)
    size = np.sqrt(form.diagonal())
    return bool(np.linalg.eigvalsh(form / size / size[:, None])[0] > SAME_SPACE)


def _centred(codes: Codes) -> Floats:
    z = np.equal.outer(codes, np.arange(codes.max() + 1)).astype(float)
    return z - z.mean(axis=0)


def _check_something_left(parts: list[Part], kind: Kind) -> None:
    """One cut on each edge shows nothing unless operators differ or the edges are alike."""
    if not any(OPERATOR in part.names for part in parts):
        raise FitError(
            "Every edge was cut once, so what two cuts differ by cannot be told from what two edges differ by. Cut "
            'each edge at least twice, or, where the edges are as good as alike, write layout = "like edges".'
        )


def _kind_notes(kind: Kind, parts: Sequence[Part]) -> list[Note]:
    told = {
        "one operator": Note("one-operator", "One operator made all cuts, so nothing is known about how far two "
                             "people differ."),
        "nested": Note("nested", "Each edge was cut by one operator only, so what an operator does to one edge more "
                       "than to another sits inside the spread between edges."),
        "like edges": Note("like-edges", "The edges are taken as alike: what spread there is between them sits inside "
                           "repeatability."),
    }  # fmt: skip
    few = [part for part in parts if not part.of_edges and BOTH not in part.names and part.levels < FEW_LEVELS]
    return ([told[kind]] if kind in told else []) + ([_few_note(few)] if few else [])


FEW_LEVELS = 5
"""With fewer levels a note says that the spread between them is known badly: four have three degrees of freedom,
and their SD's 95 % limits lie more than a factor of six apart (chi-square)."""


def _few_note(parts: Sequence[Part]) -> Note:
    levels = [f"{part.levels} {part.name.replace(' = ', 's and ')}s" for part in parts]
    listed = " and ".join([*([", ".join(levels[:-1])] if levels[1:] else []), levels[-1]])
    return Note("few-levels", f"Only {listed} were tried, so the spread between them is known badly: a wide interval "
                "is right then.")  # fmt: skip


def _together_note(part: Part) -> Note:
    names = " and ".join(part.names)
    return Note("always-together", f"{names[0].upper()}{names[1:]} always changed together in this study. Their "
                f'spread is one part, "{part.name}"; nothing in these readings says which of them it '
                "belongs to.")  # fmt: skip


def _inside_note(part: Part) -> Note:
    where = "edge by each operator" if BOTH in part.names else " and ".join(part.names)
    cuts = f"There is one cut for each {where}"
    return Note("inside-repeatability", f"{cuts}, so the spread of {part.name} sits inside repeatability.")


def _lost_note(part: Part) -> Note:
    return Note("not-told-apart", f"This layout cannot tell the spread of {part.name} from the other parts together, "
                "so it is not estimated and sits inside them.")  # fmt: skip
