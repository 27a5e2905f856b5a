"""What is not a mixed model: tests, families, factors and mean squares, ours beside R's and printed ones.

Each comparison names the digits that it must reach: those that the other side has to give.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import optimize, stats

from reference.against_r import Comparison, fitted
from reference.stored import stored_json, stored_table, stored_text
from sharpstats.claims.second import without_model
from sharpstats.model.anova import anova, welch
from sharpstats.model.largesample import linear_limits, ratio_limits
from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.model.multiple import dunnett_factor, dunnett_p, holm, max_t_cdf, tukey_factor, tukey_p
from sharpstats.model.overrange import over_range_derivatives
from sharpstats.model.ratio import SpreadRatio
from sharpstats.model.tolerance import one_sided_factor, two_sided_factor
from sharpstats.model.twospreads import distances
from sharpstats.tester import outlying
from sharpstats.tester.budget import budget
from sharpstats.tester.contribution import Contribution
from sharpstats.tester.limits import constants
from sharpstats.tester.precision import precision
from sharpstats.tester.spreads import find_spreads


@dataclass(frozen=True)
class Held:
    """A comparison, where the other side comes from, and the digits that it must reach."""

    comparison: Comparison
    source: str
    asked: int


Found = Iterator[Held]
GAUGE = ["part", "appraiser", ("part", "appraiser")]
TESTER_TERMS = {"operator": "operator", "edge": "edge", "operator:edge": "operator x edge", "day": "day",
                "Residual": "repeatability"}  # fmt: skip


def held(case: str, quantity: str, ours: ArrayLike, theirs: ArrayLike, source: str, asked: int,
         size: ArrayLike | float | None = None) -> Held:  # fmt: skip
    """One line of the table."""
    arrays = (np.asarray(side, dtype=float) for side in (ours, theirs))
    return Held(Comparison(case, quantity, *arrays, size), source, asked)


def edge_means() -> Found:
    """Tests of one factor on edge means."""
    case, stored, data = "means_edges_a", stored_json("r/means_edges_a"), stored_table("r/means_edges_a")
    found = welch(data["log_force"].to_numpy(), pd.factorize(data["medium"], sort=True)[0])
    assert found is not None
    theirs = [stored["welch_anova"][key] for key in ("F", "ddf", "p")]
    yield held(case, "Welch's F, df and p", [found.f, found.df2, found.p], theirs, "R oneway.test", 11)
    row = anova(data, response="log_force", fixed=["medium"]).table.iloc[0]
    theirs = [stored["classical_anova"][key] for key in ("F", "ddf", "p")]
    yield held(case, "classical F, df and p", row[["f", "df2", "p"]], theirs, "R oneway.test", 11)
    rows = pd.DataFrame(stored["games_howell"])
    edges = data.rename(columns={"log_force": "mean"})
    pairs = [without_model(edges, *contrast.split(" - "), [], []) for contrast in rows["contrast"]]
    ours = np.array([pair[1] for pair in pairs if pair is not None])
    yield held(case, "Welch's pairs: estimate, SE, df", ours, rows[["estimate", "se", "df"]], "R t.test", 11)
    ours = tukey_p(rows["t"].to_numpy(), rows["df"].to_numpy(), 4)
    yield held(case, "Games-Howell p", ours, rows["p_games_howell"], "R ptukey (1e-8)", 7, 1.0)
    ours = tukey_factor(0.95, rows["df"].to_numpy(), 4)
    theirs = (rows["upper_games_howell"] - rows["estimate"]) / rows["se"]
    yield held(case, "Games-Howell factor", ours, theirs, "R qtukey (1e-4)", 5)


def families() -> Found:
    """Families of comparisons."""
    rows = pd.DataFrame(stored_json("r/multiplicity_a")["adjusted"])
    yield held("multiplicity_a", "Holm's p", holm(rows["p"].to_numpy()), rows["holm"], "R p.adjust", 14)
    designs = stored_json("r/dunnett_mvt_a")["designs"]
    table = [(np.array(one["correlation"]), np.array([float(one["df"])]), one) for one in designs]
    ours = [dunnett_factor(1 - one["alpha"], df, correlation)[0] for correlation, df, one in table]
    source = "R, double integration (1e-9)"
    yield held("dunnett_mvt_a", "factor, two-sided", ours, [one["crit_two_sided"] for one in designs], source, 9)
    ours = [dunnett_p(np.array([2.5]), df, correlation)[0] for correlation, df, _ in table]
    theirs = [one["p_two_sided_at_t_2.5"] for one in designs]
    yield held("dunnett_mvt_a", "p, two-sided", ours, theirs, source, 9, 1.0)
    ours = [1 - max_t_cdf(2.5, df[0], correlation, two_sided=False) for correlation, df, _ in table]
    theirs = [one["p_one_sided_at_t_2.5"] for one in designs]
    yield held("dunnett_mvt_a", "p, one-sided", ours, theirs, source, 9, 1.0)


def mean_squares() -> Found:
    """Mean squares of the balanced cases and their variances, against R's REML; intervals where they are exact."""
    for name in ("dyestuff", "penicillin", "oats", "ergostool"):
        fit = fitted(name)
        ours = fit.mean_squares.components.variances
        theirs = {row["component"]: row["var"] for row in stored_json(f"r/lmm_{name}")["varcomp"]}
        rename = {"Block x Variety": "Variety:Block", "residual": "Residual"}
        order = [theirs[rename.get(term, term)] for term in fit.mean_squares.terms]
        yield held(f"lmm_{name}", "variances from mean squares", ours, order, "R lme4, finished by Newton steps", 10)
    exact = stored_json("gauge/msa_10x3x3")["recomputed_not_pooled"]
    fit = fit_mixed(stored_table("gauge/msa_10x3x3"), response="value", random=GAUGE)
    raw = fit.mean_squares.weights @ fit.mean_squares.mean_square
    theirs = [exact[key] for key in ("part_var", "appraiser_var", "interaction_var_raw", "repeatability_var")]
    yield held("msa_10x3x3", "variances from mean squares", raw, theirs, "recomputed", 11)
    squares, df = [11271.5, 2451.25], [5, 24]
    f = squares[0] / squares[1] / stats.f.ppf([0.975, 0.025], *df)
    ours = ratio_limits(squares, df, [0.2, -0.2], [0.2, 0.8], 0.95)
    yield held("dyestuff", "limits of the share between batches", ours, (f - 1) / (f + 4), "exact F limits, SciPy", 9)
    ours = linear_limits(squares, df, [0, 1], 0.95)
    theirs = 24 * squares[1] / stats.chi2.ppf([0.975, 0.025], 24)
    yield held("dyestuff", "limits of the residual variance", ours, theirs, "exact chi-square limits, SciPy", 11)


def one_spread() -> Found:
    """The trials whose edges spread differently, fitted as if they did not."""
    for name in ("lme_spread_a", "lme_spread_b"):
        stored, fit = stored_json(f"r/{name}")["one_edge_variance"], spread_fit(name)
        places = fit.structure.positions
        theirs = [row["var"] for row in stored["variances"]]
        source = "R nlme, finished by Newton steps"
        yield held(name, "criterion, one edge variance", [fit.reml_criterion], [stored["reml_criterion"]], source, 11)
        yield held(name, "variances, one edge variance", fit.optimum.variances[places], theirs, source, 10)


def spread_fit(name: str, by: str | None = None) -> MixedFit:
    """One edge variance for all media, or one for each."""
    table = stored_table(f"r/{name}")
    table = table.assign(y=np.log(table["force"]))
    return fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"], spread_by=by)


def own_spreads() -> Found:
    """Edges that spread differently: a variance for each medium."""
    source = "R nlme, finished by Newton steps"
    for name in ("lme_spread_a", "lme_spread_b"):
        stored, fit = stored_json(f"r/{name}"), spread_fit(name, "medium")
        theirs = [row["var"] for row in stored["variances"]]
        yield held(name, "criterion", [fit.reml_criterion], [stored["reml_criterion"]], source, 10)
        yield held(name, "variances", fit.optimum.variances[fit.structure.positions], theirs, source, 9)
        rows, mine = pd.DataFrame(stored["coefficients"]), fit.coefficients.table
        columns = ["estimate", "se", "df", "p"]
        yield held(name, "KR coefficients: estimate, SE, df, p", mine[columns], rows[columns], source, 9)
    stored = stored_json("r/lme_residual_a")
    fit = fit_mixed(stored_table("r/means_edges_a"), response="log_force", fixed=["medium"],
                    random=["blade", "edge"], spread_by="medium")  # fmt: skip
    yield held("lme_residual_a", "criterion", [fit.reml_criterion], [stored["reml_criterion"]], "R nlme", 9)


def spread_ratios() -> Found:
    """Ratios of the spreads of two media, and the test of equal spreads that leans on less."""
    for name in ("lme_spread_a", "lme_spread_b"):
        fit, rows = spread_fit(name, "medium"), stored_json(f"r/{name}")["profile_ci_sd_ratio"]
        place = fit.structure.place_of
        ratios = [SpreadRatio(fit.reduced, fit.optimum, place(row["sd_of"]), place(row["over_sd_of"])) for row in rows]
        source = "R nlme, finished by Newton steps"
        yield held(name, "ratios of SDs", [one.estimate for one in ratios], [row["ratio"] for row in rows], source, 9)
        roots = [one.signed_root(np.log(row[end])) for one, row in zip(ratios, rows, strict=True)
                 for end in ("lower", "upper")]  # fmt: skip
        reach = stats.norm.isf(0.025) * np.tile([1.0, -1.0], len(rows))
        yield held(name, "profile root at R's limits of the ratios", roots, reach, "R, re-optimised", 8)
    table, stored = stored_table("r/variances_a"), stored_json("r/variances_a")["brown_forsythe_median"]
    groups = {name: part["value"].to_numpy() for name, part in table.groupby("group")}
    far = pd.DataFrame({"y": np.concatenate([distances(values) for values in groups.values()]),
                        "group": np.repeat([*groups], [*map(len, groups.values())])})  # fmt: skip
    row = anova(far, response="y", fixed=["group"]).table.iloc[0]
    yield held("variances_a", "Brown-Forsythe F, p", row[["f", "p"]], [stored["F"], stored["p"]], "R car", 11)


def gaps() -> Found:
    """Differences between media at each level of another factor, and how much they differ."""
    stored, data = stored_json("r/lmm_gap_a"), stored_table("r/lmm_gap_a")
    fixed = ["medium", "operator", ("medium", "operator")]
    random = ["blade", ("blade", "medium"), ("blade", "medium", "operator"), "edge"]
    fit = fit_mixed(data.assign(y=np.log(data["force"])), response="y", fixed=fixed, random=random)
    yield held("lmm_gap_a", "criterion", [fit.reml_criterion], [stored["criterion"]], "R lme4", 10)
    ours = fit.contrasts("medium", by="operator")
    rows = pd.DataFrame(stored["differences"])
    assert [name.replace(" minus ", " - ") for name in ours.terms] == rows["contrast"].to_list()
    columns = ["estimate", "se", "df"]
    mine, theirs = ours.table[columns], rows[columns]
    yield held("lmm_gap_a", "differences: estimate, SE, df", mine, theirs, "R emmeans", 9)
    square = np.kron([1.0, -1.0], np.eye(3))
    gap, se = square @ ours.estimate, np.sqrt((square @ ours.covariance @ square.T).diagonal())
    theirs = pd.DataFrame(stored["gaps"])[["estimate", "se"]]
    yield held("lmm_gap_a", "gaps: estimate, SE", np.column_stack([gap, se]), theirs, "R emmeans", 9)


def over_range() -> Found:
    """Single cuts over the range: at R's scale the same effects, standard errors and likelihood."""
    data, stored = stored_table("r/surv_gauss_a"), stored_json("r/surv_gauss_a")["censored"]
    data = data.assign(y=np.log(data["force"]), over=data["over"] == 1)
    fit = fit_mixed(data, response="y", fixed=["medium"], over="over")
    assert fit.over is not None
    found, mode = over_range_derivatives(fit.over.model, np.array([stored["scale"] ** 2]), fit.over.eta)
    rows = pd.DataFrame(stored["coefficients"])[:3]
    size = rows["se"].to_numpy()
    source = "R survival, finished by Newton steps"
    effects = mode.effects + fit.offset * np.eye(3)[0]
    yield held("surv_gauss_a", "effects at R's scale", effects, rows["estimate"], source, 9, size)
    given_scale = np.linalg.inv(np.linalg.inv(stored["vcov"])[:3, :3])
    se = np.sqrt(given_scale.diagonal())
    yield held("surv_gauss_a", "SE at R's scale", np.sqrt(mode.m.diagonal()), se, source, 9)
    likelihood = found.criterion - mode.log_det + 3 * np.log(2 * np.pi)
    yield held("surv_gauss_a", "likelihood at R's scale", [likelihood], [-2 * stored["loglik"]], source, 10)


def tester_study() -> Found:
    """An unbalanced study of a tester: parts of the spread, and their profile limits."""
    case, stored = "lmm_tester_a", stored_json("r/lmm_tester_a")
    table = stored_table(f"r/{case}").rename(columns={"force": "reading"})
    found = find_spreads(table, scale="log", pool_above=1)
    own = found.by_likelihood.set_index("term")
    rows = [(own.loc[TESTER_TERMS[row["component"]]], row) for row in stored["profile_ci_reml"]]
    source = "R lme4, finished by Newton steps"
    yield held(case, "criterion", [found.fit.reml_criterion], [stored["reml"]["criterion"]], source, 11)
    yield held(case, "SDs of the parts", [ours["sd"] for ours, _ in rows], [row["sd"] for _, row in rows], source, 9)
    ours = [one[end] for one, _ in rows for end in ("low", "high")]
    theirs = [row[end] for _, row in rows for end in ("sd_lower", "sd_upper")]
    size = [row["sd"] for _, row in rows for _ in range(2)]
    yield held(case, "profile limits of the SDs", ours, theirs, "R, re-optimised", 6, size)


def tester_budget() -> Found:
    """The end gauge of JCGM 100, H.1, from its four unrounded parts."""
    case = "gum_h1_end_gauge"
    stored, rounded = (stored_json(f"uncertainty/{case}")[name] for name in ("recomputed_unrounded", "recomputed"))
    df = {"l_S": 18.0, "d": rounded["nu_eff_d"], "delta_alpha": 50.0, "delta_theta": 2.0}
    parts = [Contribution(name=name, standard=size, unit="nm", sensitivity=1.0, df=df[name])
             for name, size in stored["components_nm"].items()]  # fmt: skip
    found = budget(parts, unit="nm", level=0.99, seed=None)
    source = "recomputed"
    yield held(case, "combined standard uncertainty", [found.combined], [stored["u_c_nm"]], source, 11)
    yield held(case, "effective df", [found.effective_df], [stored["nu_eff"]], source, 4)
    yield held(case, "coverage factor", [found.k], [rounded["t99_16"]], source, 11)


@dataclass(frozen=True)
class Printed:
    """A column of a printed table, and our values of it."""

    table: str
    source: str
    ours: list[float]
    printed: list[str]

    @property
    def agree(self) -> int:
        """How many of our values round to the printed ones, or lie half a unit of the last digit off."""
        pairs = zip(self.ours, self.printed, strict=True)
        return sum(abs(value - float(text)) <= 0.5001 * _unit(text) for value, text in pairs)


def _unit(text: str) -> float:
    return float(Decimal(1).scaleb(int(Decimal(text).as_tuple().exponent)))


def _dunnett(k: int, df: float, level: float, *, two_sided: bool) -> float:
    correlation = np.full((k, k), 0.5) + 0.5 * np.eye(k)
    if two_sided:
        return float(dunnett_factor(level, np.array([df]), correlation)[0])
    return float(optimize.brentq(lambda t: max_t_cdf(t, df, correlation, two_sided=False) - level, 0.5, 9.0))


@lru_cache
def printed_tables() -> tuple[Printed, ...]:
    """All printed tables, and single printed results."""
    return (*_factors(), *_gauge(), *_shops(), *_constants())


def _factors() -> Iterator[Printed]:
    """All printed tables that concern comparisons."""
    text = stored_text("tables/studentized_range_q")
    rows = stored_table("tables/studentized_range_q").itertuples()
    ours = [float(np.sqrt(2) * tukey_factor(1 - row.significance, np.array([row.df]), row.k_means)[0]) for row in rows]
    yield Printed("studentized_range_q", "Pearson & Hartley; Harter", ours, list(text["published_recalled"]))
    for sides in ("two", "one"):
        keep = stored_table("tables/dunnett")["sides"] == sides
        rows = stored_table("tables/dunnett")[keep].itertuples()
        ours = [_dunnett(int(row.k_treatments_excl_control), row.df, 1 - row.significance, two_sided=sides == "two")
                for row in rows]  # fmt: skip
        yield Printed(f"dunnett, {sides}-sided", "Dunnett 1955, 1964", ours,
                      list(stored_text("tables/dunnett")[keep]["published_recalled"]))  # fmt: skip
    kinds: dict[str, Callable[[int, float, float], float]] = {
        "one-sided": lambda n, share, confidence: one_sided_factor(n, float(stats.norm.ppf(share)), confidence),
        "two-sided": two_sided_factor,
    }
    for side, factor in kinds.items():
        keep = stored_table("tables/tolerance_factors")["side"] == side
        rows = stored_table("tables/tolerance_factors")[keep].itertuples()
        ours = [factor(int(row.n), row.content_P, row.confidence) for row in rows]
        printed = stored_text("tables/tolerance_factors")[keep]["published_recalled"]
        yield Printed(f"tolerance_factors, {side}", "ISO 16269-6", ours, list(printed))
    name = "tolerance_two_sided_berthouex_brown"
    rows = stored_table(f"tables/{name}").itertuples()
    ours = [two_sided_factor(int(row.n), row.content_P, row.confidence) for row in rows]
    yield Printed(name, "Berthouex & Brown, table 21.1", ours, list(stored_text(f"tables/{name}")["published"]))
    ours = [one_sided_factor(43, float(stats.norm.ppf(0.9)), 0.99)]
    yield Printed("tolerance_nist_7263, exact", "NIST/SEMATECH e-Handbook 7.2.6.3", ours, ["1.8740"])


def _gauge() -> Iterator[Printed]:
    published = stored_json("gauge/msa_10x3x3")["anova"]
    table = anova(stored_table("gauge/msa_10x3x3"), response="value", fixed=[], random=GAUGE).table
    order = ("appraiser", "part", "appraiser_by_part", "equipment")
    assert list(table["term"]) == ["appraiser", "part", "part x appraiser", "residual"]
    for column, key, told in (("sum_of_squares", "SS", "sums of squares"), ("mean_square", "MS", "mean squares")):
        yield Printed(f"msa_10x3x3, {told}", "Measurement Systems Analysis, 3rd ed.",
                      table[column].to_list(), [published[name][key] for name in order])  # fmt: skip
    squares, df = [437.328, 19.633, 2.695, 0.511], [9, 2, 18, 60]
    parts = linear_limits(squares, df, [1 / 9, 0, -1 / 9, 0], 0.95)
    gauge = linear_limits(squares, df, [0, 1 / 30, 9 / 30, 20 / 30], 0.95)[1]
    yield Printed("limits of a study of 10 parts and 3 operators", "Burdick, Borror & Montgomery 2005, from memory",
                  [float(value) for value in (*parts, gauge)], ["22.69", "161.64", "27.02"])  # fmt: skip


def _shops() -> Iterator[Printed]:
    """Critical values of a round robin, and three published ones."""
    critical: dict[str, Callable[..., float]] = {
        "cochran_C": outlying.cochran_critical, "grubbs_single": outlying.grubbs_critical,
        "mandel_h": outlying.h_critical, "mandel_k": outlying.k_critical,
    }  # fmt: skip
    for name, value in critical.items():
        text = stored_text(f"tables/{name}")
        places = list(text.columns[: list(text.columns).index("published_recalled")])
        ours = [value(*map(int, row[:-1]), float(row[-1])) for row in text[places].itertuples(index=False)]
        yield Printed(name, "ISO 5725-2; ASTM E691", ours, list(text["published_recalled"]))
    glucose, printed = stored_table("interlab/e691_glucose"), stored_json("interlab/e691_glucose")["published"]
    found = [_shop_spreads(cells, "value_corrected")[1:] for _, cells in glucose.groupby("material")]
    yield Printed("e691_glucose, s_r and s_R", "ASTM E691", [sd for pair in found for sd in pair],
                  [printed[name][key] for name in sorted(printed) for key in ("s_r", "s_R")])  # fmt: skip
    published = stored_json("interlab/iso5725_annex_b")
    for name in ("sulfur", "creosote"):
        table = stored_table(f"interlab/iso5725_{name}")
        if name == "creosote":  # the standard leaves these out
            table = table[~((table["lab"] == 1) | ((table["lab"] == 6) & (table["level"] == 5)))]
        rows = [_shop_spreads(cells, "value") for _, cells in table.groupby("level")]
        told = [published[name][key][i] for i in range(len(rows)) for key in ("mean", "s_r", "s_R")]
        yield Printed(f"iso5725_{name}, mean, s_r, s_R", "ISO 5725-2, annex B", [x for row in rows for x in row], told)


def _shop_spreads(cells: pd.DataFrame, value: str) -> tuple[float, float, float]:
    sums = cells.groupby("lab")[value].agg(["size", "mean", "var"])
    found = precision(sums["size"], sums["mean"], sums["var"])
    assert found.within is not None
    assert found.across is not None
    return found.mean, found.within.sd, found.across.sd


def _constants() -> Iterator[Printed]:
    """Constants of single values and ranges in their order."""
    names = {"d2": "d2", "d3": "d3", "c4": "c4", "A2": "mean_reach", "D3": "range_low", "D4": "range_high"}
    text = stored_text("tables/control_chart_constants")
    text = text[text["constant"].isin(names)]
    ours = [getattr(constants(int(row.n)), names[row.constant]) for row in text.itertuples()]
    yield Printed("control_chart_constants", "ISO 7870-2; ASTM manual", ours, list(text["published_recalled"]))


PARTS: dict[str, Callable[[], Found]] = {
    "edge means": edge_means, "families": families, "mean squares": mean_squares, "one spread": one_spread,
    "own spreads": own_spreads, "spread ratios": spread_ratios, "gaps": gaps, "over range": over_range,
    "tester study": tester_study, "tester budget": tester_budget,
}  # fmt: skip


@lru_cache
def comparisons(part: str) -> tuple[Held, ...]:
    """One part of them."""
    return tuple(PARTS[part]())
