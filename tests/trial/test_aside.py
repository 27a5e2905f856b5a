from __future__ import annotations

import numpy as np

from sharpstats.trial.aside import Asides, tagged, untagged


def test_reasons_of_a_row_are_joined_in_the_order_of_the_rules(frame):
    asides = Asides(frame(reading=["x", "y", "z"]))
    asides.add(np.array([2]), "reading", "negative", "Third.")
    asides.add(np.array([True, False, True]), "reading", "not-a-number", ["First.", "Again."])
    table = asides.table()
    assert table["row"].tolist() == [2, 4]
    assert table["code"].tolist() == ["not-a-number", "negative"]
    assert table["reason"].tolist() == ["First.", "Third.; Again."]
    assert table["value"].tolist() == ["x", "z"]
    assert asides.kept.tolist() == [False, True, False]


def test_the_same_reason_twice_is_said_once(frame):
    asides = Asides(frame(reading=["x"]))
    asides.add(np.array([0]), "reading", "negative", "No.")
    asides.add(np.array([0]), "reading", "negative", "No.")
    assert asides.table()["reason"].tolist() == ["No."]


def test_nothing_set_aside_is_an_empty_table(frame):
    asides = Asides(frame(reading=["x"]))
    asides.add(np.array([False]), "reading", "negative", "No.")
    assert asides.table().shape == (0, 6)
    assert asides.kept.all()


def test_a_published_reason_gives_its_code_back():
    assert untagged(tagged("negative", "So\nit is.")) == ("negative", "So\nit is.")


def test_what_a_person_writes_in_brackets_is_no_code():
    assert untagged("[sic] slipped") == ("by-hand", "[sic] slipped")
