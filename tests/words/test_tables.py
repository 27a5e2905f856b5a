"""Tables as HTML and as text: headings with units, rounding, scopes, and labels that stay labels."""

from __future__ import annotations

import math
from html.parser import HTMLParser

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sharpstats.words.labels import cell_width
from sharpstats.words.numbers import NBSP
from sharpstats.words.tables import Form, forms, html_table, label, limits, number, safe, text_table, whole


class Cells(HTMLParser):
    """Collects the caption and, row by row, the text of the cells."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.rows: list[list[str]] = []
        self.caption = ""
        self._open: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._open.append(tag)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "caption" in self._open:
            self.caption += data
        elif {"td", "th"} & set(self._open):
            self.rows[-1][-1] += data.replace(NBSP, " ")


def means() -> pd.DataFrame:
    return pd.DataFrame({
        "term": ["slate", "film"], "estimate": [5.0214, 4.8512], "se": [0.031, 0.029], "df": [8.62, 11.0],
        "low": [4.95, 4.78], "high": [5.092, 4.923], "level": [0.95, 0.95], "edges": [16, 1250],
    })  # fmt: skip


def test_a_results_table_is_shown_by_its_columns() -> None:
    found = Cells(html_table(means(), "Means", forms(means(), "gf", "medium")))
    assert found.caption == "Means"
    assert found.rows == [
        ["medium", "estimate, gf", "95 % interval, gf", "standard error, gf", "df", "edges"],
        ["slate", "5.021", "4.950 to 5.092", "0.031", "8.6", "16"],
        ["film", "4.851", "4.780 to 4.923", "0.029", "11", "1,250"],
    ]


def test_headings_and_row_names_have_their_scope() -> None:
    tags = Cells(html_table(means(), "Means")).tags
    assert [attrs["scope"] for tag, attrs in tags if tag == "th"] == ["col"] * 6 + ["row"] * 2
    assert [tag for tag, _ in tags].count("caption") == 1


def test_levels_that_differ_stand_in_the_cells() -> None:
    frame = means().assign(level=[0.95, 0.9875])
    form = limits(frame, 1, "gf")
    assert form.heading == "interval (level), gf"
    assert [form.text(row).replace(NBSP, " ") for row in frame.to_dict("records")] == [
        "5.0 to 5.1 (95 %)",
        "4.8 to 4.9 (98.75 %)",
    ]


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [(1.0, math.inf, "1.0 to unlimited"), (math.nan, 2.0, "unknown"), (-0.01, 2.0, "0.0 to 2.0")],
)
def test_limits_that_are_no_plain_numbers(low: float, high: float, text: str) -> None:
    frame = pd.DataFrame({"low": [low], "high": [high], "level": [0.9]})
    assert limits(frame, 1).text(frame.iloc[0].to_dict()) == text


@pytest.mark.parametrize(
    ("column", "values", "texts"),
    [
        ("p", [0.0496, 1e-9, math.nan], ["0.0496", "< 0.001", "unknown"]),
        ("df", [8.62, math.inf, math.nan], ["8.6", "unlimited", "unknown"]),
        ("share", [38.4, 0.2, 100.0], ["38", "0", "100"]),
        ("sd", [0.0781, 0.0, 0.0148], ["0.0781", "0.0000", "0.0148"]),
        ("f", [45.754, 0.8913, math.nan], ["45.75", "0.8913", "unknown"]),
        ("anything", [1250, 2, 3], ["1,250", "2", "3"]),
    ],
)
def test_each_column_has_its_rounding(column: str, values: list[float], texts: list[str]) -> None:
    frame = pd.DataFrame({"term": list("abc"), column: values})
    assert [row[1] for row in Cells(html_table(frame, "c")).rows[1:]] == texts


def test_the_other_factor_has_a_column_only_where_it_says_something() -> None:
    frame = means()
    assert "at" not in [form.heading for form in forms(frame.assign(at=""))]
    assert "at" in [form.heading for form in forms(frame.assign(at=["", "stainless"]))]


def test_a_table_of_coefficients_has_six_columns_at_most() -> None:
    frame = means().assign(statistic=1.0, p=0.04).drop(columns="edges")
    assert [form.heading for form in forms(frame)][2:] == ["95\u00a0% interval", "standard error", "df", "p"]


@pytest.mark.parametrize(
    ("text", "html"),
    [
        ("<script>", "&lt;script&gt;"), ("a & b", "a &amp; b"), ("\"'", "&quot;&#x27;"), ("two\nlines", "two lines"),
        ("$x$", "<span>$</span>x<span>$</span>"), ("\\(x\\)", "<span>\\</span>(x<span>\\</span>)"),
    ],
)  # fmt: skip
def test_safe(text: str, html: str) -> None:
    assert safe(text) == html


@given(st.text())
def test_any_text_comes_out_as_letters(text: str) -> None:
    found = Cells(html_table(pd.DataFrame({"term": [text]}), text))
    assert {tag for tag, _ in found.tags} <= {"div", "table", "caption", "thead", "tbody", "tr", "th", "span"}


def test_a_long_label_is_cut_on_the_page_and_whole_behind_it() -> None:
    found = Cells(html_table(pd.DataFrame({"term": ["<" * 300]}), "c"))
    assert found.rows[1][0] == "<" * 99 + "…"
    assert [attrs["title"] for tag, attrs in found.tags if "title" in attrs][-1] == "<" * 300


def test_text_table_lines_up_wide_signs() -> None:
    frame = pd.DataFrame({"term": ["砥石", "film"], "edges": [16, 8]})
    lines = text_table(frame, "Edges", (label("term", "medium"), whole("edges"))).splitlines()
    assert lines == ["Edges", "medium  edges", "砥石       16", "film        8"]


@pytest.mark.parametrize("columns", [1, 2, 6])
def test_text_table_is_no_wider_than_a_terminal(columns: int) -> None:
    names = [f"c{i}" for i in range(columns)]
    frame = pd.DataFrame({name: ["x" * 300, "short"] for name in names})
    lines = text_table(frame, "", [label(name, name) for name in names]).splitlines()
    assert max(map(cell_width, lines)) <= 100
    assert "…" in lines[1]


def test_own_forms_decide_columns_and_order() -> None:
    frame = means()
    columns: tuple[Form, ...] = (label("term", "medium"), number("estimate", "log reading", 1))
    assert Cells(html_table(frame, "c", columns)).rows[1] == ["slate", "5.0"]


def test_an_empty_frame_has_headings_and_no_rows() -> None:
    assert len(Cells(html_table(means().iloc[:0], "c")).rows) == 1
