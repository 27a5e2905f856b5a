"""One file for each kind of claim: how its findings are told. A new kind is a file and an entry here."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from sharpstats.words.kinds.gap import GAP
from sharpstats.words.kinds.keener import KEENER
from sharpstats.words.kinds.noworse import NO_WORSE
from sharpstats.words.kinds.reaches import REACHES
from sharpstats.words.kinds.same import SAME
from sharpstats.words.kinds.shared import KindWords
from sharpstats.words.kinds.steadier import STEADIER

KINDS: Mapping[str, KindWords] = MappingProxyType(
    {"same": SAME, "no worse": NO_WORSE, "keener": KEENER, "gap": GAP, "steadier": STEADIER, "reaches": REACHES}
)
"""Kind as the plan names it -> its words."""
