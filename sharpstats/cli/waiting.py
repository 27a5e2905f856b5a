"""A word on the error stream when something takes longer than a second."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

PATIENCE = 1.0


@contextmanager
def waiting(what: str) -> Iterator[None]:
    """Say `what` is going on if the block is not over within a second.

    Parameters
    ----------
    what : str
        For example ``reading my-trial``.
    """
    timer = threading.Timer(PATIENCE, say, args=(what,))
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def say(what: str) -> None:
    """Write one line of progress to the error stream."""
    print(f"sharpstats: {what} ...", file=sys.stderr, flush=True)
