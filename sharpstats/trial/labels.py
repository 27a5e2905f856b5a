"""Columns of labels: each distinct text once, and which row has which."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Codes = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Labels:
    """A column as codes and distinct texts.

    Attributes
    ----------
    codes : ndarray of int, shape (rows,)
        Which of `texts` each row has.
    texts : tuple of str
        The distinct texts.
    source : Series or None
        The column itself, as long as no text was changed.
    """

    codes: Codes
    texts: tuple[str, ...]
    source: pd.Series | None = field(default=None, repr=False)

    def rows_where(self, flags: Sequence[bool] | Flags) -> Flags:
        """Return which rows have a text that is flagged; one flag for each distinct text.

        Examples
        --------
        >>> encode(pd.Series(["slate", "film", "slate"])).rows_where([True, False])
        array([ True, False,  True])
        """
        flagged = np.asarray(flags, dtype=bool)
        return flagged[self.codes] if flagged.any() else np.zeros(len(self.codes), dtype=bool)

    def renamed(self, texts: Sequence[str]) -> Labels:
        """Replace the distinct texts one by one; those that become the same are put together.

        Examples
        --------
        >>> encode(pd.Series(["a ", "a", "b"])).renamed(["a", "a", "b"])
        Labels(codes=array([0, 0, 1]), texts=('a', 'b'))
        """
        if tuple(texts) == self.texts:
            return self
        codes, distinct = pd.factorize(np.asarray(texts, dtype=object))
        return Labels(codes.astype(np.int64)[self.codes], tuple(distinct))

    def spread(self, values: Sequence[str], which: Flags) -> NDArray[np.object_]:
        """Give some rows the value that belongs to their text; one value for each distinct text."""
        return np.asarray(values, dtype=object)[self.codes[which]]

    def column(self) -> pd.Series:
        """Return the column as text."""
        if self.source is not None:
            return self.source
        texts = pd.array(list(self.texts) or [""], dtype="str")
        return pd.Series(texts.take(self.codes))


def encode(texts: pd.Series) -> Labels:
    """Find the distinct texts of a column.

    Examples
    --------
    >>> encode(pd.Series(["slate", "film", "slate"]))
    Labels(codes=array([0, 1, 0]), texts=('slate', 'film'))
    """
    codes, distinct = pd.factorize(texts)
    return Labels(np.asarray(codes, dtype=np.int64), tuple(distinct.tolist()), texts)


def tidy(text: str) -> str:
    r"""Return a label without surrounding space and with plain single spaces inside.

    Examples
    --------
    >>> tidy(" lapping\u00a0 film ")
    'lapping film'
    """
    return " ".join(text.split())


def key_of(text: str) -> str:
    """Return the form in which spellings are compared; ``50.0`` is what a spreadsheet makes of 50.

    Examples
    --------
    >>> key_of(" Lapping  Film"), key_of("50.0"), key_of("50.5")
    ('lapping film', '50', '50.5')
    """
    key = tidy(text).casefold()
    head, point, tail = key.partition(".")
    return head if point and head.isdecimal() and tail and not tail.strip("0") else key
