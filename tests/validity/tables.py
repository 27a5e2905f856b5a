"""The study's results told as small tables: the worst, least and typical of many settings."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from validity.draw import SHAPES
from validity.grid import ALIKE, RIGHT, SPREADS
from validity.layouts import KINDS
from validity.reaches import COUNTED, DRAWN, EXACT
from validity.shares import NOMINAL, percent

CLAIMS = ("same", "below", "above")
"""Columns with error rates of claims about a difference."""
POWERS = ("power_same", "power_no_worse", "power_keener")


def markdown(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table: the first column to the left, the others to the right."""
    lines = [head, ("---", *("---:" for _ in head[1:])), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def worst(table: pd.DataFrame) -> pd.Series:
    """Error rate of the claim about a difference that errs most, setting by setting."""
    return table[list(CLAIMS)].max(axis=1)


def times(share: float) -> str:
    """An error rate as a multiple of the nominal one.

    Examples
    --------
    >>> times(0.0825)
    '1.65'
    """
    return f"{share / NOMINAL:.2f}"


def error_table(table: pd.DataFrame) -> str:
    """Largest error of claims about a difference, as a multiple of the nominal rate, by layout and size."""
    table = table.assign(worst=worst(table))
    right, wrong = table[table["scale"] == RIGHT], table[table["scale"] != RIGHT]
    parts = [right[right["shape"] == shape] for shape in SHAPES] + [wrong[~wrong["lost"]], wrong[wrong["lost"]]]
    head = ("layout, edges a medium", *SHAPES, "scale wrong, as many edges", "scale wrong, edges lost")
    return markdown(head, [[name, *(times(_of(part, kind, size)["worst"].max()) for part in parts)]
                           for name, kind, size in _sizes()])  # fmt: skip


def coverage_table(table: pd.DataFrame) -> str:
    """Least coverage of 95 % intervals where the scale is right, with that of 1.96 beside it."""
    right = table[table["scale"] == RIGHT]
    rows = []
    for name, kind, size in _sizes():
        part = _of(right, kind, size)
        normal = part[part["shape"] == "normal"]
        rows.append([name, percent(normal["covers"].min()), percent(normal["covers"].max()),
                     percent(part["covers"].min()), percent(normal["normal"].min())])  # fmt: skip
    return markdown(("layout, edges a medium", "least, normal errors", "most, normal errors", "least, any errors",
                     "least with 1.96 instead of t"), rows)  # fmt: skip


def power_table(table: pd.DataFrame) -> str:
    """Power of the three claims, by spread: whole layouts with normal errors."""
    plain = table[(table["scale"] == RIGHT) & (table["shape"] == "normal") & ~table["lost"]]
    rows = []
    for name, kind, size in _sizes():
        part = _of(plain, kind, size).set_index("spread")
        rows.append([name, *(
            " / ".join(f"{100 * part.loc[spread, column]:.0f}" for column in POWERS) if spread in part.index else ""
            for spread in SPREADS
        )])  # fmt: skip
    return markdown(("layout, edges a medium", *SPREADS), rows)


def gap_table(table: pd.DataFrame) -> str:
    """Errors and power of claims about a gap, by layout and size."""
    table = table.assign(depends=1 - table["covers"])
    plain = table[(table["shape"] == "normal") & ~table["lost"] & (table["spread"] == ALIKE)]
    rows = []
    for name, kind, size in _sizes():
        part, alike = _of(table, kind, size), _of(plain, kind, size)
        if len(part):
            rows.append([name, percent(worst(part).max()), percent(part["depends"].max()),
                         *(f"{100 * share:.0f}" for share in alike[["power_same", "power_depends"]].iloc[0])])
    return markdown(("layout, edges a medium", "does not depend: wrongly shown", "depends: wrongly shown",
                     "does not depend: power", "depends: power"), rows)  # fmt: skip


def noticed_table(table: pd.DataFrame) -> str:
    """How often the check of the scale says that it is wrong, by size: least and most."""
    wrong = table[table["scale"] != RIGHT]
    rows = [
        [f"{size}", *(f"{percent(part.min())} to {percent(part.max())}" for part in
                      (group.loc[~group["lost"], "noticed"], group.loc[group["lost"], "noticed"]))]
        for size, group in wrong.groupby("edges")
    ]  # fmt: skip
    return markdown(("edges a medium", "as many edges", "edges lost"), rows)


def _sizes() -> list[tuple[str, str, int]]:
    return [(f"{kind}: {size}", kind, size) for kind, sizes in KINDS.items() for size in sizes]


def _of(table: pd.DataFrame, kind: str, size: int) -> pd.DataFrame:
    return table[(table["layout"] == kind) & (table["edges"] == size)]


def exact_table(table: pd.DataFrame) -> str:
    """Errors of `reaches` by its exact bound: wrongly shown / wrongly contradicted."""
    table = table[table["method"] == EXACT]
    sizes = sorted(set(table["edges"]))
    rows = [[f"{shape}, {100 * share:.0f} % of the edges", *(_both(group[group["edges"] == size]) for size in sizes)]
            for (shape, share), group in table.groupby(["shape", "share"], sort=False)]  # fmt: skip
    return markdown(("edges", *map(str, sizes)), rows)


def drawn_table(table: pd.DataFrame) -> str:
    """The same for edges in blades and of two steels."""
    table = table[table["method"] == DRAWN]
    rows = []
    for row in table.itertuples():
        steels = "" if pd.isna(row.apart) else f", two steels {row.apart:g} apart"
        blades = f"{row.edges // row.a_blade} blades x {row.a_blade}" if row.a_blade > 1 else f"{row.edges} edges"
        name = f"{blades}{', one lost' if row.lost else ''}; {row.spread}; {row.shape}{steels}"
        rows.append([name, percent(row.shown), percent(row.contradicted)])
    return markdown(("edges of one medium", "wrongly shown", "wrongly contradicted"), rows)


def counted_table(table: pd.DataFrame) -> str:
    """The same by counting edges."""
    table = table[table["method"] == COUNTED]
    rows = [[f"{row.edges} edges, {row.a_blade} a blade; {row.spread}; {row.shape}", percent(row.shown),
             percent(row.contradicted)] for row in table.itertuples()]  # fmt: skip
    return markdown(("edges counted", "wrongly shown", "wrongly contradicted"), rows)


def _both(part: pd.DataFrame) -> str:
    return f"{percent(part['shown'].iloc[0])} / {percent(part['contradicted'].iloc[0])}"


def steadier_table(table: pd.DataFrame) -> str:
    """Errors of `steadier` where both media spread alike, and how often half as much is shown."""
    rows = []
    for row in table.itertuples():
        kind = f"{row.layout}: {row.edges}{', some lost' if row.lost else ''}; {row.shape}"
        alike = row.ratio == 1
        rows.append([f"{kind}{'' if alike else '; half as much'}", percent(row.shown) if alike else "",
                     percent(row.contradicted) if alike else "", "" if alike else percent(row.shown)])
    head = ("layout, edges a medium; errors", "wrongly shown", "wrongly contradicted", "half as much is shown")
    return markdown(head, rows)


def family_table(table: pd.DataFrame) -> str:
    """Three claims under Holm."""
    rows = [[f"{row.layout}, {row.edges} edges a medium{', some lost' if row.lost else ''}; {row.spread}",
             percent(row.shown), percent(row.contradicted), percent(row.without)] for row in table.itertuples()]
    head = ("layout; spread", "any wrongly shown", "any wrongly contradicted", "any wrongly shown, without Holm")
    return markdown(head, rows)


