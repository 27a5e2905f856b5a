"""Inks, marks and letters that all pictures share."""

from __future__ import annotations

from itertools import combinations

import matplotlib
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sharpstats.figures import style

# Linear maps of linear RGB that imitate the three kinds of dichromatic vision
# (Machado, Oliveira & Fernandes 2009, IEEE Transactions on Visualization and Computer Graphics 15:1291-1298).
VISION = {
    "common": np.eye(3),
    "protanopia": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                            [-0.003882, -0.048116, 1.051998]]),
    "deuteranopia": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                              [-0.011820, 0.042940, 0.968881]]),
    "tritanopia": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                            [0.004733, 0.691367, 0.303900]]),
}  # fmt: skip


def linear(ink: str) -> np.ndarray:
    sign = np.array([int(ink[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(sign <= 0.04045, sign / 12.92, ((sign + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    x, y, z = to_xyz @ np.clip(rgb, 0, 1) / np.array([0.9505, 1.0, 1.089])
    x, y, z = (np.cbrt(v) if v > 0.008856 else 7.787 * v + 16 / 116 for v in (x, y, z))
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def contrast(ink: str) -> float:
    return float(1.05 / (linear(ink) @ [0.2126, 0.7152, 0.0722] + 0.05))


@pytest.mark.parametrize("vision", VISION)
def test_inks_are_told_apart_by_every_kind_of_colour_vision(vision: str) -> None:
    seen = [lab(VISION[vision] @ linear(ink)) for ink in style.INKS]
    assert min(float(np.linalg.norm(a - b)) for a, b in combinations(seen, 2)) > 15


@pytest.mark.parametrize("ink", style.INKS)
def test_marks_stand_out_from_the_ground(ink: str) -> None:
    assert contrast(ink) > 3  # WCAG 2.2, 1.4.11


@pytest.mark.parametrize("ink", [style.INK, style.SOFT])
def test_letters_stand_out_from_the_ground(ink: str) -> None:
    assert contrast(ink) > 4.5  # WCAG 2.2, 1.4.3


def test_every_medium_of_twelve_has_a_look_of_its_own() -> None:
    assert len({(style.ink(i), style.mark(i)) for i in range(12)}) == 12
    assert len({style.mark(i) for i in range(12)}) == 12


def test_settings_of_the_user_have_no_influence_and_come_back() -> None:
    with matplotlib.rc_context({"font.size": 40, "text.parse_math": True, "axes.grid": True}):
        with style.styled():
            assert matplotlib.rcParams["font.size"] == style.NORMAL
            assert not matplotlib.rcParams["text.parse_math"]
            assert not matplotlib.rcParams["axes.grid"]
        assert matplotlib.rcParams["font.size"] == 40


@pytest.mark.parametrize(
    ("text", "drawn"),
    [
        ("slate", "slate"), ("石", "□"), ("a\nb", "a b"), ("👩🏽\u200d🔧", "□□□"), ("☀\ufe0f", "☀"), ("😀", "😀"),
        ("$x_1^2$", "$x_1^2$"),
    ],
)
def test_drawable(text: str, drawn: str) -> None:
    assert style.drawable(text) == drawn


@settings(max_examples=60)
@given(st.text(max_size=80), st.floats(0.5, 4.0), st.integers(1, 4))
def test_wrapped_lines_fit_their_room(text: str, room: float, lines: int) -> None:
    found = style.wrapped(text, room, lines=lines)
    assert 1 <= len(found) <= lines
    assert all(style.text_width(line, style.NORMAL) <= room + 1e-9 for line in found)


def test_wrapping_loses_nothing_that_fits() -> None:
    text = "roofing slate from an old barn"
    assert " ".join(style.wrapped(text, 1.3, lines=9)) == text
    assert style.wrapped(text, 9.0) == [text]


def test_bold_letters_are_wider() -> None:
    assert style.text_width("slate", 11.0, bold=True) > style.text_width("slate", 11.0) > 0
