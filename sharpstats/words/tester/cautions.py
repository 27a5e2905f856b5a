"""Cautions for whoever studies a tester: cutting with bare edges, hanging masses."""

from __future__ import annotations

from sharpstats.words.passage import Passage

TESTING = (
    "Every cut is made with a bare edge: wear a cut-resistant glove on the hand that holds the blade, clamp the blade "
    "where the tester allows it, and keep fingers out of the line of the cut.",
    "A filament under load whips when it parts: protect your eyes.",
    "Hang masses low over a soft mat and from a sound hook, keep feet out from under them, and stay within what the "
    "tester can carry.",
    "Take blades away before you hang a mass: for that no edge is needed.",
    "Put a guard on each edge on the way from one person to the next, hand over the handle, and count the blades "
    "before you clear the bench.",
    "Blades that travel to another shop go in a hard case that says what is in it.",
    "The makers' instructions, local rules and workplace safety advice come before anything written here.",
)


def testing_safety() -> Passage:
    """Return the cautions for whoever studies a tester.

    Examples
    --------
    >>> testing_safety().points[1]
    'A filament under load whips when it parts: protect your eyes.'
    """
    return Passage("Before you cut or hang a mass", points=TESTING)
