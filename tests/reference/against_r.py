"""The mixed models that R fitted, fitted again here, and both sides' numbers side by side.

Tests and the table of digits in DEVELOPERS.md read the same comparisons, so that neither can
say what the other does not hold.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reference.stored import stored_json, stored_table
from sharpstats.model import freedom
from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.model.profile import profile_limits
from sharpstats.model.result import Estimates
from sharpstats.model.spec import design_columns

Floats = NDArray[np.float64]
Names = Sequence[str]
Method = Literal["kenward-roger", "satterthwaite"]


@dataclass(frozen=True)
class Case:
    """A stored model: the call that fits it here, and R's names of its components."""

    name: str
    response: str
    fixed: tuple[str | tuple[str, str], ...]
    random: tuple[str | tuple[str, str], ...]

    @property
    def stored(self) -> dict[str, Any]:
        """R's results."""
        return stored_json(f"r/lmm_{self.name}")

    @property
    def data(self) -> pd.DataFrame:
        """The readings."""
        table = stored_table(f"r/lmm_{self.name}")
        return table.assign(log_force=np.log(table["force"])) if "force" in table else table


CASES = {
    case.name: case
    for case in (
        Case("dyestuff", "Yield", (), ("Batch",)),
        Case("penicillin", "diameter", (), ("plate", "sample")),
        Case("oats", "yield", ("nitro", "Variety", ("nitro", "Variety")), ("Block", ("Block", "Variety"))),
        Case("ergostool", "effort", ("Type",), ("Subject",)),
        Case("simtrial_a", "log_force", ("medium",), ("blade", "edge")),
    )
}
OUR_NAMES = {"Variety:Block": "Block x Variety", "Residual": "residual"}


@dataclass(frozen=True)
class Comparison:
    """One quantity of one case, our numbers and theirs.

    The error is relative, or in units of `size` where a number may lie near zero: estimates
    and limits in their standard errors, the criterion as it is.
    """

    case: str
    quantity: str
    ours: Floats
    theirs: Floats
    size: Floats | float | None = None

    @property
    def error(self) -> float:
        """Largest error among the numbers."""
        size = np.abs(self.theirs) if self.size is None else self.size
        return float(np.max(np.abs(self.ours - self.theirs) / size))

    @property
    def digits(self) -> float:
        """Digits that agree, at most 16."""
        return -float(np.log10(max(self.error, 1e-16)))


@lru_cache
def fitted(name: str) -> MixedFit:
    """Our fit of a case."""
    case = CASES[name]
    return fit_mixed(case.data, response=case.response, fixed=case.fixed, random=case.random)


Pieces = Iterator[tuple[str, Any, Any, Any]]
Part = Literal["variances", "coefficients", "terms", "means", "families"]


@lru_cache
def comparisons(name: str, part: Part) -> dict[str, Comparison]:
    """What can be held against R for one part of one case, by quantity; empty where R has none."""
    return {
        quantity: Comparison(name, quantity, np.asarray(ours, float), np.asarray(theirs, float), size)
        for quantity, ours, theirs, size in PARTS[part](CASES[name], fitted(name))
    }


def column(rows: Sequence[Mapping[str, Any]], name: str) -> Floats:
    """One column of a table in a JSON file."""
    return np.array([row[name] for row in rows], dtype=float)


def component_order(case: Case, names: Names) -> list[int]:
    """Place of each of R's components among our variances."""
    structure = fitted(case.name).structure
    ours = [term if isinstance(term, str) else " x ".join(term) for term in case.random] + ["residual"]
    return [structure.positions[ours.index(OUR_NAMES.get(name, name))] for name in names]


def _variances(case: Case, fit: MixedFit) -> Pieces:
    stored, optimum = case.stored, fit.optimum
    order = component_order(case, [row["component"] for row in stored["varcomp"]])
    variances = optimum.variances[order]
    yield "criterion", [fit.reml_criterion], [stored["reml"]["criterion"]], 1.0
    yield "variances", variances, column(stored["varcomp"], "var"), None
    yield "SDs", np.sqrt(variances), column(stored["varcomp"], "sd"), None
    information = stored["information_of_variances"]
    order = component_order(case, information["order"])
    for kind, ours in (("expected", optimum.expected), ("observed", optimum.hessian)):
        theirs = np.array(information[kind])
        size = np.sqrt(np.outer(theirs.diagonal(), theirs.diagonal()))
        yield f"{kind} information", ours[np.ix_(order, order)] / 2, theirs, size
    limits = stored["profile_ci_reml"]
    order = component_order(case, [row["component"] for row in limits])
    ours = np.array([profile_limits(fit.reduced, optimum, place, 0.95) for place in order])
    yield "profile limits of variances", ours.ravel(), np.column_stack(
        [column(limits, "var_lower"), column(limits, "var_upper")]
    ).ravel(), np.repeat(column(limits, "var"), 2)  # fmt: skip


def r_column_name(case: Case, column: Mapping[str, int | None]) -> str:
    """What R calls one of our columns of X."""
    factors = fitted(case.name).frame.factors
    parts = [f"{name}{factors[name].levels[level]}" for name, level in column.items() if level is not None]
    return ":".join(parts) or "(Intercept)"


def coefficient_order(case: Case) -> list[int]:
    """Our column of X for each of R's coefficients."""
    ours = [r_column_name(case, column) for column in design_columns(fitted(case.name).frame)]
    return [ours.index(row["term"]) for row in case.stored["fixed"]]


def _coefficients(case: Case, fit: MixedFit) -> Pieces:
    stored, order = case.stored, coefficient_order(case)
    square = np.ix_(order, order)
    for quantity, ours, theirs in (
        ("unadjusted covariance", fit.fixed.phi, stored["vcov"]),
        ("KR covariance", fit.fixed.adjusted, stored["kenward_roger"]["vcov_adjusted"]),
    ):
        theirs = np.array(theirs["values"])
        yield quantity, ours[square], theirs, np.sqrt(np.outer(theirs.diagonal(), theirs.diagonal()))
    rows = stored["kenward_roger"]["coefficients"]
    mine = fit.coefficients
    yield "coefficients", mine.estimate[order], column(rows, "estimate"), column(rows, "se")
    yield "KR SE", mine.se[order], column(rows, "se"), None
    yield "KR df", mine.df[order], column(rows, "df"), None
    yield "KR t", mine.statistic[order], column(rows, "t"), None
    yield "KR p", mine.p[order], column(rows, "p"), None
    ours = freedom.df_satterthwaite(fit.fixed, np.eye(fit.reduced.p))[order]
    yield "Satterthwaite df", ours, column(stored["satterthwaite_analytic"]["df"], "df"), None
    yield "Satterthwaite df (lmerTest)", ours, column(stored["satterthwaite"]["coefficients"], "df"), None


def _terms(case: Case, fit: MixedFit) -> Pieces:
    """F tests: our own rows against R's sequential tests (there the same), and R's rows against the rest."""
    stored, mine = case.stored["kenward_roger"], fit.terms()
    names = [name.replace(" x ", ":") for name in mine.terms]
    if not names:
        return
    rows = [row for name in names for row in stored["terms_type2"] if row["term"] == name]
    yield "KR term F", mine.f, column(rows, "F"), None
    yield "KR term df", mine.df2, column(rows, "ddf"), None
    yield "KR term p", mine.p, column(rows, "p"), None
    for quantity, test, rows in (
        ("KR term, R's rows", freedom.f_kenward_roger, [stored["terms_type3_pbkrtest"][name] for name in names]),
        ("Satterthwaite term, R's rows", freedom.f_satterthwaite,
         [case.stored["satterthwaite_analytic"]["terms_type3"][name] for name in names]),
    ):  # fmt: skip
        ours = [test(fit.fixed, r_rows(case, name)) for name in names]
        yield f"{quantity}: F", [one.f for one in ours], column(rows, "F"), None
        yield f"{quantity}: df", [one.df2 for one in ours], column(rows, "ddf"), None
        if "F_scaling" in rows[0]:
            yield f"{quantity}: scaling", [one.scaling for one in ours], column(rows, "F_scaling"), None


def r_rows(case: Case, term: str) -> Floats:
    """R's own rows of a term's hypothesis, over our columns of X."""
    theirs = np.array(case.stored["type3_hypotheses"][term], dtype=float)
    rows = np.zeros_like(theirs)
    rows[:, coefficient_order(case)] = theirs
    return rows


Block = Mapping[str, Any]
SHORT: dict[Method, str] = {"kenward-roger": "KR", "satterthwaite": "Satterthwaite"}


def _means(case: Case, fit: MixedFit) -> Pieces:
    """Marginal means and their differences, by both methods."""
    yield from _joined(_means_of_block, case, fit, "emmeans_kr", "kenward-roger")
    yield from _joined(_means_of_block, case, fit, "emmeans_satterthwaite", "satterthwaite")


def _families(case: Case, fit: MixedFit) -> Pieces:
    """Adjusted p values and limits, at Kenward-Roger df."""
    yield from _joined(_families_of_block, case, fit, "emmeans_kr", "kenward-roger")


def _joined(of_block: Callable[..., Pieces], case: Case, fit: MixedFit, key: str, method: Method) -> Pieces:
    """Put the numbers of all factors of a case together, quantity by quantity."""
    blocks = [block for block in case.stored[key] if block["factor"] != "1"]
    pieces = [piece for block in blocks for piece in of_block(fit, block, method)]
    for quantity in dict.fromkeys(piece[0] for piece in pieces):
        parts = [piece[1:] for piece in pieces if piece[0] == quantity]
        ours, theirs, size = (np.concatenate(column) for column in zip(*parts, strict=True))
        yield f"{SHORT[method]} {quantity}", ours, theirs, size


def _means_of_block(fit: MixedFit, block: Block, method: Method) -> Pieces:
    factor, by = block["factor"], block["by"]
    means = fit.means(factor, by=by, df=method)
    assert list(means.terms) == [str(row[factor]) for row in block["means"]]
    yield from _estimates("means", means, block["means"], "emmean")
    pairs = fit.contrasts(factor, by=by, df=method)
    assert list(pairs.terms) == [our_pair(row["contrast"], factor) for row in block["pairs"]]
    yield from _estimates("pairs", pairs, block["pairs"], "estimate")


def our_pair(contrast: str, factor: str) -> str:
    """Our name of R's "A - B"; R puts the factor before a level that is a number."""
    sides = (side.strip("()").removeprefix(factor) for side in contrast.split(" - "))
    return " minus ".join(sides)


def _estimates(kind: str, ours: Estimates, rows: Sequence[Block], name: str) -> Pieces:
    se = column(rows, "se")
    yield f"{kind}: estimate", ours.estimate, column(rows, name), se
    yield f"{kind}: SE", ours.se, se, se
    yield f"{kind}: df", ours.df, column(rows, "df"), column(rows, "df")
    yield f"{kind}: p", ours.p, column(rows, "p"), column(rows, "p")
    yield f"{kind}: limits", *_limits(ours, rows, "lower", "upper")


def _limits(ours: Estimates, rows: Sequence[Block], low: str, high: str) -> tuple[Floats, Floats, Floats]:
    theirs = np.concatenate([column(rows, low), column(rows, high)])
    return np.concatenate([ours.low, ours.high]), theirs, np.tile(column(rows, "se"), 2)


def _families_of_block(fit: MixedFit, block: Block, method: Method) -> Pieces:
    factor, by, rows = block["factor"], block["by"], block["pairs"]
    ones = np.ones(len(rows))
    tukey = fit.contrasts(factor, by=by, df=method, adjust="tukey")
    yield "Tukey p", tukey.p, column(rows, "p_tukey"), ones
    yield "Tukey limits", *_limits(tukey, rows, "lower_tukey", "upper_tukey")
    holm = fit.contrasts(factor, by=by, df=method, adjust="holm")
    yield "Holm p", holm.p, column(rows, "p_holm"), column(rows, "p_holm")
    rows, first = block["dunnett"], fit.frame.factors[factor].levels[0]
    dunnett = fit.contrasts(factor, by=by, df=method, adjust="dunnett", against=first)
    assert list(dunnett.terms) == [our_pair(row["contrast"], factor) for row in rows]
    yield "Dunnett p", dunnett.p, column(rows, "p_mvt"), np.ones(len(rows))
    factors = (dunnett.high - dunnett.estimate) / dunnett.se
    yield "Dunnett factor", factors, column(rows, "crit_mvt"), np.ones(len(rows))
    yield "Dunnett limits", *_limits(dunnett, rows, "lower_mvt", "upper_mvt")


PARTS: dict[Part, Callable[[Case, MixedFit], Pieces]] = {
    "variances": _variances, "coefficients": _coefficients, "terms": _terms, "means": _means, "families": _families,
}  # fmt: skip
