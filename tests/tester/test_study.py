"""Opening a tester study: what is used, what is set aside, and in which order cuts were made."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sharpstats.errors import PlanError, TrialError
from sharpstats.tester.plan import CheckMasses, TesterPlan
from sharpstats.tester.rows import check_masses, check_tested
from sharpstats.tester.study import TesterStudy, open_tester
from sharpstats.trial.table import TextTable

PLAN = 'title = "Our tester"\n'
Open = Callable[..., TesterStudy]


@pytest.fixture
def study(tmp_path: Path) -> Open:
    """Return a function that writes files and opens the study."""

    def make(plan: str = PLAN, **files: str) -> TesterStudy:
        (tmp_path / "tester.toml").write_text(plan, encoding="utf-8")
        for name, text in files.items():
            (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
        return open_tester(tmp_path)

    return make


def codes(one: TesterStudy) -> list[tuple[int, str, str]]:
    return list(one.set_aside[["row", "column", "code"]].itertuples(index=False, name=None))


def texts(one: TesterStudy) -> str:
    return "\n".join(map(str, (*one.repairs, *one.cautions)))


def test_two_operators_may_cut_one_edge_and_each_count_their_own(study: Open) -> None:
    rows = "".join(f"{run},e{1 + run % 2},{'AB'[run // 6]},{1 + run // 2 % 3},15{run}\n" for run in range(12))
    one = study(readings="run,edge,operator,cut,reading\n" + rows.replace("0,e1", "12,e1", 1))
    assert one.counts["used"] == 12
    assert (one.counts["edges"], one.counts["operators"]) == (2, 2)
    assert not codes(one)


def test_cut_numbers_that_run_on_along_the_edge_tell_the_order(study: Open) -> None:
    one = study(readings="edge,operator,cut,reading\ne1,A,2,150\ne1,A,1,151\ne1,B,4,153\ne1,B,3,152\n")
    assert one.readings is not None
    assert one.readings["order"].tolist() == [2, 1, 4, 3]
    assert "turn" not in one.readings


def test_the_turn_comes_from_run_or_from_the_time(study: Open) -> None:
    by_run = study(readings="run,edge,operator,cut,reading\n3,e1,A,1,150\n1,e1,B,1,151\n2,e2,A,1,152\n")
    assert by_run.readings is not None
    assert by_run.readings["turn"].tolist() == [3, 1, 2]
    assert by_run.readings["order"].tolist() == [2, 1, 1]
    by_time = study(
        readings="edge,operator,cut,reading,taken_at\ne1,A,1,150,2026-11-25T10:09\ne1,B,1,151,2026-11-25T09:00\n"
    )
    assert by_time.readings is not None
    assert by_time.readings["turn"].tolist() == [2, 1]


def test_an_unknown_order_is_said_and_not_guessed(study: Open) -> None:
    one = study(readings="edge,operator,cut,reading\ne1,A,1,150\ne1,B,1,151\n")
    assert one.readings is not None
    assert "order" not in one.readings
    assert "Nothing says in which order the cuts were made" in texts(one)


def test_a_cut_that_was_set_aside_was_made_all_the_same(study: Open) -> None:
    one = study(readings="run,edge,reading,set_aside\n1,e1,150,\n2,e1,,filament slipped\n3,e1,,\n4,e1,152,\n")
    assert one.readings is not None
    assert one.readings["order"].tolist() == [1, 3]
    assert codes(one) == [(3, "set_aside", "by-hand"), (4, "reading", "no-reading")]


def test_a_row_that_does_not_say_which_edge_leaves_the_order_of_the_others_known(study: Open) -> None:
    for lost in ("3,e1,151,,and,more", ",,,lost"):
        one = study(readings=f"run,edge,reading,set_aside\n1,e1,150,\n2,e1,152,\n{lost}\n4,e1,153,\n")
        assert one.readings is not None
        assert one.readings["turn"].tolist() == [1, 2, 4]
        assert one.readings["order"].tolist() == [1, 2, 3]


def test_a_row_without_its_operator_is_set_aside_where_others_have_one(study: Open) -> None:
    one = study(readings="edge,operator,cut,reading\ne1,A,1,150\ne1,,2,151\n")
    assert codes(one) == [(3, "operator", "no-value")]
    assert "The row has no operator, though others have" in one.set_aside["reason"].iloc[0]
    blank = study(readings="edge,operator,cut,reading\ne1,,1,150\ne1,,2,151\n")
    assert blank.counts["used"] == 2


def test_readings_keep_to_the_unit_of_the_plan(study: Open) -> None:
    one = study('title = "T"\nunit = "N"\n', readings="edge,Reading (gf)\ne1,100\ne1,102 g\n")
    assert one.readings is not None
    np.testing.assert_allclose(one.readings["reading"], [0.980665, 1.0002783], rtol=1e-14)


def test_a_column_of_ones_own_that_is_called_order_stays(study: Open) -> None:
    one = study(readings="edge,cut,reading,order\ne1,1,150,first\ne1,2,151,second\n")
    assert one.readings is not None
    assert one.readings["order (as read)"].tolist() == ["first", "second"]
    assert one.readings["order"].tolist() == [1, 2]


def test_check_masses_become_forces(study: Open) -> None:
    one = study(
        PLAN + "[masses]\ngravity = 9.81\n",
        masses="mass_g,direction,series,reading\n0,,1,-0.3\n100,Up,1,100.4\n100 g,down,1,101\n",
    )
    assert one.masses is not None
    np.testing.assert_allclose(one.masses["applied"], [0, 100 * 9.81 / 9.80665, 100 * 9.81 / 9.80665], rtol=1e-14)
    assert one.masses["direction"].tolist() == ["", "up", "down"]
    assert one.masses["reading"].tolist() == [-0.3, 100.4, 101]


def test_masses_that_cannot_be_read_are_set_aside(study: Open) -> None:
    one = study(masses="mass_g,applied,direction,reading\n0.1 kg,,up,100\n,,up,100\n100,99,up,100\n100,,across,100\n")
    assert [code for *_, code in codes(one)] == ["no-value", "no-value", "two-values", "unknown-level"]
    assert one.counts["used"] == 0


def test_a_mass_file_says_how_much_was_applied() -> None:
    frame = pd.DataFrame({"weight": ["100"], "reading": ["99"], "file": "masses.csv", "row": [2]})
    with pytest.raises(TrialError, match="neither a column mass_g"):
        check_masses(TextTable(frame=frame), TesterPlan(title="T"))


def test_shops_are_read_by_shop_and_batch(study: Open) -> None:
    one = study(shops="shop,batch,cut,reading\nnorth,fine,1,150\nnorth,fine,1,151\nsouth,fine,1,152\n,fine,1,153\n")
    assert one.shops is not None
    assert one.shops["shop"].tolist() == ["south"]
    assert [code for *_, code in codes(one)] == ["cut-read-twice", "cut-read-twice", "no-value"]
    assert 'Cut 1 of edge "north, fine"' in one.set_aside["reason"].iloc[0]


def test_what_differs_from_the_plan_is_said(study: Open) -> None:
    plan = PLAN + "[layout]\noperators = 3\nedges = 1\ncuts = 2\n"
    one = study(plan, readings="run,edge,operator,cut,reading\n1,e1,A,1,150\n2,e1,A,2,151\n3,e1,B,1,151\n")
    assert "The plan has 3 operators; the readings that are used have 2." in texts(one)
    assert 'The plan has 2 cuts each; 1 of 2 have another number (first: "e1 by B" with 1).' in texts(one)
    assert "edges;" not in texts(one)


def test_a_folder_that_is_no_study_says_what_is_missing(tmp_path: Path) -> None:
    with pytest.raises(TrialError, match=r"has no tester.toml.*sharpstats new --tester"):
        open_tester(tmp_path)
    with pytest.raises(TrialError, match="There is no folder"):
        open_tester(tmp_path / "nowhere")
    (tmp_path / "tester.toml").write_text(PLAN, encoding="utf-8")
    with pytest.raises(TrialError, match="has nothing to study"):
        open_tester(tmp_path)
    (tmp_path / "tester.toml").write_text("title = 3", encoding="utf-8")
    with pytest.raises(PlanError, match="title"):
        open_tester(tmp_path / "tester.toml")
    (tmp_path / "tester.toml").write_text(PLAN, encoding="utf-8")
    for name in ("readings.csv", "readings.xlsx"):
        (tmp_path / name).write_text("edge,reading\n", encoding="utf-8")
    with pytest.raises(TrialError, match=r'has "readings\.csv" and "readings\.xlsx"'):
        open_tester(tmp_path)


CELL = st.sampled_from(["150", "151,5", "", ">900", "x", "-3", "0", "1e2", " 149 gf"])


@settings(max_examples=25, deadline=None)
@given(
    rows=st.lists(st.tuples(st.sampled_from(["e1", "e2", ""]), st.sampled_from(["A", "B", ""]), CELL), max_size=12),
    seed=st.integers(0, 2**16),
)
def test_every_row_is_used_or_set_aside_whatever_the_order_of_the_file(
    rows: list[tuple[str, str, str]], seed: int
) -> None:
    frame = pd.DataFrame(rows, columns=["edge", "operator", "reading"], dtype="str")
    frame["run"] = [str(i) for i in range(len(rows))]
    frame["file"], frame["row"] = "readings.csv", np.arange(len(rows)) + 2
    shuffled = frame.sample(frac=1, random_state=seed).reset_index(drop=True)
    plan = TesterPlan(title="T", masses=CheckMasses())
    one, other = (check_tested(TextTable(frame=each), plan) for each in (frame, shuffled))
    assert len(one.readings) + len(one.set_aside) == len(rows)
    columns = [name for name in ("row", "edge", "reading", "turn", "order") if name in one.readings]
    pd.testing.assert_frame_equal(
        one.readings[columns].sort_values("row").reset_index(drop=True),
        other.readings[columns].sort_values("row").reset_index(drop=True),
        check_dtype=False,
    )
