"""Write how many digits agree with the outside into DEVELOPERS.md, under "Digits reached".

    python tests/reference/digits.py           # rewrite that section
    python tests/reference/digits.py --print   # only show it
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
if __name__ == "__main__":
    sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from reference import against_nist, against_published  # noqa: E402
from reference.against_r import CASES, PARTS, comparisons  # noqa: E402

HEADING = "## Digits reached"
OPENING = """
Made by `python tests/reference/digits.py` from the comparisons that the tests check: minus log10 of the largest
relative error, in whole digits, cut off at 16. Estimates and limits are held in units of their standard error, limits
of a variance in units of the variance; the criterion, Tukey's and Dunnett's p values and Dunnett's factors as they
are. What limits a row is often the other side: lmerTest differentiates numerically (7 to 8 digits), R's `qtukey` and
`ptukey` stop early, lme4's Penicillin fit keeps 11 to 12 digits.
"""
NIST_OPENING = """
NIST's certified analyses of variance: digits of our F (`anova`) against the certified value; digits that exact rational
arithmetic on the same numbers as doubles reaches; and against that exact arithmetic the least number of digits of all
five quantities of `anova` (both sums of squares, F, R squared, residual SD), and of residual SD and F of `fit_mixed`.
What the first column lacks was lost when the text became doubles; for SmLs07 4.4 digits are all that doubles allow.
"""
PUBLISHED_OPENING = """
Tests, families, factors, mean squares and what the tester is judged by (`tests/reference/against_published.py`): digits
as above; what the other side itself can give stands in brackets.
"""
PRINTED_OPENING = """
Printed tables: how many of their values ours round to. The three one-sided tolerance factors that differ (for 7, 8
and 9 values), two of Grubbs's limits and one constant for values in their order were recalled one or two units of the
last digit off; there the exact value counts.
"""


def r_table() -> Iterator[str]:
    """One row a quantity, one column a data set."""
    found = {name: {key: one for part in PARTS for key, one in comparisons(name, part).items()} for name in CASES}
    quantities = dict.fromkeys(key for name in ("oats", *CASES) for key in found[name])
    yield f"| against R | {' | '.join(CASES)} |"
    yield f"| --- |{' ---: |' * len(CASES)}"
    for quantity in quantities:
        cells = (str(int(found[name][quantity].digits)) if quantity in found[name] else "" for name in CASES)
        yield f"| {quantity} | {' | '.join(cells)} |"


def nist_table() -> Iterator[str]:
    """One row a data set."""
    yield "| against NIST | F, certified | F, doubles allow | `anova`, exact | `fit_mixed`, exact |"
    yield "| --- | ---: | ---: | ---: | ---: |"
    for name in against_nist.SETS:
        ours, exact, certified = (of(name) for of in (against_nist.ours, against_nist.exact, against_nist.certified))
        fit = against_nist.fitted(name)
        mixed = {"residual_sd": float(fit.optimum.variances[0] ** 0.5), "F": float(fit.terms().f[0])}
        cells = (
            against_nist.digits(ours["F"], certified["F"]),
            against_nist.digits(exact["F"], certified["F"]),
            min(against_nist.digits(ours[key], exact[key]) for key in exact),
            min(against_nist.digits(value, exact[key]) for key, value in mixed.items()),
        )
        yield f"| {name} | {' | '.join(f'{cell:.1f}' for cell in cells)} |"


def published_table() -> Iterator[str]:
    """One row a quantity of a case."""
    yield "| case | quantity | source | digits |"
    yield "| --- | --- | --- | ---: |"
    for one in (one for part in against_published.PARTS for one in against_published.comparisons(part)):
        yield f"| {one.comparison.case} | {one.comparison.quantity} | {one.source} | {int(one.comparison.digits)} |"


def printed_table() -> Iterator[str]:
    """One row a table."""
    yield "| printed table | source | values | agree as printed |"
    yield "| --- | --- | ---: | ---: |"
    for one in against_published.printed_tables():
        yield f"| {one.table} | {one.source} | {len(one.ours)} | {one.agree} |"


def section() -> str:
    """The whole section, heading included."""
    parts = [OPENING, *r_table(), PUBLISHED_OPENING, *published_table(), NIST_OPENING, *nist_table()]
    return "\n".join([HEADING, *parts, PRINTED_OPENING, *printed_table(), ""])


def replaced(text: str, new: str) -> str:
    """Put the section in the place of the old one, or at the end."""
    if HEADING not in text:
        return f"{text.rstrip()}\n\n{new}"
    before, _, rest = text.partition(HEADING)
    _, mark, after = rest.partition("\n## ")
    return f"{before}{new}{mark}{after}"


if __name__ == "__main__":
    made = section()
    if "--print" in sys.argv[1:]:
        print(made)
    else:
        page = ROOT / "DEVELOPERS.md"
        page.write_text(replaced(page.read_text(encoding="utf-8"), made), encoding="utf-8")
