"""RESULTS.md: what the study found, in words and tables."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pandas as pd
from validity import tables
from validity.shares import NOMINAL, SURE, bound, is_off


def store(results: Mapping[str, pd.DataFrame], folder: Path) -> None:
    """Write one file a table of results."""
    folder.mkdir(exist_ok=True)
    for name, table in results.items():
        table.to_csv(folder / f"{name}.csv", index=False, float_format="%.5g", lineterminator="\n")


def stored(folder: Path) -> dict[str, pd.DataFrame]:
    """Read the tables of results again."""
    return {path.stem: pd.read_csv(path) for path in sorted(folder.glob("*.csv"))}


def page(results: Mapping[str, pd.DataFrame]) -> str:
    """The results as a page."""
    sections = {
        "differences": _differences, "gaps": _gaps, "reaches": _reaches, "steadier": _steadier, "family": _family,
    }  # fmt: skip
    return "\n\n".join([_opening(results), *(told(results[name]) for name, told in sections.items())]) + "\n"


def _opening(results: Mapping[str, pd.DataFrame]) -> str:
    trials = int(results["differences"]["trials"].max())
    return f"""# How often it errs: the validity study

Made by `python tests/validity/study.py`; every number of every setting lies in `results/`. {trials:,} trials a setting
unless a table says otherwise, each setting with a seed of its own made from its name. The standard error of a share
near 5 or 95 % is {100 * bound(trials, errors=1):.2f} points. A claim may err in {100 * NOMINAL:.0f} of 100 trials. An
error rate is called *off* if it is above 7.5 % by more than {SURE:g} standard errors: then the tool says so to whoever
is in that situation."""


def _differences(table: pd.DataFrame) -> str:
    right = table[table["scale"] == "right"]
    off = is_off(tables.worst(table), table["trials"])
    return f"""## Claims about a difference: `same`, `no worse`, `keener`

{len(table)} settings: four kinds of layout, 3 to 24 edges for each of two media, three cuts an edge; whole, or with a
third of the second medium's edges and some cuts lost; spreads of blades, blades by medium, edges and cuts from nothing
to most of all; errors of edges and cuts normal, heavy-tailed (Student's t with 3 degrees of freedom) or skewed
(lognormal, skewness 3.3); and the scale wrong: readings that spread in proportion analysed as read, and readings that
spread alike analysed as logarithms, by a fifth of the lower medium's reading, the media a factor of two apart, the one
that spreads more on that scale with fewer edges.

Every claim is asked where it is just not true (margin 15 %; where the scale is wrong, the true difference).
`no worse` and `keener` are one test from its two sides, so the tables count both sides, and `same` at either margin.

![Error rates of claims about a difference](results/errors.png)

The largest error of any such claim, as a multiple of the nominal rate:

{tables.error_table(table)}

Where the scale is right, {is_off(tables.worst(right), right["trials"]).sum()} of {len(right)} settings are off,
whatever the errors' shape; the largest rate is {100 * tables.worst(right).max():.1f} %. Where it is wrong,
{off.sum()} of {len(table) - len(right)} are, all of them with edges lost: {_all_lost(table[off])}. A finding then
says so (note `scale-in-doubt`). Small trials, and those where spreads are nothing or next to nothing, err less often
than they may: a spread estimated as zero keeps its degrees of freedom, which makes intervals wider than need be.

How often the check of the scale says that a wrong scale is wrong, in percent of up to 1,000 trials a setting. In the
other trials nothing tells that it is, and so the finding cannot say so either:

{tables.noticed_table(table)}

Coverage of 95 % intervals, in percent (scale right):

{tables.coverage_table(table)}

How often a true claim is shown, in percent, `same` / `no worse` / `keener`: no difference and a margin of 15 % for the
first two, a difference of 15 % for the third. Whole layouts, normal errors; columns say where most of the spread is.

{tables.power_table(table)}

![Power of `same`](results/power.png)"""


def _all_lost(off: pd.DataFrame) -> str:
    if not off["lost"].all():
        return "NOT SO, SEE THE TABLE"
    return f"up to {100 * tables.worst(off).max():.1f} %" if len(off) else "none"


def _gaps(table: pd.DataFrame) -> str:
    return f"""## `gap`

Two hands, each with half of a medium's edges; {int(table["trials"].max()):,} trials a setting, {len(table)} settings:
spreads all alike or the highest of them most, normal and skewed errors, whole and with losses. "Does not depend" is
asked where the gap is just the margin of 15 %, "depends" (without a margin) where there is none; both in percent, the
worst of each layout. Power is that of layouts without losses, spreads alike and errors normal: no gap for the one,
15 % for the other.

{tables.gap_table(table)}"""


def _reaches(table: pd.DataFrame) -> str:
    drawn = int(table.loc[table["method"] == "drawn bound", "trials"].max())
    return f"""## `reaches`

Each claim is asked at its boundary: just that share of the medium's edges reads below the level.

Independent edges of one steel have an exact bound. Wrongly shown / wrongly contradicted, in percent:

{tables.exact_table(table)}

![Errors of `reaches`](results/reaches.png)

The bound is exact for normal edges. A share far out in a distribution depends on its shape, and more edges do not mend
that: they make the bound surer of the wrong place. Few edges cannot show their shape. Every finding by this bound says
so (note `normal-edges`); the count of edges beside it does not depend on the shape.

Edges in blades, or of two steels, by drawn bounds ({drawn:,} trials a line, standard error
{100 * bound(drawn, errors=1):.1f} points near 5 %):

{tables.drawn_table(table)}

Counting edges (80 % claimed) is exact for independent edges of any shape, and cautious because counts are whole.
Edges that share blades make it err more often, the more edges a blade has and the more blades differ; a finding that
rests on such a count says so (note `counted-in-blocks`):

{tables.counted_table(table)}"""


def _steadier(table: pd.DataFrame) -> str:
    trials = int(table["trials"].max())
    return f"""## `steadier`

{trials:,} trials a line, standard error {100 * bound(trials, errors=1):.1f} points near 5 %. Errors are those where the
edges of both media spread alike; "half as much" is how often a true claim without a margin is shown.

{tables.steadier_table(table)}

With normal edges no line is off. A ratio of spreads depends on the shape of the edges' distribution as `reaches` does,
and more edges do not mend that. Every such finding says so (note `normal-spreads`, or `tails` where the edges show it);
the second opinions beside it depend on the shape much less."""


def _family(table: pd.DataFrame) -> str:
    return f"""## A family of three

`same`, `keener` and `no worse` among three media, all three just not true; any of them wrongly shown (or
contradicted) counts as one error of the trial. In percent:

{tables.family_table(table)}"""
