from __future__ import annotations

import pytest

from sharpstats.trial.plan import Layout


def cautions(checked) -> dict[str, str]:
    return {note.code: note.text for note in checked.cautions}


@pytest.mark.parametrize(
    "label", ["05-Jun", "Jun-05", "5-Mai", "2026-06-05", "2026-06-05 00:00:00", "05.06.2026", "6/5/26"]
)
@pytest.mark.parametrize("column", ["edge", "blade"])
def test_a_label_that_became_a_date_is_pointed_out_not_mended(check_text, label: str, column: str):
    row = {"edge": "e1", "blade": "B1"} | {column: label}
    checked = check_text(f"edge,blade,medium,reading\nx,y,film,150\n{row['edge']},{row['blade']},slate,152\n")
    assert checked.readings[column].tolist()[1] == label
    assert cautions(checked)["label-is-date"] == (
        f'1 cell(s) of {column} hold a date such as "{label}" (first: readings.csv, row 3): a spreadsheet program may '
        "have made it of a label like 5-6, so look at your notes and write it as text."
    )


@pytest.mark.parametrize("label", ["5-6", "R-0007-K", "e-12", "12", "june-bug", "2026", "1.5", "v1.2.3"])
def test_other_labels_are_no_dates(check_text, label: str):
    checked = check_text(f"edge,medium,reading\n{label},slate,152\n")
    assert "label-is-date" not in cautions(checked)


def test_days_may_be_dates(check_text):
    checked = check_text("edge,day,medium,reading\ne1,2026-06-05,slate,152\n", layout=Layout(blocks=("day",)))
    assert "label-is-date" not in cautions(checked)


@pytest.mark.parametrize(("one", "two"), [("B1", "b1"), ("1", "1.0"), ("B 1", "B  1")])
def test_labels_that_look_alike_are_pointed_out(check_text, one: str, two: str):
    checked = check_text(f"edge,blade,medium,reading\ne1,{one},slate,152\ne2,{two},film,150\n")
    assert cautions(checked)["look-alike-labels"] == (
        f'"{one}" and "{two}" count as two values of blade; if they are one, write them alike.'
    )


def test_readings_that_are_probably_newtons_are_pointed_out(check_text):
    checked = check_text("edge,medium,reading\ne1,slate,1.49\ne2,film,1.52\n")
    assert cautions(checked)["unit-unlikely"] == (
        'The middle reading is 1.505 gf, which is unusual; if your tester shows N, write unit = "N" in the plan.'
    )
    assert "unit-unlikely" not in cautions(check_text("edge,medium,reading\ne1,slate,1.49\ne2,film,1.52\n", unit="N"))


def test_a_limit_far_above_the_other_cuts_of_its_edge_is_pointed_out(check_text):
    rows = "e1,slate,152\ne1,slate,>1500\ne1,slate,150\ne2,film,390\ne2,film,>1500\ne3,film,>1500\n"
    checked = check_text("edge,medium,reading\n" + rows)
    assert cautions(checked)["over-range-far-off"] == (
        "1 cut(s) are over a range that ends more than 4 times above the other cuts of their edge (first: "
        "readings.csv, row 3): did the filament catch, or slip off? As it stands such a cut makes the spread of all "
        "cuts look large; set it aside if there was a reason, and write the reason down."
    )
    assert len(checked.readings) == 6
    near = check_text("edge,medium,reading\n" + rows.replace("152", "400").replace("150\n", "450\n"))
    assert "over-range-far-off" not in cautions(near)


def test_a_lost_decimal_sign_is_pointed_out(check_text):
    checked = check_text("edge,medium,reading\ne1,slate,152\ne1,slate,1480\ne1,slate,150\ne2,film,150\ne2,film,1500\n")
    assert cautions(checked)["reading-far-off"] == (
        "1 reading(s) lie more than 4 times above or below the other cuts of their edge (first: readings.csv, row 3, "
        "1480); look for a slip; set none aside without a reason."
    )
    assert len(checked.readings) == 5


def test_a_spot_cut_twice_is_pointed_out(check_text):
    checked = check_text(
        "edge,medium,position_mm,reading\ne1,slate,4,152\ne1,slate,8,150\ne1,slate,4,149\ne2,film,4,1e2\n"
    )
    assert cautions(checked)["same-spot"] == (
        "1 cut(s) were made where their edge had been cut before (first: readings.csv, row 4); cut at a fresh spot "
        "each time, as a cut changes the edge."
    )


def test_blank_positions_are_no_spot(check_text):
    checked = check_text("edge,medium,position_mm,reading\ne1,slate,,152\ne1,slate,,150\n")
    assert "same-spot" not in cautions(checked)
