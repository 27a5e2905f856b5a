"""What a finding says where simulated trials showed its method to err more often than it may.

The figures are the largest that the validity study found (`tests/validity/RESULTS.md`), in whole
trials of a hundred; a test holds them against the study's results, and each situation in which
the study found more than 1.5 times the nominal error against a note made here.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

from scipy import stats

from sharpstats.claims.region import Region
from sharpstats.model.trialfit import TrialFit
from sharpstats.notes import Note

NOMINAL = 5
OFF = 1.5
"""A method that errs more often than this many times the nominal rate is off."""
WRONG_SCALE = 10
"""A claim about a difference wrongly shown: scale wrong, media a factor of two apart, a third of one's edges lost."""
Figures = tuple[int, int]
"""Wrongly shown and wrongly contradicted, of a hundred."""
OTHER_SHAPES: Mapping[float, Mapping[int, Figures]] = {
    0.8: {3: (13, 12), 4: (14, 15), 6: (14, 20), 8: (13, 23), 12: (11, 29), 24: (8, 42)},
    0.9: {3: (16, 11), 4: (20, 12), 6: (23, 14), 8: (24, 16), 12: (24, 18), 24: (22, 26)},
    0.95: {3: (21, 8), 4: (27, 8), 6: (33, 10), 8: (36, 11), 12: (39, 14), 24: (42, 20)},
}
"""`reaches` by its bound, edges heavy-tailed or skewed. Share claimed: edges of the medium: figures."""
SHARED_BLOCKS: Mapping[int, Figures] = {2: (8, 10), 4: (20, 17), 8: (38, 24)}
"""`reaches` by counting edges of which several share a block. Edges a block: figures."""
OTHER_SPREADS: Mapping[int, int] = {3: 8, 4: 11, 6: 14, 8: 16, 12: 20, 24: 21}
"""`steadier`, edges heavy-tailed or skewed. Edges of the medium with fewer: wrongly shown or contradicted."""
UNEVEN = 0.8
"""Edges of one medium over those of the other below which their numbers are called different."""
MANY = 50
"""From so many edges on, their residuals show whether they spread normally."""


def scale_note(fit: TrialFit, edges: Sequence[int]) -> Note | None:
    """Say that the scale looks wrong where that harms: the media have different numbers of edges.

    Parameters
    ----------
    fit : TrialFit
    edges : sequence of int
        Edges of each of the media.

    Returns
    -------
    Note or None
    """
    if min(edges) >= UNEVEN * max(edges) or fit.scale_profile is None or fit.scale_profile.allows(fit.scale):
        return None
    return Note("scale-in-doubt", f'The readings do not suit the scale "{fit.scale}", and the media have different '
                f"numbers of edges. In simulated trials like that, with media a factor of two apart, such a claim was "
                f"wrongly shown in up to {WRONG_SCALE} of 100 instead of {NOMINAL}.")  # fmt: skip


def shape_note(edges: int, share: float) -> Note:
    """Say what the bound of `reaches` rests on.

    Examples
    --------
    >>> print(shape_note(5, 0.9).text[:72])
    The bound takes edges to spread normally, which 5 edges can hardly show.
    """
    figures = OTHER_SHAPES[min(OTHER_SHAPES, key=lambda claimed: abs(claimed - share))]
    shown, contradicted = figures[_size(figures, edges)]
    return Note("normal-edges", f"The bound takes edges to spread normally{_known(edges)}. Where they were heavy-"
                f"tailed or skewed, such a claim was wrongly shown in up to {shown} and wrongly contradicted in up to "
                f"{contradicted} of 100 simulated trials instead of {NOMINAL}. A count of edges does not rest on it.")


def spread_note(edges: int) -> Note:
    """Say what a ratio of spreads rests on.

    Examples
    --------
    >>> print(spread_note(60).text[:72])
    A ratio of spreads takes edges to spread normally; look at the residuals
    """
    wrong = OTHER_SPREADS[_size(OTHER_SPREADS, edges)]
    return Note("normal-spreads", f"A ratio of spreads takes edges to spread normally{_known(edges)}. Where they were "
                f"heavy-tailed or skewed, such a claim was wrongly shown or contradicted in up to {wrong} of 100 "
                f"simulated trials instead of {NOMINAL}: go by the most cautious opinion.")  # fmt: skip


def narrow_note(region: Region, se: float, df: float, rate: float) -> Note | None:
    """Say so where limits lie so close together that a claim may be contradicted on either side by chance.

    This error is not simulated: at one limit a wrong "contradicted" falls beyond it with the rate itself, and
    beyond the other one with what is left of the t distribution there.

    Examples
    --------
    >>> print(narrow_note(Region(-0.01, 0.01), 0.1, 20, 0.05).text[:74])
    The margin is small beside the standard error of the difference, so such a
    >>> narrow_note(Region(-0.1, 0.1), 0.1, 20, 0.05) is None
    True
    """
    width = (region.high - region.low) / se
    if region.tails > 1 or not math.isfinite(width):
        return None
    wrong = rate + float(stats.t.sf(stats.t.isf(rate, df) + width, df))
    if wrong <= OFF * rate:
        return None
    return Note("narrow-margin", "The margin is small beside the standard error of the difference, so such a claim is "
                f"wrongly contradicted in up to {100 * wrong:.0f} of 100 trials instead of {100 * rate:.0f}: a "
                "difference by chance may lie beyond either limit.")  # fmt: skip


def _size(figures: Collection[int], edges: int) -> int:
    """Largest size of the study that is no larger than the trial, or else its smallest."""
    return max((size for size in figures if size <= edges), default=min(figures))


def _known(edges: int) -> str:
    return f", which {edges} edges can hardly show" if edges < MANY else "; look at the residuals"


def count_note(block: str, edges: int, blocks: int) -> Note:
    """Say what a count of edges that share blocks is worth.

    Examples
    --------
    >>> count_note("blade", 24, 6).code
    'counted-in-blocks'
    """
    shown, contradicted = SHARED_BLOCKS[min((size for size in SHARED_BLOCKS if size * blocks >= edges), default=8)]
    return Note("counted-in-blocks", f"Edges of one {block} count like edges of different ones here, which makes the "
                f"count look surer than it is: with about as many edges a {block}, such a claim was wrongly shown in "
                f"up to {shown} and wrongly contradicted in up to {contradicted} of 100 simulated trials instead of "
                f"{NOMINAL}.")  # fmt: skip
