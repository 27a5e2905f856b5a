"""The methods of a trial in words, from what the fit and the findings are, with references."""

from __future__ import annotations

from collections.abc import Iterator

from sharpstats.claims.finding import Findings
from sharpstats.claims.resolving import Resolution
from sharpstats.model.trialfit import EDGE, TrialFit
from sharpstats.words.drift import drift_sentence
from sharpstats.words.kinds import KINDS
from sharpstats.words.labels import clip, listing, sentence
from sharpstats.words.numbers import count, level_percent, p_value
from sharpstats.words.passage import Passage
from sharpstats.words.resolving import resolution_of

REFERENCES = {
    "breslow": "Breslow, N. E. & Clayton, D. G. (1993). Journal of the American Statistical Association 88, 9-25.",
    "box": "Box, G. E. P. & Cox, D. R. (1964). Journal of the Royal Statistical Society B 26, 211-252.",
    "bonett": "Bonett, D. G. (2006). Applied Psychological Measurement 30, 432-439.",
    "brown": "Brown, M. B. & Forsythe, A. B. (1974). Journal of the American Statistical Association 69, 364-367.",
    "clopper": "Clopper, C. J. & Pearson, E. S. (1934). Biometrika 26, 404-413.",
    "fisher": "Fisher, R. A. (1935). The Design of Experiments. Oliver and Boyd, section 21.",
    "graybill": "Graybill, F. A. & Wang, C.-M. (1980). Journal of the American Statistical Association 75, 869-873.",
    "holm": "Holm, S. (1979). Scandinavian Journal of Statistics 6, 65-70.",
    "kenward": "Kenward, M. G. & Roger, J. H. (1997). Biometrics 53, 983-997.",
    "iso5725": "ISO 5725-6:1994, Accuracy (trueness and precision) of measurement methods and results, part 6.",
    "krishnamoorthy": "Krishnamoorthy, K. & Mathew, T. (2009). Statistical Tolerance Regions. Wiley, chapters 4 and 5.",
    "patterson": "Patterson, H. D. & Thompson, R. (1971). Biometrika 58, 545-554.",
    "schuirmann": "Schuirmann, D. J. (1987). Journal of Pharmacokinetics and Biopharmaceutics 15, 657-680.",
    "searle": "Searle, S. R., Speed, F. M. & Milliken, G. A. (1980). American Statistician 34, 216-221.",
    "shapiro": "Shapiro, S. S. & Wilk, M. B. (1965). Biometrika 52, 591-611.",
    "skovgaard": "Skovgaard, I. M. (1996). Bernoulli 2, 145-165.",
    "ting": "Ting, N., Burdick, R. K., Graybill, F. A., Jeyaratnam, S. & Lu, T.-F. C. (1990). Journal of Statistical "
    "Computation and Simulation 35, 135-143.",
    "tobin": "Tobin, J. (1958). Econometrica 26, 24-36.",
    "welch": "Welch, B. L. (1951). Biometrika 38, 330-336.",
}
ALWAYS = ("patterson", "kenward", "searle")


def methods_text(findings: Findings) -> Passage:
    """Tell how the findings were reached.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    Passage
        Paragraphs, and the references as points.
    """
    fit = findings.fit
    paragraphs = (
        " ".join(_model(fit)),
        " ".join(_inference(fit)),
        " ".join(_over_range(fit)),
        " ".join(_claims(findings)),
        " ".join(_by_the_tester(findings)),
        " ".join(_kept_out(fit)),
        " ".join(_checks(fit)),
    )
    return Passage("How this was worked out", tuple(filter(None, paragraphs)), tuple(_references(findings)))


def _model(fit: TrialFit) -> Iterator[str]:
    frame = fit.mixed.frame
    edges = count(int(fit.data[EDGE].nunique()), "edge")
    yield (
        f"{edges} with {count(fit.cuts, 'cut')} were compared. An edge is one sharpening of one blade, and it is "
        "edges that count: cuts on one edge tell about that edge alone."
    )
    if fit.scale == "log":
        yield "Readings were analysed as logarithms, so differences are percentages and means are geometric means."
    else:
        yield f"Readings were analysed as they are, so differences are in {fit.unit}."
    if frame.fixed:
        yield f"The model holds {_terms(frame.fixed)} as what is compared."
    upper = [term for term in fit.mixed.structure.kept if term != (EDGE,)]
    if upper:
        yield f"{sentence(_terms(tuple(upper)))[:-1]} count as samples of more: their spread widens the intervals."
    if fit.trial.plan.layout.seed is not None:
        yield f"The plan gives {fit.trial.plan.layout.seed} as the seed of the random order."


def _terms(terms: tuple[tuple[str, ...], ...]) -> str:
    return listing([" by ".join(map(clip, term)) for term in terms])


def _inference(fit: TrialFit) -> Iterator[str]:
    level = level_percent(fit.mixed.level)
    yield (
        "Variances are estimated by restricted maximum likelihood (Patterson and Thompson 1971), with "
        f"{level} profile-likelihood intervals; zero is a legal answer. Standard errors and degrees of freedom follow "
        "Kenward and Roger (1997), since a bench trial is small. Means give equal weight to the levels of the other "
        "factors (Searle, Speed and Milliken 1980)."
    )
    if fit.mixed.strata is not None:
        yield (
            "The layout is balanced, so limits from mean squares stand beside those of the likelihood (modified large "
            "sample: Graybill and Wang 1980; Ting and others 1990): they lean less on there being many blocks."
        )


def _over_range(fit: TrialFit) -> Iterator[str]:
    edges = fit.edges[fit.edges["over_range"] > 0]
    if edges.empty:
        return
    cuts = int(edges["over_range"].sum())
    yield (
        f"{count(cuts, 'cut')} on {count(len(edges), 'edge')} {'was' if cuts == 1 else 'were'} over the tester's "
        "range. Each enters the likelihood as the chance of a reading over its limit (Tobin 1958), given its edge, "
        "which is integrated over numerically. Blocks and means are integrated out by Laplace's method (Breslow and "
        "Clayton 1993), which without such cuts is restricted maximum likelihood itself. Standard errors and degrees "
        "of freedom are those of the equivalent trial, in which each such edge has as many cuts in range as it is "
        "worth. No tolerance bound is given for edges with such cuts: they are counted."
    )


def _claims(findings: Findings) -> Iterator[str]:
    plan = findings.trial.plan
    for kind in dict.fromkeys(finding.kind for finding in findings.findings):
        yield KINDS[kind].method
    yield f"The error rate is {level_percent(plan.alpha)}."
    if plan.family == "holm" and sum(finding.primary for finding in findings.findings) > 1:
        yield (
            "The primary claims share it by Holm's method (1979), once for the claims and once against them; each "
            "finding is told with the interval at the level at which it was judged."
        )
    if any(finding.opinions for finding in findings.findings):
        yield "Each finding has second opinions beside it that lean on fewer assumptions; they do not decide."
    if _rerandomised(findings):
        yield (
            "One of them re-randomises (Fisher 1935): the readings stay, and the two media are dealt out anew to the "
            "edges among which the layout dealt them out, in every way there is or, where these are very many, in ways "
            "drawn with a seed. How often the difference, adjusted for blocks by least squares, comes out as far from "
            "the claim's number as it did is the p value; for that the number is first taken off the readings of the "
            "one medium. It speaks of these very blocks."
        )


def _rerandomised(findings: Findings) -> bool:
    return any(opinion.name == "re-randomising" for finding in findings.findings for opinion in finding.opinions)


def _by_the_tester(findings: Findings) -> Iterator[str]:
    """Say how margins were held against the tester study; nothing where there is none."""
    found = resolution_of(findings)
    if isinstance(found, Resolution):
        yield (
            f'Margins are held against the tester study "{clip(found.study.plan.title, 80)}" (its plan has the SHA-256 '
            f"{found.study.plan_sha256}): the smallest difference between two edges is the critical difference of two "
            "means of so many cuts within one shop (ISO 5725-6), 1.96 times the root of twice the variance of such a "
            "mean, and its interval is that of the variance."
        )


def _kept_out(fit: TrialFit) -> Iterator[str]:
    counts = fit.trial.counts
    yield (
        f"Of {count(counts['read'], 'row')} read, {counts['used']:,} were used and {counts['set_aside']:,} set aside, "
        "each with its reason; nothing was deleted."
    )
    if len(fit.left_out):
        yield (
            f"{count(len(fit.left_out), 'edge')} stayed out of the comparison: all cuts on edges made alike were over "
            "the tester's range."
        )
    if fit.drift is not None:
        yield drift_sentence(fit)


def _checks(fit: TrialFit) -> Iterator[str]:
    found = fit.diagnostics
    if found.scale_profile is not None:
        profile = found.scale_profile
        suits = "suits" if profile.allows(fit.scale) else "does not suit"
        yield (
            f"Box and Cox's profile (1964) puts the best power of the readings at {profile.best:.2g} (95 % "
            f"interval {profile.low:g} to {profile.high:g}; 0 is the logarithm, 1 the reading as it is), which {suits} "
            "the scale."
        )
    if found.normality is not None:
        yield f"Shapiro and Wilk's test (1965) of the edges' residuals gives {p_value(found.normality.p)}."
    if found.spread is not None:
        yield (
            f"The spread of cuts against the level of their edge has a slope of {found.spread.slope:.2g} "
            f"({p_value(found.spread.p)})."
        )
    if fit.welch is not None:
        yield (
            "Welch's test of the media (1951), on edge means and without the assumption of equal spreads, gives "
            f"{p_value(fit.welch.p)}."
        )


def _references(findings: Findings) -> list[str]:
    fit = findings.fit
    keys = {*ALWAYS, *(key for finding in findings.findings for key in KINDS[finding.kind].references)}
    asked = {
        "graybill": fit.mixed.strata is not None,
        "ting": fit.mixed.strata is not None,
        "holm": findings.trial.plan.family == "holm" and len(findings.findings) > 1,
        "box": fit.diagnostics.scale_profile is not None,
        "shapiro": fit.diagnostics.normality is not None,
        "welch": fit.welch is not None,
        "fisher": _rerandomised(findings),
        "iso5725": isinstance(resolution_of(findings), Resolution),
        "tobin": fit.mixed.over is not None,
        "breslow": fit.mixed.over is not None,
    }
    keys |= {key for key, used in asked.items() if used}
    return [REFERENCES[key] for key in sorted(keys)]
