"""How fits show themselves: means in the trial's unit, where the spread comes from, what to mind."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import pandas as pd

from sharpstats.model.mixed import MixedFit
from sharpstats.model.trialfit import MEDIUM, TrialFit
from sharpstats.notes import Note
from sharpstats.words.blocks import Block, Folded, Heading, Line, Points, Table
from sharpstats.words.drift import drift_sentence
from sharpstats.words.labels import clip
from sharpstats.words.numbers import count, decimals_for, df_number, fixed, from_scale, level_percent, p_number, unit_on
from sharpstats.words.tables import Form, forms, label, limits, number, whole

DF = Form("df", lambda row: df_number(row["df"]), number=True)
P = Form("p", lambda row: p_number(row["p"]), number=True)
METHODS = {"kenward-roger": "Kenward and Roger", "satterthwaite": "Satterthwaite"}


def trial_fit_blocks(fit: TrialFit) -> Iterator[Block]:
    """Tell the fit of a trial."""
    edges = count(int(fit.data["edge"].nunique()), "edge")
    cuts = count(fit.cuts, "cut")
    yield Line(f'{edges} with {cuts} compared, on the scale "{fit.scale}". A lower reading is a keener edge.')
    yield from _means(fit)
    yield _spread(fit)
    if sentence := drift_sentence(fit):
        yield Line(sentence)
    yield from notes_blocks([*fit.notes, *fit.diagnostics.notes])
    if MEDIUM in fit.mixed.frame.fixed_factors:
        yield Folded("All differences between media", (_differences(fit),))
    yield Folded("Tests of the model", tuple(_tests(fit)))


def _means(fit: TrialFit) -> Iterator[Table]:
    """Show the means in the trial's unit, over the other factors and at each of their levels."""
    if MEDIUM not in fit.mixed.frame.fixed_factors:
        return
    table = _as_planned(fit, fit.readings)
    unit = fit.trial.plan.unit
    digits = decimals_for(float((table["high"] - table["low"]).median()), unit)
    at = table["at"] if "at" in table else pd.Series("", index=table.index)
    counted = (whole("edges"), whole("cuts"))
    shown = (number("estimate", f"mean reading, {unit}", digits), limits(table, digits, unit), *counted)
    yield Table(table[at == ""], "Mean of each medium", (label("term", MEDIUM), *shown))
    if (at != "").any():
        others = " or ".join(clip(name, 30) for name in fit.mixed.frame.fixed_factors if name != MEDIUM)
        yield Table(table[at != ""], f"The same at each {others}", (label("term", MEDIUM), label("at", others), *shown))


def _as_planned(fit: TrialFit, table: pd.DataFrame) -> pd.DataFrame:
    """Put the media in the order of the plan, within each level of another factor."""
    order = {medium: place for place, medium in enumerate(fit.trial.plan.factors[MEDIUM])}
    at = table["at"] if "at" in table else pd.Series("", index=table.index)
    blocks = pd.Series(pd.factorize(at)[0], index=table.index)
    keys = pd.DataFrame({"at": blocks, "medium": table["term"].map(order)})
    return table.loc[keys.sort_values(["at", "medium"]).index]


def _spread(fit: TrialFit) -> Table:
    """Show standard deviations as percentages on the log scale."""
    shown = _from_scale(fit, fit.components.table, "sd")
    unit = unit_on(fit.scale, fit.unit)
    digits = decimals_for(float(shown["sd"].median()), unit)
    columns = [label("term", "between"), number("sd", f"SD, {unit}", digits), limits(shown, digits, unit)]
    if fit.mixed.strata is not None:
        columns.append(_by_mean_squares(fit, digits))
    columns.append(Form("share of the variance, %", lambda row: fixed(row["share"]), number=True))
    return Table(shown, "Where the spread comes from", tuple(columns))


def _by_mean_squares(fit: TrialFit, digits: int) -> Form:
    """Show the limits that a balanced layout's mean squares give, beside the likelihood's."""
    beside = _from_scale(fit, fit.mean_squares.components.table, "sd")
    form = limits(beside, digits, unit_on(fit.scale, fit.unit))
    texts = {row["term"]: form.text({str(name): value for name, value in row.items()})
             for row in beside.to_dict("records")}  # fmt: skip
    return replace(form, heading="by mean squares", text=lambda row: texts[row["term"]],
                   about="The same interval from mean squares, by the modified-large-sample method.")  # fmt: skip


def _from_scale(fit: TrialFit, table: pd.DataFrame, name: str) -> pd.DataFrame:
    """Turn a column and its interval to percentages on the log scale."""
    shown = table.copy()
    for column in (name, "low", "high"):
        shown[column] = [from_scale(value, fit.scale) for value in table[column]]
    return shown


def _differences(fit: TrialFit) -> Table:
    """Show the differences between media as percentages on the log scale."""
    shown, unit = _from_scale(fit, fit.contrasts.table, "estimate"), unit_on(fit.scale, fit.unit)
    digits = decimals_for(float((shown["high"] - shown["low"]).median()), unit)
    higher = number("estimate", f"reads higher by, {unit}", digits)
    columns = (label("term", "difference"), higher, limits(shown, digits, unit), DF, P)
    return Table(shown, "Differences, each by itself (not adjusted for their number)", columns)


def _tests(fit: TrialFit) -> Iterator[Table]:
    if fit.mixed.frame.fixed:
        yield Table(fit.mixed.terms().table, "F tests (degrees of freedom after Kenward and Roger)")
    if fit.welch is not None:
        yield Table(fit.welch.table, "Welch's test on edge means, without the assumption of equal spreads")
    checks = fit.diagnostics.table
    if len(checks):
        value = Form("value", lambda row: f"{row['estimate']:.3g}", number=True)
        yield Table(checks, "Checks of the residuals", (label("term", "check"), value, P))


def mixed_fit_blocks(fit: MixedFit) -> Iterator[Block]:
    """Tell a mixed model."""
    yield Line(
        f"Linear mixed model of {clip(fit.frame.response)} by restricted maximum likelihood: "
        f"{count(fit.reduced.readings, 'reading')}; REML criterion {fixed(fit.reml_criterion, 3)}."
    )
    yield Table(fit.components.table, _caption("Components of the variance", fit.components.level))
    coefficients = fit.coefficients.table
    yield Table(coefficients, "Coefficients, against each factor's first level (Kenward and Roger)")
    yield from notes_blocks(fit.notes)


def _caption(text: str, level: float) -> str:
    return f"{text}, with {level_percent(level)} intervals of the SD"


def notes_blocks(notes: Iterable[Note]) -> Iterator[Block]:
    """Show the notes of a result, each once."""
    texts = tuple(dict.fromkeys(note.text for note in notes))
    if texts:
        yield Heading("To mind")
        yield Points(texts)


def adjusted_forms(frame: pd.DataFrame, first: str) -> tuple[Form, ...]:
    """Show estimates without their standard error where a table would grow too wide."""
    shown = frame.drop(columns=["se"]) if "at" in frame and "p" in frame else frame
    return forms(shown, first=first)
