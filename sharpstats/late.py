"""The only places where the package looks to the right, or back at itself.

Imports flow one way (see DEVELOPERS.md). A trial that can be told `trial.fit()`, and a
result that shows itself in a notebook, need code from layers further right. They get it
here, by name and at the time of the call, and nowhere else. So does a tester study, whose
examination needs to know what a study is.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

DOORS = {
    "fit": "sharpstats.model.trialfit:fit_trial",
    "examine": "sharpstats.tester.examine:examine",
    "judge": "sharpstats.claims.judge:judge_trial",
    "fragility": "sharpstats.claims.fragility:fragility",
    "publish": "sharpstats.publish.publish:publish",
    "html": "sharpstats.words.display:as_html",
    "text": "sharpstats.words.display:as_text",
}


def late(door: str) -> Callable[..., Any]:
    """Return the function behind a door.

    Examples
    --------
    >>> late("html").__name__
    'as_html'
    """
    module, name = DOORS[door].split(":")
    function: Callable[..., Any] = getattr(import_module(module), name)
    return function


class Shown:
    """Gives a result its rich display in a notebook and its text on a terminal."""

    __slots__ = ()

    def _repr_html_(self) -> str:
        html: str = late("html")(self)
        return html

    def __str__(self) -> str:
        text: str = late("text")(self)
        return text

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, str]:
        """Give both at once, so that IPython does not print every field of a dataclass as the text."""
        return {"text/plain": str(self), "text/html": self._repr_html_()}
