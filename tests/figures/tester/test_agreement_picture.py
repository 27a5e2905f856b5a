"""What is drawn of agreement: each edge, the mean and both limits with their bands and numbers."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes

from sharpstats.figures.tester.agreement import agreement_picture
from sharpstats.tester.agreement import Agreement, agree


def found(names: tuple[str, ...] = ("ann", "bo"), *, edges: int = 10, scale: str = "as read") -> Agreement:
    rng = np.random.default_rng(1)
    rows = [(f"e{edge}", name, true + 6 * (place == 0) + rng.normal(0, 8)) for edge, true in
            enumerate(rng.uniform(90, 240, edges)) for place, name in enumerate(names) for _ in range(3)]  # fmt: skip
    frame = pd.DataFrame(rows, columns=["edge", "operator", "reading"])
    return agree(frame, by="operator", unit="gf", scale=scale)  # type: ignore[arg-type]


def drawn(axes: Axes, label: str) -> np.ndarray:
    (line,) = [line for line in axes.get_lines() if line.get_label() == label]
    return np.column_stack(line.get_data())


def test_marks_lines_and_bands() -> None:
    result = found()
    (pair,), picture = result.pairs, agreement_picture(result)
    (axes,) = picture.figure.axes
    np.testing.assert_allclose(drawn(axes, "edges"), np.column_stack([pair.averages, pair.differences]))
    limits = pair.limits
    for label, value, low, high in (("mean", pair.difference, pair.low, pair.high),
                                    ("upper limit", limits.high, limits.high_from, limits.high_to),
                                    ("lower limit", limits.low, limits.low_from, limits.low_to)):  # fmt: skip
        assert drawn(axes, label)[:, 1] == pytest.approx([value, value])
        (band,) = [patch for patch in axes.patches if patch.get_label() == f"{label} interval"]
        box = band.get_path().transformed(band.get_patch_transform()).get_extents()
        assert (box.y0, box.y1) == (pytest.approx(low), pytest.approx(high))
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("mean of both, gf", "reads higher by, gf")


def test_percent_on_the_log_scale() -> None:
    result = found(scale="log")
    (pair,), picture = result.pairs, agreement_picture(result)
    np.testing.assert_allclose(picture.data["difference"], 100 * np.expm1(pair.differences))
    np.testing.assert_allclose(picture.data["reading"], np.exp(pair.averages))
    assert picture.figure.axes[0].get_ylabel() == "reads higher by, %"
    assert picture.figure.axes[0].get_xscale() == "log"


def test_level_and_direction_are_said() -> None:
    picture = agreement_picture(found())
    texts = " ".join(text.get_text() for text in picture.figure.texts)
    assert "ann minus bo" in texts
    assert "Bands: 95\u00a0% intervals." in " ".join(texts.split("\n"))
    assert picture.alt.startswith("Ann reads ")


def test_a_panel_for_each_pair_and_few_edges() -> None:
    result = found(("ann", "bo", "$c$"), edges=3)
    picture = agreement_picture(result)
    assert len(picture.figure.axes) == len(result.pairs) == 3
    for axes, pair in zip(picture.figure.axes, result.pairs, strict=True):
        low, high = axes.get_ylim()
        assert high - low <= 4 * (pair.limits.high - pair.limits.low) + 4 * abs(pair.difference)
        assert low < pair.limits.low and pair.limits.high < high
    assert picture.png_bytes.startswith(b"\x89PNG")


def test_labels_do_not_overlap() -> None:
    picture = agreement_picture(found(edges=3))
    (axes,) = picture.figure.axes
    picture.figure.canvas.draw()
    boxes = sorted((text.get_window_extent() for text in axes.texts), key=lambda box: box.y0)
    assert all(below.y1 <= above.y0 for below, above in pairwise(boxes))
    assert max(box.x1 for box in boxes) <= picture.figure.bbox.x1
