"""Time things side by side in one run and print their ratio; nothing here fails on time."""

from __future__ import annotations

import time
from collections.abc import Callable


def best(work: Callable[[], object], repeats: int = 5, loops: int = 1) -> float:
    """Shortest time of one call, in seconds."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        for _ in range(loops):
            work()
        times.append((time.perf_counter() - start) / loops)
    return min(times)


def report(title: str, ours: float, peer: float, peer_name: str) -> None:
    """Print both times and how many times faster ours is."""
    print(f"\n{title}: ours {1e3 * ours:.2f} ms, {peer_name} {1e3 * peer:.2f} ms, {peer / ours:.1f} times as long")
