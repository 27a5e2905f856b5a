"""A trial whose labels try to be markup, code, formulas or nothing a table was made for."""

from __future__ import annotations

import csv
import json
from pathlib import Path

SCRIPT = "<script>window.hit = 1; document.title = 'hit'</script>"
IMAGE = "<img src=x onerror=\"window.hit = 2\">"
FORMULA = "=1+1"
BROKEN = "line one\nline two"
QUOTES = "a \"double\" and a 'single' `tick`"
TEX = "$\\href{javascript:window.hit=3}{x}$ \\(y\\) **bold** [link](javascript:window.hit=4)"
EMOJI = "slate 🪨👩🏽‍🔧"
LONG = "very long " * 29 + "name here!"
CLOSING = "</title></style></script></details><b onmouseover='window.hit = 5'>]]>--><!--"

MEDIA = (SCRIPT, FORMULA, EMOJI, LONG)
BLADES = (BROKEN, QUOTES, TEX, IMAGE)
ALL = (SCRIPT, IMAGE, FORMULA, BROKEN, QUOTES, TEX, EMOJI, LONG, CLOSING)


def write_hostile_trial(place: Path) -> Path:
    """Write a trial that can be judged, and return its folder; its readings are invented."""
    folder = place / "hostile"
    folder.mkdir()
    (folder / "trial.toml").write_text(_plan(), encoding="utf-8")
    with (folder / "readings.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["edge", "medium", "blade", "cut", "reading", "note", "set_aside", CLOSING])
        for i, blade in enumerate(BLADES):
            for j, medium in enumerate(MEDIA):
                for cut in (1, 2):
                    reading = 140 + 9 * i + 12 * j + 3 * cut + 5 * ((3 * i + j) % 4)
                    aside = SCRIPT if (i, j, cut) == (0, 0, 2) else ""
                    writer.writerow([f"{IMAGE} {i}{j}", medium, blade, cut, reading, TEX, aside, FORMULA])
        writer.writerow([f"{IMAGE} 00", MEDIA[0], BLADES[0], 3, IMAGE, "", "", ""])
    return folder


def _plan() -> str:
    return f"""\
title = {_toml(SCRIPT + TEX)}
question = {_toml(CLOSING + QUOTES)}
[factors]
medium = [{", ".join(map(_toml, MEDIA))}]
[layout]
blocks = ["blade"]
[levels]
{_toml(IMAGE)} = "170 gf"
[publishing]
author = {_toml(SCRIPT)}
[[claim]]
id = "one"
says = {_toml(IMAGE + BROKEN)}
kind = "same"
medium = {_toml(SCRIPT)}
than = {_toml(FORMULA)}
margin = "15 %"
[[claim]]
id = "two"
says = {_toml(LONG)}
kind = "keener"
medium = {_toml(EMOJI)}
than = {_toml(LONG)}
by = "0 %"
[[claim]]
id = "three"
says = {_toml(CLOSING)}
kind = "reaches"
medium = {_toml(EMOJI)}
level = {_toml(IMAGE)}
share = "90 %"
"""


def _toml(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
