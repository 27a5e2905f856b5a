"""How a tester study was worked out, part by part, with the sources of each method."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sharpstats.tester.examine import Examination
from sharpstats.tester.seeds import seed_of
from sharpstats.words.methods import REFERENCES as OF_TRIALS
from sharpstats.words.numbers import count, level_percent
from sharpstats.words.passage import Passage
from sharpstats.words.tester.examination import results

REFERENCES: Mapping[str, str] = OF_TRIALS | {
    "bland": "Bland, J. M. & Altman, D. G. (1986). Lancet i, 307-310; (1999). Statistical Methods in Medical Research "
    "8, 135-160.",
    "burdick": "Burdick, R. K. & Graybill, F. A. (1992). Confidence Intervals on Variance Components. Dekker.",
    "carkeet": "Carkeet, A. (2015). Optometry and Vision Science 92, e71-e80.",
    "cochran": "Cochran, W. G. (1941). Annals of Eugenics 11, 47-52.",
    "creasy": "Creasy, M. A. (1956). Journal of the Royal Statistical Society B 18, 65-69.",
    "deming": "Deming, W. E. (1943). Statistical Adjustment of Data. Wiley, section 92.",
    "draper": "Draper, N. R. & Smith, H. (1998). Applied Regression Analysis, 3rd edition. Wiley, sections 1.4 to 3.2.",
    "fieller": "Fieller, E. C. (1954). Journal of the Royal Statistical Society B 16, 175-185.",
    "grubbs": "Grubbs, F. E. (1950). Annals of Mathematical Statistics 21, 27-58.",
    "gum": "JCGM 100:2008. Guide to the expression of uncertainty in measurement.",
    "gum-draws": "JCGM 101:2008. Propagation of distributions using a Monte Carlo method.",
    "henderson": "Henderson, C. R. (1953). Biometrics 9, 226-252.",
    "iso-charts": "ISO 7870-2 and ISO 7870-6. Control charts: single values, and averages that forget.",
    "iso-round": "ISO 5725-2:2019. Accuracy of measurement methods and results, part 2.",
    "iso-use": "ISO 5725-6:1994. Accuracy of measurement methods and results, part 6: use in practice of accuracy "
    "values, clauses 4.1 and 4.2.",
    "mandel": "Mandel, J. (1985). Journal of Quality Technology 17, 29-39.",
    "nelson": "Nelson, L. S. (1984). Journal of Quality Technology 16, 237-239.",
    "roberts": "Roberts, S. W. (1959). Technometrics 1, 239-250.",
    "satterthwaite": "Satterthwaite, F. E. (1946). Biometrics Bulletin 2, 110-114.",
    "sheppard": "Sheppard, W. F. (1898). Proceedings of the London Mathematical Society 29, 353-380.",
    "zou": "Zou, G. Y. (2013). Statistical Methods in Medical Research 22, 630-642.",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Method:
    """How one part is worked out, and the keys of its sources in `REFERENCES`."""

    says: str
    sources: tuple[str, ...]


METHODS: Mapping[str, Method] = {
    "spreads": Method(
        "Parts of the spread: a model with a random part for each thing that differed, by restricted maximum "
        "likelihood (Patterson and Thompson 1971) and by mean squares, exact where the layout is balanced (else "
        "Henderson 1953, method III). The interval of repeatability is a chi-square's; those of sums and ratios of "
        "parts are by the modified large-sample method (Graybill and Wang 1980; Ting and others 1990; Burdick and "
        "Graybill 1992). Limits r and R as in ISO 5725-6.",
        ("patterson", "henderson", "graybill", "ting", "burdick", "iso-use"),
    ),
    "smallest": Method(
        "The smallest difference is that of the means of two edges that chance exceeds in 5 of 100 pairs of equal "
        "edges (ISO 5725-6, clause 4.2), with Student's t since the spread is itself an estimate.",
        ("iso-use",),
    ),
    "wear": Method(
        "Wear by testing: a straight change with the place of the cut on its own edge, in a mixed model with what "
        "edge, operator, day and tester add; interval after Kenward and Roger (1997).",
        ("kenward",),
    ),
    "drift": Method(
        "Drift: each cut, or reading under a known load, is held against its like, in the order in which they were "
        "made. Single values are judged by how far neighbours differ (ISO 7870-2), beside an average that forgets "
        "(Roberts 1959; ISO 7870-6) and runs rules (Nelson 1984); limits are set by simulation so that a steady series "
        "of this length rarely crosses any. Slow change and steps between lots are fixed parts of a mixed model "
        "(Kenward and Roger 1997), several lots after Holm (1979).",
        ("iso-charts", "roberts", "nelson", "kenward", "holm"),
    ),
    "calibration": Method(
        "Known masses: a straight line of what was shown against the force applied, with each series of loads as a "
        "random part where there are three or more (Kenward and Roger 1997). The force behind a reading is read off"
        " that line backwards, with Fieller's interval (Fieller 1954; Draper and Smith 1998).",
        ("kenward", "fieller", "draper"),
    ),
    "rounding": Method(
        "Rounding to a step adds a twelfth of its square to the variance (Sheppard 1898; JCGM 100, F.2.2.1). Last "
        "digits are held against the shares to expect by a chi-square test, simulated where counts are small; "
        "operators together after Holm (1979).",
        ("sheppard", "gum", "holm"),
    ),
    "agreements": Method(
        "Agreement: each edge counts once, by its mean; limits of agreement after Bland and Altman (1986, 1999), "
        "with intervals after Carkeet (2015) and, for single cuts, Zou (2013). The slope allows for error on both "
        "sides (Deming 1943; Creasy 1956). Whether two read the same to within a margin is judged by two one-sided "
        "tests (Schuirmann 1987).",
        ("bland", "carkeet", "zou", "deming", "creasy", "schuirmann"),
    ),
    "budget": Method(
        "Uncertainty budget after JCGM 100, degrees of freedom after Welch and Satterthwaite (Satterthwaite 1946), "
        "checked by Monte Carlo after JCGM 101.",
        ("gum", "gum-draws", "satterthwaite"),
    ),
    "round_robin": Method(
        "Between shops: ISO 5725-2, batch by batch; consistency of shops by h and k (Mandel 1985), cells that stand"
        " apart by the tests of Cochran (1941) and Grubbs (1950). None is left out for that.",
        ("iso-round", "mandel", "cochran", "grubbs"),
    ),
}  # fmt: skip
"""In the order in which the parts are told."""
SAME_METHOD = {"mass_drift": "drift", "needed": "smallest"}


def study_methods(examination: Examination) -> Passage:
    """Tell how the parts of an examination were worked out.

    Parameters
    ----------
    examination : Examination

    Returns
    -------
    Passage
        A paragraph for each part that is there, and the references as points.
    """
    parts = {SAME_METHOD.get(name, name) for name in examination.parts}
    used = [method for name, method in METHODS.items() if name in parts]
    sources = sorted({REFERENCES[key] for method in used for key in method.sources})
    paragraphs = (" ".join(_ground(examination)), *(method.says for method in used))
    return Passage("How this was worked out", paragraphs, tuple(sources))


def _ground(examination: Examination) -> Iterator[str]:
    study = examination.study
    plan, counts = study.plan, study.counts
    if plan.scale == "log":
        yield "Readings of edges were analysed as logarithms, so differences and spreads are told in percent."
    else:
        yield f"Readings were analysed as they are, so differences and spreads are told in {plan.unit}."
    yield f"Intervals have a level of {level_percent(plan.level)} unless they say otherwise."
    yield (
        f"Of {count(counts['read'], 'row')} read, {counts['used']:,} were used and {counts['set_aside']:,} set aside, "
        "each with its reason; nothing was deleted."
    )
    if results(examination, "spreads"):
        yield f"Whatever is drawn at random is drawn with the seed {seed_of(plan)}."
