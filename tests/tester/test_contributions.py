"""`[[contribution]]` of a plan: what it may say, and how each mistake is told."""

from __future__ import annotations

import math

import pytest

from sharpstats.errors import PlanError
from sharpstats.tester.contribution import Contribution
from sharpstats.tester.contributions import contribution_keys, read_contributions
from sharpstats.trial.item import Item
from sharpstats.trial.toml import toml_root


def listed_item(text: str) -> Item:
    return toml_root(text, "tester.toml").child("contribution")


def wrong(text: str) -> list[str]:
    """Everything that is told about one contribution with this text after its name."""
    item = listed_item(f'[[contribution]]\nname = "x"\n{text}')
    assert read_contributions(item) == ()
    return [str(problem) for problem in item.problems]


def test_everything_it_may_say() -> None:
    item = listed_item("""
[[contribution]]
name = "check  masses"
half_width = "0,5 gf"
kind = "B"
source = "class M2"

[[contribution]]
name = "filament"
standard = "2 %"
doubt = "25 %"
averages = true

[[contribution]]
name = "scale"
expanded = "0.01 N"
level = 0.95
df = 5
kind = "A"
cancels = true

[[contribution]]
name = "swing"
half_width = "1 gf"
distribution = "u-shaped"
""")
    masses, filament, scale, swing = read_contributions(item)
    assert item.problems == []
    assert masses == Contribution(name="check masses", half_width=0.5, unit="gf", source="class M2")
    assert filament == Contribution(name="filament", standard=2.0, df=8.0, unit="%", averages=True)
    assert (scale.unit, scale.kind, scale.cancels, scale.shape) == ("N", "A", True, "t")
    assert scale.u == pytest.approx(0.01 / 2.570582, rel=1e-6)
    assert swing.u == pytest.approx(1 / math.sqrt(2))


def test_none_at_all() -> None:
    assert read_contributions(Item(raw=None, lines={}, problems=[])) == ()


def test_not_a_list_of_tables() -> None:
    with pytest.raises(PlanError, match=r"Write \[\[contribution\]\], with two brackets"):
        read_contributions(listed_item('[contribution]\nname = "x"'))
    item = listed_item('contribution = ["x"]')
    assert read_contributions(item) == ()
    assert "must be a table, not text" in str(item.problems[0])


@pytest.mark.parametrize(("text", "says"), [
    ("", "line 1, contribution[1].half_width: The size is missing: give one of"),
    ('half_width = "1 gf"\nstandard = "1 gf"', "The size is given more than once"),
    ('expanded = "1 gf"', "`expanded` needs `k`, the coverage factor, or `level`"),
    ('expanded = "1 gf"\nk = 2\nlevel = 0.95', "line 5, contribution[1].level: `k` and `level` say the same"),
    ('standard = "1 gf"\nk = 2', "line 4, contribution[1].k: `k` says how wide `expanded` is"),
    ('half_width = 0.5', 'line 3, contribution[1].half_width: 0.5 has no unit. Write "0.5 gf".'),
    ('half_width = "0.5 lbf"', '"lbf" is not a unit known here'),
    ('half_width = "-0.5 gf"', "`half_width` must be more than zero; it is -0.5 gf."),
    ('half_width = "0 gf"', "`half_width` must be more than zero"),
    ('half_width = "1 gf"\ndistribution = "rectangle"', 'Did you mean "rectangular"?'),
    ('half_width = "1 gf"\ndistribution = "normal"', "line 4, contribution[1].distribution: A normal distribution has"),
    ('standard = "1 gf"\ndistribution = "t"', "A t distribution needs `df`"),
    ('standard = "1 gf"\nkind = "C"', '`kind` must be "A" or "B"'),
    ('standard = "1 gf"\ndf = 0.5', "`df` must be 1 or more; it is 0.5."),
    ('standard = "1 gf"\ndf = "5"', "`df` must be a number without quotes"),
    ('standard = "1 gf"\ndf = 5\ndoubt = "25 %"', "both say how well the size is known"),
    ('standard = "1 gf"\ndoubt = "80 %"', "up to 70 %"),
    ('standard = "1 gf"\ndoubt = "2 gf"', "by how many percent"),
    ('expanded = "1 gf"\nlevel = 95', "`level` must lie between 0 and 1"),
    ('standard = "1 gf"\naverages = "yes"', "`averages` must be true or false"),
    ('halfwidth = "1 gf"\nstandard = "1 gf"', 'Did you mean "half_width"?'),
])  # fmt: skip
def test_each_mistake(text: str, says: str) -> None:
    told = wrong(text)
    assert len(told) == 1
    assert says in told[0]
    assert told[0].startswith("tester.toml, line ")


def test_all_mistakes_at_once() -> None:
    item = listed_item("""
[[contribution]]
name = "a"
half_width = 1
[[contribution]]
nam = "b"
standard = "-1 gf"
[[contribution]]
name = "A"
half_width = "1 gf"
""")
    assert [one.name for one in read_contributions(item)] == ["A"]
    assert [problem.code for problem in item.problems] == [
        "no-unit", "unknown-key", "out-of-range", "missing-key", "duplicate-name",
    ]  # fmt: skip


def test_every_example_can_be_read() -> None:
    """The mends show keys as they may stand."""
    for key in contribution_keys("N"):
        size = "" if key.name in ("standard", "expanded", "half_width", "k", "level") else 'standard = "1 N"\n'
        more = {"expanded": "k = 2\n", "k": 'expanded = "1 N"\n', "level": 'expanded = "1 N"\n',
                "distribution": 'half_width = "1 N"\n'}  # fmt: skip
        size = "" if key.name == "distribution" else size
        name = "" if key.name == "name" else 'name = "x"\n'
        item = listed_item(f"[[contribution]]\n{name}{size}{more.get(key.name, '')}{key.line}")
        assert len(read_contributions(item, unit="N")) == 1, [str(problem) for problem in item.problems]
