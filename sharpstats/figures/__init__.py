"""Pictures of results: they draw numbers and make none. Each comes with its data and a sentence."""

from sharpstats.figures.album import album, claim_pictures
from sharpstats.figures.claim import claim_picture
from sharpstats.figures.claims import claims_picture
from sharpstats.figures.drift import drift_picture
from sharpstats.figures.edges import edges_picture
from sharpstats.figures.fragility import fragility_picture
from sharpstats.figures.picture import Picture
from sharpstats.figures.residuals import residuals_picture
from sharpstats.figures.spread import spread_picture

__all__ = [
    "Picture",
    "album",
    "claim_picture",
    "claim_pictures",
    "claims_picture",
    "drift_picture",
    "edges_picture",
    "fragility_picture",
    "residuals_picture",
    "spread_picture",
]
