"""How results show themselves in a notebook cell and on a terminal.

Each result is told once, as blocks (`told.py`); the two outputs are made from the same blocks. Here it is said
which words belong to which result.
"""

from __future__ import annotations

from collections.abc import Iterator

from sharpstats.claims.finding import Finding, Findings
from sharpstats.claims.fragility import Fragility
from sharpstats.claims.resolving import Resolution
from sharpstats.model.controls import Drift
from sharpstats.model.mixed import MixedFit
from sharpstats.model.result import Components, Estimates, Terms
from sharpstats.model.trialfit import TrialFit
from sharpstats.tester.agreement import Agreement
from sharpstats.tester.bootstrap import Bootstrap
from sharpstats.tester.budget import Budget
from sharpstats.tester.drift import Stability
from sharpstats.tester.examine import Examination
from sharpstats.tester.line import Force
from sharpstats.tester.lots import LotSteps
from sharpstats.tester.masses import Calibration
from sharpstats.tester.rounding import Rounding
from sharpstats.tester.roundrobin import RoundRobin
from sharpstats.tester.smallest import CutsNeeded, Smallest
from sharpstats.tester.spreads import Spreads
from sharpstats.tester.study import TesterStudy
from sharpstats.tester.wear import Wear
from sharpstats.trial.trial import Trial
from sharpstats.words.blocks import COLUMNS, Block, Heading, Line, Points, Table, to_html, to_text
from sharpstats.words.fragility import fragility_blocks
from sharpstats.words.numbers import level_percent, p_value
from sharpstats.words.onfindings import finding_blocks, findings_blocks
from sharpstats.words.onfit import METHODS, adjusted_forms, mixed_fit_blocks, notes_blocks, trial_fit_blocks
from sharpstats.words.ontrial import trial_blocks
from sharpstats.words.passage import Passage
from sharpstats.words.resolving import resolution_blocks
from sharpstats.words.tables import Form, label
from sharpstats.words.tester.agreement import agreement_blocks
from sharpstats.words.tester.budget import budget_blocks
from sharpstats.words.tester.drift import stability_blocks
from sharpstats.words.tester.examination import examination_blocks
from sharpstats.words.tester.lots import lot_blocks
from sharpstats.words.tester.masses import calibration_blocks, force_blocks
from sharpstats.words.tester.rounding import rounding_blocks
from sharpstats.words.tester.roundrobin import round_robin_blocks
from sharpstats.words.tester.smallest import cuts_blocks, smallest_blocks
from sharpstats.words.tester.spreads import bootstrap_blocks, spreads_blocks
from sharpstats.words.tester.study import study_blocks
from sharpstats.words.tester.wear import wear_blocks
from sharpstats.words.told import blocks

ADJUSTED = {
    "none": "each by itself", "tukey": "Tukey, all pairs", "dunnett": "Dunnett, against one", "holm": "Holm",
}  # fmt: skip


blocks.register(Trial, trial_blocks)
blocks.register(TesterStudy, study_blocks)
blocks.register(Budget, budget_blocks)
blocks.register(Calibration, calibration_blocks)
blocks.register(Force, force_blocks)
blocks.register(Examination, examination_blocks)
blocks.register(Stability, stability_blocks)
blocks.register(LotSteps, lot_blocks)
blocks.register(Wear, wear_blocks)
blocks.register(Resolution, resolution_blocks)
blocks.register(Rounding, rounding_blocks)
blocks.register(Agreement, agreement_blocks)
blocks.register(RoundRobin, round_robin_blocks)
blocks.register(Spreads, spreads_blocks)
blocks.register(Bootstrap, bootstrap_blocks)
blocks.register(Smallest, smallest_blocks)
blocks.register(CutsNeeded, cuts_blocks)
blocks.register(TrialFit, trial_fit_blocks)
blocks.register(Findings, findings_blocks)
blocks.register(Finding, finding_blocks)
blocks.register(Fragility, fragility_blocks)
blocks.register(MixedFit, mixed_fit_blocks)


@blocks.register
def _(result: Passage) -> Iterator[Block]:
    yield Heading(result.heading)
    for paragraph in result.paragraphs:
        yield Line(paragraph)
    if result.points:
        yield Points(result.points)


@blocks.register
def _(result: Components) -> Iterator[Block]:
    limits = f"{level_percent(result.level)} intervals of the SD ({result.method})"
    yield Table(result.table, f"Components of the variance, with {limits}")
    yield from notes_blocks(result.notes)


@blocks.register
def _(result: Estimates) -> Iterator[Block]:
    adjusted = f", {ADJUSTED.get(result.adjust, result.adjust)}" if result.kind == "contrasts" else ""
    method = METHODS.get(result.method, result.method)
    caption = f"{result.kind.capitalize()} on the scale of the fit{adjusted} (df after {method})"
    yield Table(result.table, caption, adjusted_forms(result.table, result.kind.removesuffix("s")))
    yield from notes_blocks(result.notes)


@blocks.register
def _(result: Drift) -> Iterator[Block]:
    columns = (label("edge", "control edge"), Form("place in the order", lambda row: f"{row['order']:g}", number=True),
               Form("mean reading", lambda row: f"{row['reading']:.3g}", number=True))  # fmt: skip
    yield Table(result.table, f"Control edges (change over the trial: {p_value(result.p)})", columns)


@blocks.register
def _(result: Terms) -> Iterator[Block]:
    yield Table(result.table, f"F tests (degrees of freedom after {METHODS.get(result.method, result.method)})")
    yield from notes_blocks(result.notes)


def as_html(result: object) -> str:
    """Return a result as HTML for a notebook cell; every text in it is escaped.

    Examples
    --------
    >>> from sharpstats.words.cautions import safety
    >>> as_html(safety())[:23]
    '<div class="ss-result">'
    """
    return to_html(tuple(blocks(result)))


def as_text(result: object, width: int = COLUMNS) -> str:
    """Return a result as plain text for a terminal of so many columns.

    Examples
    --------
    >>> from sharpstats.words.passage import Passage
    >>> print(as_text(Passage("To mind", ("Mind your fingers.",))))
    To mind
    Mind your fingers.
    """
    return to_text(tuple(blocks(result)), width)
