from __future__ import annotations

import pandas as pd

from sharpstats.notes import Note
from sharpstats.trial.table import Damage, TextTable, join_tables


def test_tables_are_joined_with_everything_that_belongs_to_them(frame):
    one = TextTable(
        frame=frame(edge=["e1"], reading=["1,5"]), repairs=(Note("a", "A."),), units={"a.csv": {"reading": "N"}}
    )
    damage = Damage(file="b.csv", row=2, value="x", reason="No.")
    two = TextTable(frame=frame(note=["hm"], edge=["e2"]), damage=(damage,), units={"b.csv": {}}, decimal_comma=True)
    both = join_tables([one, two])
    assert both.names == ("edge", "reading", "note")
    assert both.frame[["edge", "reading", "note"]].to_numpy().tolist() == [["e1", "1,5", ""], ["e2", "", "hm"]]
    assert both.repairs == one.repairs
    assert both.damage == (damage,)
    assert dict(both.units) == {"a.csv": {"reading": "N"}, "b.csv": {}}
    assert both.decimal_comma
    assert all(pd.api.types.is_string_dtype(both.frame[name]) for name in (*both.names, "file"))
    assert both.frame["row"].dtype == int


def test_one_table_stays_as_it_is(frame):
    table = TextTable(frame=frame(edge=["e1"]))
    assert join_tables([table]) is table
