"""Tables of results for a page and for a terminal: captions, units in the headings, stated rounding.

A table shows at most about six columns, so that it fits a phone turned sideways: the limits of an
interval and its level are one column. The whole frame stays at hand as `.table`.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import pandas as pd

from sharpstats.columns import RESULTS
from sharpstats.words.labels import cell_width, clip, one_line
from sharpstats.words.numbers import UNKNOWN, df_number, fixed, level_percent, p_number

Row = Mapping[str, Any]

HEADINGS = {
    "term": "", "at": "at", "sd": "SD", "se": "standard error", "df": "df", "df1": "df", "df2": "df of the error",
    "f": "F", "p": "p", "statistic": "t", "sum_of_squares": "sum of squares", "mean_square": "mean square",
}  # fmt: skip
LONGEST_CELL = 100
"""Longer labels are cut on a page, and whole where one points at them."""
WIDEST = 100
"""Columns of a terminal that a table may take."""
NARROWEST = 12
_SENTENCES = {column.name: column.sentence for column in RESULTS}
_WIDE = "overflow-x:auto;margin:0 0 1rem"
_TABLE = "border-collapse:collapse;font-variant-numeric:tabular-nums;margin:0"
_CAPTION = "caption-side:top;text-align:left;padding:0 0 .3rem;opacity:.8"
_CELL = (
    "text-align:{side};vertical-align:top;padding:.25rem .9rem .25rem 0;border-bottom:1px solid rgba(128,128,128,.35)"
)
_LABEL = "font-weight:normal;min-width:5rem;max-width:22rem;overflow-wrap:anywhere;white-space:normal"


@dataclass(frozen=True, slots=True)
class Form:
    """How one column of a table is shown.

    Attributes
    ----------
    heading : str
        With the unit, where there is one.
    text : callable
        Takes a row (a mapping from column names to values), gives the cell's text.
    number : bool
        Whether cells stand at the right.
    about : str
        A sentence that says what the column holds.
    """

    heading: str
    text: Callable[[Row], str]
    number: bool = False
    about: str = ""


def label(name: str, heading: str = "") -> Form:
    """Show a column of labels.

    Examples
    --------
    >>> label("term", "medium").text({"term": "slate"})
    'slate'
    """
    return Form(heading, lambda row: one_line(row[name]), about=_SENTENCES.get(name, ""))


def number(name: str, heading: str, decimals: int) -> Form:
    """Show a column of numbers with so many decimals.

    Examples
    --------
    >>> number("estimate", "estimate, gf", 1).text({"estimate": 152.04})
    '152.0'
    """
    return Form(heading, lambda row: fixed(row[name], decimals), number=True, about=_SENTENCES.get(name, ""))


def whole(name: str, heading: str = "") -> Form:
    """Show a column of counts.

    Examples
    --------
    >>> whole("edges").text({"edges": 1250})
    '1,250'
    """
    return Form(heading or name, lambda row: f"{int(row[name]):,}", number=True, about=_SENTENCES.get(name, ""))


def limits(frame: pd.DataFrame, decimals: int, unit: str = "") -> Form:
    r"""Show `low`, `high` and `level` in one column; a level that is common to all stands in the heading.

    Examples
    --------
    >>> frame = pd.DataFrame({"low": [141.2], "high": [160.4], "level": [0.95]})
    >>> form = limits(frame, 0, "gf")
    >>> form.heading, form.text(frame.iloc[0])
    ('95\xa0% interval, gf', '141 to 160')
    """
    levels = frame["level"].unique()
    common = len(levels) == 1
    heading = f"{level_percent(float(levels[0]))} interval" if common else "interval (level)"

    def text(row: Row) -> str:
        ends = [_end(row[name], decimals) for name in ("low", "high")]
        if UNKNOWN in ends:
            return UNKNOWN
        return f"{ends[0]} to {ends[1]}" + ("" if common else f" ({level_percent(float(row['level']))})")

    return Form(_with_unit(heading, unit), text, number=True, about="Lower and upper limit of the interval.")


def _end(value: float, decimals: int) -> str:
    return "unlimited" if math.isinf(value) else fixed(value, decimals)


def _with_unit(heading: str, unit: str) -> str:
    return f"{heading}, {unit}" if unit else heading


def forms(frame: pd.DataFrame, unit: str = "", first: str = "") -> tuple[Form, ...]:
    r"""Decide how the columns of a result's table are shown.

    Parameters
    ----------
    frame : DataFrame
        A result's `.table`, with columns of `columns.RESULTS`.
    unit : str
        Unit of estimates and intervals; empty: the scale of the fit, which has no unit to name.
    first : str
        Heading of the column `term`.

    Examples
    --------
    >>> frame = pd.DataFrame({"term": ["slate"], "estimate": [5.02], "low": [4.9], "high": [5.1], "level": [0.95]})
    >>> [form.heading for form in forms(frame, first="medium")]
    ['medium', 'estimate', '95\xa0% interval']
    """
    decimals = _decimals(frame)
    hidden = {"low", "high", "level", "variance"} | ({"statistic"} if "estimate" in frame else set())
    hidden |= set() if any(frame.get("at", ())) else {"at"}
    shown = [_form(name, decimals, unit, first) for name in frame.columns if name not in hidden]
    if {"low", "high", "level"} <= set(frame.columns):
        place = next((i + 1 for i, name in enumerate(_kept(frame, hidden)) if name in ("estimate", "sd")), len(shown))
        shown.insert(place, limits(frame, decimals, unit))
    return tuple(shown)


def _kept(frame: pd.DataFrame, hidden: set[str]) -> list[str]:
    return [name for name in frame.columns if name not in hidden]


def _form(name: str, decimals: int, unit: str, first: str) -> Form:
    heading = (first if name == "term" else HEADINGS.get(name, name.replace("_", " "))) or name
    about = _SENTENCES.get(name, "")
    if name in ("p",):
        return Form(heading, lambda row: p_number(row[name]), number=True, about=about)
    if name in ("df", "df1", "df2"):
        return Form(heading, lambda row: df_number(row[name]), number=True, about=about)
    if name == "share":
        return Form("share of the variance, %", lambda row: fixed(row[name]), number=True, about=about)
    if name in ("estimate", "sd", "se"):
        return number(name, _with_unit(heading, unit), decimals)
    return Form(heading, lambda row: _anything(row[name]), number=name not in ("term", "at"), about=about)


def _anything(value: Any) -> str:
    """Return a cell of a column that has no rule of its own."""
    if isinstance(value, str):
        return one_line(value)
    if value is None or pd.isna(value):
        return UNKNOWN
    return f"{value:,}" if isinstance(value, int) else f"{value:.4g}"


def _decimals(frame: pd.DataFrame) -> int:
    """Return decimals that leave three digits of the typical interval, or of the typical number."""
    if {"low", "high"} <= set(frame.columns):
        sizes = (frame["high"] - frame["low"]).abs()
    else:
        names = [name for name in ("estimate", "sd", "se") if name in frame.columns]
        sizes = pd.Series(frame[names].abs().to_numpy().ravel())
    sizes = sizes[(sizes > 0) & sizes.map(math.isfinite)]
    return min(max(2 - math.floor(math.log10(float(sizes.median()))), 0), 9) if len(sizes) else 3


def html_table(frame: pd.DataFrame, caption: str, columns: Sequence[Form] = ()) -> str:
    """Write a table as HTML: caption, scopes, every text escaped.

    Parameters
    ----------
    frame : DataFrame
    caption : str
        What the table shows, as a phrase.
    columns : sequence of Form
        The columns, the first of which names the row; left out: as `forms` decides.

    Returns
    -------
    str
    """
    columns = columns or forms(frame)
    rows = _rows(frame)
    head = "".join(_heading_cell(form) for form in columns)
    body = "".join(
        f"<tr>{''.join(_cell(form, row, first=i == 0) for i, form in enumerate(columns))}</tr>" for row in rows
    )
    return (
        f'<div class="ss-wide" style="{_WIDE}"><table class="ss-table" style="{_TABLE}">'
        f'<caption style="{_CAPTION}">{safe(caption)}</caption>'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _rows(frame: pd.DataFrame) -> list[Row]:
    return [dict(zip(frame.columns, row, strict=True)) for row in frame.itertuples(index=False, name=None)]


def _heading_cell(form: Form) -> str:
    about = f' title="{escape(form.about)}"' if form.about else ""
    return f'<th scope="col"{about} style="{_CELL.format(side=_side(form))}">{safe(form.heading)}</th>'


def _cell(form: Form, row: Row, *, first: bool) -> str:
    style, text = _CELL.format(side=_side(form)), one_line(form.text(row))
    shown, whole_text = safe(clip(text, LONGEST_CELL)), ""
    if len(text) > LONGEST_CELL:
        whole_text = f' title="{escape(text)}"'
    if first:
        return f'<th scope="row"{whole_text} style="{style};{_LABEL};min-width:7rem">{shown}</th>'
    return f'<td{whole_text} style="{style};{"white-space:nowrap" if form.number else _LABEL}">{shown}</td>'


def _side(form: Form) -> str:
    return "right" if form.number else "left"


def safe(text: object) -> str:
    """Return a text as HTML letters: no markup, no formula, on one line.

    Examples
    --------
    >>> safe('<script>alert("$x$")</script>')
    '&lt;script&gt;alert(&quot;<span>$</span>x<span>$</span>&quot;)&lt;/script&gt;'
    """
    escaped = escape(one_line(text))
    return escaped.replace("$", "<span>$</span>").replace("\\", "<span>\\</span>")


def text_table(frame: pd.DataFrame, caption: str = "", columns: Sequence[Form] = ()) -> str:
    """Write a table for a terminal; long labels are cut.

    Parameters
    ----------
    frame : DataFrame
    caption : str
        Stands above the table.
    columns : sequence of Form
        As for `html_table`.

    Examples
    --------
    >>> frame = pd.DataFrame({"term": ["slate", "film"], "edges": [16, 8]})
    >>> print(text_table(frame, "Edges made", [label("term", "medium"), whole("edges")]))
    Edges made
    medium  edges
    slate      16
    film        8
    """
    columns = columns or forms(frame)
    rows = _rows(frame)
    cells = _narrowed([[form.heading, *map(form.text, rows)] for form in columns])
    widths = [max(map(cell_width, column)) for column in cells]
    lines = [
        "  ".join(_padded(text, width, form) for text, width, form in zip(line, widths, columns, strict=True)).rstrip()
        for line in zip(*cells, strict=True)
    ]
    return "\n".join([*textwrap.wrap(one_line(caption), 100), *lines])


def _narrowed(cells: list[list[str]]) -> list[list[str]]:
    """Cut the widest columns until the table fits the terminal."""
    widths = [max(map(cell_width, column)) for column in cells]
    while sum(widths) + 2 * (len(widths) - 1) > WIDEST and max(widths) > NARROWEST:
        others = sorted(widths)[-2] if len(widths) > 1 else NARROWEST
        excess = sum(widths) + 2 * (len(widths) - 1) - WIDEST
        widest = widths.index(max(widths))
        widths[widest] = max(min(others, widths[widest] - 1), widths[widest] - excess, NARROWEST)
    return [[clip(text, width) for text in column] for column, width in zip(cells, widths, strict=True)]


def _padded(text: str, width: int, form: Form) -> str:
    space = " " * (width - cell_width(text))
    return f"{space}{text}" if form.number else f"{text}{space}"
