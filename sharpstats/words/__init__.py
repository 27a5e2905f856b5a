"""Results in words and tables: numbers, findings, methods, cautions, and how each result shows itself."""

from sharpstats.words.cautions import limits, safety
from sharpstats.words.display import as_html, as_text
from sharpstats.words.findings import Told, tell
from sharpstats.words.methods import methods_text
from sharpstats.words.passage import Passage

__all__ = ["Passage", "Told", "as_html", "as_text", "limits", "methods_text", "safety", "tell"]
