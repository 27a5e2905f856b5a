"""What each result says of itself, as HTML and as text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hostile import ALL

from sharpstats.claims.finding import Finding, Findings
from sharpstats.model.trialfit import TrialFit
from sharpstats.notes import Note
from sharpstats.words.display import as_html, as_text
from sharpstats.words.labels import one_line
from sharpstats.words.numbers import NBSP
from sharpstats.words.passage import Passage

PARTS: dict[str, Callable[[Findings], Any]] = {
    "trial": lambda found: found.trial,
    "fit": lambda found: found.fit,
    "findings": lambda found: found,
    "finding": lambda found: found.findings[0],
    "mixed fit": lambda found: found.fit.mixed,
    "components": lambda found: found.fit.components,
    "means": lambda found: found.fit.means,
    "contrasts": lambda found: found.fit.contrasts,
    "terms": lambda found: found.fit.mixed.terms(),
    "diagnostics": lambda found: found.fit.diagnostics,
    "drift": lambda found: found.fit.drift,
    "welch": lambda found: found.fit.welch,
    "scale profile": lambda found: found.fit.diagnostics.scale_profile,
}
ALLOWED = {
    "div", "p", "span", "strong", "ul", "li", "table", "caption", "thead", "tbody", "tr", "th", "td", "details",
    "summary",
}  # fmt: skip


class Reader(HTMLParser):
    """Collects tags, attributes and visible text; refuses what does not close."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.text = ""
        self._open: list[str] = []
        self.feed(page)
        assert not self._open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}
        self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.mark.parametrize("part", PARTS)
def test_every_result_of_the_demo_shows_itself(judged: Findings, part: str) -> None:
    result = PARTS[part](judged)
    found = Reader(result._repr_html_())
    assert found.tags <= ALLOWED
    assert found.attributes <= {"class", "style", "scope", "title", "aria-hidden"}
    lines = str(result).splitlines()
    assert max(map(len, lines)) <= 100
    assert as_text(result) == str(result)


@pytest.mark.parametrize("part", [part for part in PARTS if part != "drift"])
def test_hostile_labels_stay_letters(hostile: Findings, part: str) -> None:
    result = PARTS[part](hostile)
    found = Reader(as_html(result))
    assert found.tags <= ALLOWED
    assert not any(name.startswith("on") for name in found.attributes)
    assert not any(ord(sign) < 32 and sign != "\n" for sign in as_text(result))


def test_hostile_titles_and_claims_are_shown_as_they_were_written(hostile: Findings) -> None:
    trial = Reader(as_html(hostile.trial)).text
    assert one_line(hostile.trial.plan.title) in trial
    claims = Reader(as_html(hostile)).text
    assert all(one_line(finding.says) in claims for finding in hostile.findings)
    assert any(one_line(label) in trial for label in ALL)


def test_a_trial_says_what_was_read_and_what_is_next(judged: Findings) -> None:
    trial, text = judged.trial, as_text(judged.trial).replace(NBSP, " ")
    counts = trial.counts
    whole = " ".join(text.split())
    assert text.startswith(trial.plan.title)
    assert f"{counts['read']} rows read: {counts['used']} used, {counts['set_aside']} set aside." in whole
    assert f"{counts['edges']} edges to compare, {counts['control_edges']} control edges." in whole
    assert "The readings of this trial are invented." in text
    assert f"trial.judge() judges its {len(trial.plan.claims)} claims." in whole
    assert all(f"row {row}," in text for row in trial.set_aside["row"])
    assert all(one_line(note) in whole for note in trial.cautions)


def test_a_fit_gives_means_in_the_unit_and_in_the_order_of_the_plan(judged: Findings) -> None:
    text = as_text(judged.fit).replace(NBSP, " ")
    block = text.split("Mean of each medium\n")[1].split("\n\n")[0].splitlines()
    assert block[0].split("  ")[0] == "medium" and "mean reading, gf" in block[0] and "95 % interval, gf" in block[0]
    assert [line.split("  ")[0] for line in block[1:]] == list(judged.trial.plan.factors["medium"])
    readings = judged.fit.readings.set_index("term")["estimate"]
    assert [line.split()[-6] if "to" in line else "" for line in block[1:]] == [
        f"{readings[medium].iloc[0]:.0f}" for medium in judged.trial.plan.factors["medium"]
    ]
    assert "SD, %" in text and "The same at each steel" in text
    assert all(one_line(note) in " ".join(text.split()) for note in judged.fit.notes)


def spread_lines(fit: TrialFit) -> list[str]:
    """The table of spreads, its heading first."""
    text = as_text(fit).replace(NBSP, " ")
    return text.split("Where the spread comes from\n")[1].split("\n\n")[0].splitlines()


def test_a_balanced_layout_shows_limits_by_mean_squares_beside_the_others(balanced: TrialFit) -> None:
    heading, *rows = spread_lines(balanced)
    assert heading.split("  ")[-2].strip() == "by mean squares"
    table = balanced.mean_squares.components.table
    percent = 100 * np.expm1(table[["low", "high"]].to_numpy())
    for line, (low, high), term in zip(rows, percent, table["term"], strict=True):
        assert line.startswith(term)
        assert f"  {low:.0f} to {high:.0f}  " in line


def test_a_layout_without_balance_does_not(judged: Findings) -> None:
    assert "mean squares" not in spread_lines(judged.fit)[0]


def test_findings_are_one_card_each_and_end_with_what_they_do_not_say(judged: Findings) -> None:
    html = as_html(judged)
    assert html.count('class="ss-card') == len(judged.findings)
    text = as_text(judged)
    assert text.index("How to read this") < text.index("What this does not say")
    outcomes = [finding.finding for finding in judged.findings]
    assert f"{outcomes.count('shown')} shown" in text.splitlines()[0]
    assert "these pieces" not in text and "The pieces, not their kinds" in text


def test_a_single_finding_shows_its_card(make_finding: Callable[..., Finding]) -> None:
    finding = make_finding("same", "shown", 4.0, -2.0, 10.0)
    assert as_text(finding).splitlines()[1].startswith("  shown         the same to within your")


@dataclass(frozen=True)
class FutureResult:
    """A result of a kind that nobody has written words for."""

    table: pd.DataFrame
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True)
class Bare:
    """A result without a table."""

    notes: tuple[Note, ...] = field(default=(Note("a", "Mind this."),))


def test_a_result_without_words_shows_its_table_and_notes() -> None:
    result = FutureResult(pd.DataFrame({"term": ["a"], "estimate": [1.5]}), (Note("x", "A note."),) * 2)
    lines = as_text(result).splitlines()
    assert lines == ["Future result", "term  estimate", "a         1.50", "", "To mind", "- A note."]


def test_a_result_without_a_table_shows_its_notes() -> None:
    assert as_text(Bare()).splitlines() == ["Bare", "", "To mind", "- Mind this."]


def test_a_passage() -> None:
    passage = Passage("Heading", ("A paragraph.",), ("A point.",))
    assert str(passage) == "Heading\nA paragraph.\n- A point."
    assert Reader(passage._repr_html_()).text == "HeadingA paragraph.A point."
