"""All pictures of a trial."""

from __future__ import annotations

from sharpstats.claims.finding import Findings
from sharpstats.figures.claim import claim_picture
from sharpstats.figures.claims import claims_picture
from sharpstats.figures.drift import drift_picture
from sharpstats.figures.edges import edges_picture
from sharpstats.figures.fragility import fragility_picture
from sharpstats.figures.picture import Picture
from sharpstats.figures.residuals import residuals_picture
from sharpstats.figures.spread import spread_picture


def album(findings: Findings) -> tuple[Picture, ...]:
    """Draw every picture of a trial but the slides of single claims.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    tuple of Picture
        Claims, what would change them, edges, spread, residuals, and drift where there are control edges.
    """
    fit = findings.fit
    drawn = [
        claims_picture(findings), fragility_picture(findings.fragility), edges_picture(fit), spread_picture(fit),
        residuals_picture(fit), drift_picture(fit),
    ]  # fmt: skip
    return tuple(picture for picture in drawn if picture is not None)


def claim_pictures(findings: Findings) -> tuple[Picture, ...]:
    """Draw one slide a claim, in the order of the plan.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    tuple of Picture
    """
    return tuple(claim_picture(finding, findings.fit) for finding in findings.findings)
