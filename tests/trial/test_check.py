from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sharpstats.errors import PlanError
from sharpstats.trial.aside import CODES
from sharpstats.trial.check import check
from sharpstats.trial.plan import Keener, Layout, Plan
from sharpstats.trial.table import TextTable
from sharpstats.units import Quantity


def aside(checked) -> list[tuple[int, str, str]]:
    """Row, column and code of every row set aside."""
    return list(checked.set_aside[["row", "column", "code"]].itertuples(index=False, name=None))


def reason(checked) -> str:
    [text] = checked.set_aside["reason"]
    return text


def codes(notes) -> list[str]:
    return [note.code for note in notes]


def with_reading(text: str) -> str:
    return f'edge,medium,reading\ne1,slate,"{text}"\ne2,film,148\n'


# readings


@pytest.mark.parametrize(
    ("text", "code", "says"),
    [
        ("", "no-reading", "The row has no reading: the edge is not yet cut there."),
        (
            "sharp",
            "not-a-number",
            'The reading "sharp" is not a number. Write the number alone, or >1500 for over-range.',
        ),
        ("-148", "negative", 'The reading "-148" is negative, which a force that parts a filament cannot be.'),
        ("0", "not-positive", 'The reading "0" is not above zero, and such a reading has no logarithm.'),
        (">0", "not-positive", 'The reading ">0" is not above zero'),
        ("NaN", "not-finite", 'The reading "NaN" is not a finite number.'),
        ("inf", "not-finite", 'The reading "inf" is not a finite number.'),
        ("<50", "under-range", 'The reading "<50" is a limit from above, which cannot be used.'),
        ("#REF!", "spreadsheet-error", 'The cell holds "#REF!", an error of the spreadsheet program.'),
        ("=A1+1", "formula", 'The cell holds the formula "=A1+1" without its value.'),
        ("152 lbf", "unknown-unit", 'The unit of the reading "152 lbf" is not known. Give readings in gf or N.'),
        ("1,500", "ambiguous-number", '"1,500" can be read with a decimal sign or as thousands.'),
    ],
)
def test_a_reading_that_cannot_be_used_is_set_aside(check_text, text: str, code: str, says: str):
    checked = check_text(with_reading(text))
    assert aside(checked) == [(2, "reading", code)]
    assert checked.set_aside["value"].tolist() == [text]
    assert reason(checked).startswith(says)
    assert checked.readings["edge"].tolist() == ["e2"]


def test_a_lost_cut_with_its_reason_is_not_called_one_still_to_come(check_text):
    checked = check_text('edge,medium,reading,set_aside\ne1,slate,,filament slipped\ne2,film,,\n')
    assert checked.set_aside["code"].tolist() == ["by-hand", "no-reading"]
    assert checked.set_aside["reason"].tolist()[0] == "filament slipped"


def test_zero_may_be_read_where_the_scale_is_as_read(check_text):
    checked = check_text(with_reading("0"), scale="as read")
    assert checked.readings["reading"].tolist() == [0, 148]


@pytest.mark.parametrize("text", [">1500", "> 1500 gf", "≥1500"])
def test_over_range_is_carried(check_text, text: str):
    readings = check_text(with_reading(text)).readings
    assert readings["reading"].tolist() == [1500, 148]
    assert readings["over_range"].tolist() == [True, False]


@pytest.mark.parametrize(
    ("text", "value", "code"),
    [
        ("152,5", 152.5, "decimal-comma"),
        ("1 520", 1520, "digit-groups"),
        ("\u00a0152", 152, "space-or-apostrophe"),
        ("152 gf", 152, "unit"),
    ],
)
def test_a_mended_reading_is_told_once_with_its_place(check_text, text: str, value: float, code: str):
    checked = check_text(with_reading(text))
    assert checked.readings["reading"].tolist() == [value, 148]
    assert codes(checked.repairs) == [code, "cuts-numbered"]
    assert checked.repairs[0].text.startswith("1 cell(s) of reading ")
    assert checked.repairs[0].text.endswith("(first: readings.csv, row 2).")


def test_readings_in_another_unit_are_converted_and_told(check_text):
    checked = check_text(with_reading("1.5 N"))
    assert checked.readings["reading"].tolist() == [pytest.approx(1.5 / 0.00980665), 148]
    assert "1 cell(s) of reading were converted to gf (first: readings.csv, row 2)." in map(str, checked.repairs)


def test_the_unit_of_the_header_holds_for_cells_without_their_own(check_text):
    checked = check_text("edge,medium,Reading (N)\ne1,slate,1.5\ne2,film,152 gf\n")
    assert checked.readings["reading"].tolist() == [pytest.approx(1.5 / 0.00980665), 152]
    assert "1 cell(s) of reading were converted to gf (first: readings.csv, row 2)." in map(str, checked.repairs)


def test_a_header_in_another_unit_converts_plain_columns_too(check_text):
    checked = check_text("edge,medium,Reading (gf)\ne1,slate,152\ne2,film,148\n", unit="N")
    assert checked.readings["reading"].tolist() == pytest.approx([152 * 0.00980665, 148 * 0.00980665])
    assert "2 cell(s) of reading were converted to N (first: readings.csv, row 2)." in map(str, checked.repairs)


# labels


def test_an_unknown_medium_is_set_aside_with_what_was_probably_meant(check_text):
    checked = check_text("edge,medium,reading\ne1,slte,152\ne2,film,148\n")
    assert aside(checked) == [(2, "medium", "unknown-level")]
    assert reason(checked) == '"slte" is not a level of medium in the plan. Did you mean "slate"?'


def test_an_unknown_medium_like_no_other_lists_those_there_are(check_text):
    checked = check_text("edge,medium,reading\ne1,brick,152\ne2,film,148\n")
    assert reason(checked) == '"brick" is not a level of medium in the plan. The plan has "slate" and "film".'


@pytest.mark.parametrize("written", [" slate", "SLATE", "Slate ", "slate\u00a0"])
def test_a_label_spelt_otherwise_is_mended_and_told(check_text, written: str):
    checked = check_text(f"edge,medium,reading\ne1,{written},152\ne2,film,148\n")
    assert checked.readings["medium"].tolist() == ["slate", "film"]
    assert str(checked.repairs[0]) == (
        "1 cell(s) of medium differed from a level of the plan only in case or space (first: readings.csv, row 2)."
    )


def test_a_label_that_may_mean_two_levels_is_not_guessed(check_text):
    checked = check_text("edge,medium,reading\ne1,SLATE,152\ne2,slate,148\n", factors={"medium": ("slate", "Slate")})
    assert aside(checked) == [(2, "medium", "unknown-level")]
    assert checked.readings["medium"].tolist() == ["slate"]


def test_a_number_as_level_is_known_as_a_spreadsheet_writes_it(check_text):
    checked = check_text(
        "edge,medium,strokes,reading\ne1,slate,50.0,152\ne2,film,100,148\n",
        factors={"medium": ("slate", "film"), "strokes": ("50", "100")},
    )
    assert checked.readings["strokes"].tolist() == ["50", "100"]


@pytest.mark.parametrize(
    ("row", "column", "code"),
    [
        (",slate,B1,152", "edge", "no-edge"),
        ("n/a,slate,B1,152", "edge", "no-edge"),
        ("#REF!,slate,B1,152", "edge", "spreadsheet-error"),
        ("e1,,B1,152", "medium", "no-value"),
        ("e1,#N/A,B1,152", "medium", "spreadsheet-error"),
        ("e1,slate,,152", "blade", "no-value"),
        ("e1,slate,NaN,152", "blade", "no-value"),
        ("e1,slate,#VALUE!,152", "blade", "spreadsheet-error"),
    ],
)
def test_a_row_without_what_the_plan_needs_is_set_aside(check_text, row: str, column: str, code: str):
    checked = check_text(f"edge,medium,blade,reading\n{row}\ne2,film,B2,148\n", layout=Layout(blocks=("blade",)))
    assert aside(checked) == [(2, column, code)]
    assert reason(checked).endswith(".")


def test_a_level_may_look_like_no_value(check_text):
    checked = check_text("edge,medium,reading\ne1,none,152\ne2,-,148\n", factors={"medium": ("none", "-")})
    assert len(checked.readings) == 2


def test_a_role_is_trial_control_or_blank(check_text):
    checked = check_text("edge,medium,role,reading\ne1,slate,,152\ne2,film,Control,148\ne3,film,spare,150\n")
    assert checked.readings["role"].tolist() == ["trial", "control"]
    assert aside(checked) == [(4, "role", "unknown-role")]
    assert reason(checked) == 'The role of an edge is "trial" or "control"; blank means "trial".'


def test_every_edge_is_of_the_trial_where_no_file_has_roles(check_text):
    assert check_text(with_reading("152")).readings["role"].tolist() == ["trial", "trial"]


# edges


def test_an_edge_with_two_media_is_set_aside_whole_and_both_are_named(check_text):
    checked = check_text("edge,medium,reading\ne1,slate,152\ne1,film,150\ne1,slate,149\ne2,film,148\n")
    assert aside(checked) == [(row, "medium", "two-values") for row in (2, 3, 4)]
    assert set(checked.set_aside["reason"]) == {
        'Edge "e1" has two values of medium: "slate" and "film". An edge is one sharpening: correct the rows, or give '
        "the second sharpening a name of its own."
    }


@pytest.mark.parametrize(("column", "values"), [("blade", ("B1", "B2")), ("steel", ("plain", "stainless"))])
def test_an_edge_on_two_blades_is_set_aside_though_the_plan_names_none(check_text, column: str, values):
    one, two = values
    checked = check_text(f"edge,medium,{column},reading\ne1,slate,{one},152\ne1,slate,{two},150\ne2,film,{one},148\n")
    assert aside(checked) == [(2, column, "two-values"), (3, column, "two-values")]


def test_an_edge_is_not_condemned_by_a_row_that_is_out_already(check_text):
    checked = check_text(
        "edge,medium,reading,set_aside\ne1,slate,152,\ne1,film,150,wrong row\ne1,slte,149,\ne2,film,148,\n"
    )
    assert aside(checked) == [(3, "set_aside", "by-hand"), (4, "medium", "unknown-level")]


def test_several_reasons_are_gathered(check_text):
    checked = check_text("edge,medium,reading\ne1,slate,sharp\ne1,film,150\ne2,film,148\n")
    first = checked.set_aside.iloc[0]
    assert (first["code"], first["column"], first["value"]) == ("two-values", "medium", "slate")
    assert first["reason"].endswith(
        '; The reading "sharp" is not a number. Write the number alone, or >1500 for over-range.'
    )


# cuts


def test_cuts_without_a_number_are_numbered_in_file_order(check_text):
    checked = check_text("edge,medium,reading\ne1,slate,152\ne2,film,148\ne1,slate,150\n")
    assert checked.readings["cut"].tolist() == [1, 1, 2]
    assert str(checked.repairs[-1]) == (
        "3 cell(s) of cut were missing, as no file has that column; cuts were numbered within their edge in file order "
        "(first: readings.csv, row 2)."
    )


def test_blank_cuts_follow_the_numbered_ones(check_text):
    checked = check_text("edge,cut,medium,reading\ne1,,slate,152\ne1,4,slate,148\ne1,,slate,150\n")
    assert checked.readings["cut"].tolist() == [5, 4, 6]
    assert codes(checked.repairs) == ["cuts-numbered"]


@pytest.mark.parametrize("cut", ["0", "-1", "1.5", "one", "1e12", "2 mm"])
def test_a_cut_is_a_whole_number_from_1(check_text, cut: str):
    checked = check_text(f"edge,cut,medium,reading\ne1,{cut},slate,152\ne2,1,film,148\n")
    assert aside(checked) == [(2, "cut", "bad-cut")]
    assert reason(checked) == "The number of a cut is a whole number from 1 upwards."


def test_cuts_may_come_as_decimals_from_a_spreadsheet(check_text):
    checked = check_text("edge,cut,medium,reading\ne1,1.0,slate,152\ne1,2.0,slate,148\n")
    assert checked.readings["cut"].tolist() == [1, 2]


def test_a_cut_with_two_readings_is_set_aside_twice(check_text):
    checked = check_text("edge,cut,medium,reading\ne1,1,slate,152\ne1,1,slate,160\ne1,2,slate,150\n")
    assert aside(checked) == [(2, "cut", "cut-read-twice"), (3, "cut", "cut-read-twice")]
    assert set(checked.set_aside["reason"]) == {
        'Cut 1 of edge "e1" stands in more than one row, with different readings. Keep the row that holds and set the '
        "others aside, or give them numbers of their own."
    }


def test_the_same_row_twice_is_used_once(check_text):
    checked = check_text("edge,cut,medium,reading\ne1,1,slate,152\ne1,2,slate,150\ne1,1,slate,152.0\n")
    assert aside(checked) == [(4, "cut", "row-twice")]
    assert reason(checked) == 'Cut 1 of edge "e1" stands in an earlier row with the same reading; that row is used.'


def test_a_limit_is_another_reading_than_its_number(check_text):
    checked = check_text("edge,cut,medium,reading\ne1,1,slate,1500\ne1,1,slate,>1500\ne2,1,film,9\n")
    assert [code for _, _, code in aside(checked)] == ["cut-read-twice", "cut-read-twice"]


def test_a_double_that_is_set_aside_by_hand_leaves_the_other(check_text):
    checked = check_text("edge,cut,medium,reading,set_aside\ne1,1,slate,152,\ne1,1,slate,160,slipped\n")
    assert aside(checked) == [(3, "set_aside", "by-hand")]
    assert reason(checked) == "slipped"


# rows that do not fit the header


def test_a_damaged_row_has_one_reason_and_its_whole_text(check_text):
    checked = check_text("edge,medium,reading\ne1,slate,152,5\nslate,152\ne2,film,148\n")
    assert aside(checked) == [(2, "", "ragged-row"), (3, "", "ragged-row")]
    assert checked.set_aside["value"].tolist() == ["e1,slate,152,5", "slate,152"]
    assert not checked.set_aside["reason"].str.contains(";").any()
    assert checked.readings["edge"].tolist() == ["e2"]


# other columns


def test_known_columns_are_typed_and_unknown_ones_kept(check_text):
    checked = check_text(
        "edge,medium,run,strokes,minutes,start_reading,taken_at,tool,reading\n"
        "e1,slate,1,50,2.5,>1500,2026-04-11T09:44, chisel ,152\ne2,film,2,,,,,=x,148\n"
    )
    readings = checked.readings
    assert readings["run"].dtype == readings["strokes"].dtype == "Int64"
    assert readings["strokes"].isna().tolist() == [False, True]
    assert readings["minutes"].tolist()[0] == 2.5
    assert readings["start_reading"].tolist()[0] == 1500
    assert readings["taken_at"].tolist()[0] == pd.Timestamp("2026-04-11T09:44")
    assert readings["tool"].tolist() == [" chisel ", "=x"]


def test_columns_stand_in_the_order_of_the_vocabulary(check_text):
    checked = check_text("tool,reading,medium,edge\nx,152,slate,e1\n")
    assert list(checked.readings.columns) == (
        ["edge", "cut", "medium", "role", "reading", "tool", "file", "row", "over_range"]
    )


@pytest.mark.parametrize(
    ("column", "cell", "says"),
    [
        ("minutes", "about 5", "1 cell(s) of minutes are not a number, 0 or more, and count as blank"),
        ("minutes", "-5", "1 cell(s) of minutes are not a number, 0 or more, and count as blank"),
        ("strokes", "5.5", "1 cell(s) of strokes are not a whole number, 0 or more, and count as blank"),
        ("run", "0", "1 cell(s) of run are not a whole number, 1 or more, and count as blank"),
        ("position_mm", ">5", "1 cell(s) of position_mm are not a number, 0 or more, and count as blank"),
        ("pressure_n", "5 mm", "1 cell(s) of pressure_n are not a number, 0 or more, and count as blank"),
        ("taken_at", "noon", "1 cell(s) of taken_at are not a date and time such as 2026-05-04T14:30 and count as"),
    ],
)
def test_a_bad_value_beside_the_arithmetic_costs_no_reading(check_text, column: str, cell: str, says: str):
    checked = check_text(f"edge,medium,reading,{column}\ne1,slate,152,{cell}\ne2,film,148,\n")
    assert len(checked.readings) == 2
    assert checked.readings[column].isna().all()
    [caution] = [note for note in checked.cautions if note.code == "unreadable-value"]
    assert caution.text.startswith(says)
    assert "(first: readings.csv, row 2)" in caution.text


@pytest.mark.parametrize(
    ("column", "cell", "value"),
    [("pressure_n", "500 gf", 4.903325), ("minutes", "12 min", 12), ("position_mm", "3,5 mm", 3.5)],
)
def test_a_unit_in_a_cell_is_understood(check_text, column: str, cell: str, value: float):
    checked = check_text(f'edge,medium,reading,{column}\ne1,slate,152,"{cell}"\n')
    assert checked.readings[column].tolist() == [pytest.approx(value)]


def test_a_unit_in_a_cell_wins_over_that_of_its_header(check_text):
    checked = check_text("edge,medium,reading,start_reading (N)\ne1,slate,152,600 gf\ne2,film,150,5\n")
    assert checked.readings["start_reading"].tolist() == [600, pytest.approx(5 / 0.00980665)]


@pytest.mark.parametrize(
    ("cells", "zone"),
    [
        (["2026-04-11", "2026-04-11T09:44:10"], None),
        (["2026-04-11T09:44Z", "2026-04-11T09:44+02:00"], "UTC"),
        (["2026-04-11T09:44Z", "2026-04-11 09:44"], "UTC"),
        (["2026-04-11T09:44", "noon"], None),
    ],
)
def test_moments_have_a_zone_only_where_the_files_give_one(check_text, cells: list[str], zone: str | None):
    checked = check_text(f"edge,medium,reading,taken_at\ne1,slate,152,{cells[0]}\ne2,film,148,{cells[1]}\n")
    taken = checked.readings["taken_at"]
    assert (str(taken.dt.tz) if taken.dt.tz is not None else None) == zone
    assert taken.notna().tolist()[0]


# plan against data


def test_columns_of_the_plan_that_are_missing_are_all_told(check_text):
    with pytest.raises(PlanError) as caught:
        check_text(
            "edge,medum,reading\ne1,slate,152\n",
            factors={"medium": ("slate", "film"), "steel": ("plain", "stainless")},
            layout=Layout(blocks=("blade",)),
        )
    assert [problem.value for problem in caught.value.problems] == ["medium", "steel", "blade"]
    assert str(caught.value).splitlines() == [
        'trial.toml, factors.medium: The plan names "medium", but readings.csv has no such column. Did you mean '
        '"medum"? Give both the same name.',
        'trial.toml, factors.steel: The plan names "steel", but readings.csv has no such column. Add a column "steel" '
        "to the readings, or take it out of the plan.",
        'trial.toml, layout.blocks: The plan names "blade", but readings.csv has no such column. Add a column "blade" '
        "to the readings, or take it out of the plan.",
    ]


CLAIM = Keener(id="a", says="Slate is keener", medium="slate", than="film", by=Quantity(0, "%"), line=7)


def test_a_claim_about_a_medium_that_no_row_has_is_an_error(check_text):
    with pytest.raises(PlanError, match=r'^trial\.toml, line 7, than: Claim "a" is about `medium` "film"'):
        check_text("edge,medium,reading\ne1,slate,152\n", claims=(CLAIM,))


def test_a_claim_may_wait_for_its_readings(check_text):
    checked = check_text("edge,medium,reading\ne1,slate,152\ne2,film,\n", claims=(CLAIM,))
    [caution] = [note for note in checked.cautions if note.code == "claim-without-readings"]
    assert caution.text.endswith("Until one is used, the claim cannot be judged.")


def test_a_sheet_without_a_reading_opens(check_text):
    checked = check_text("edge,medium,reading\ne1,slate,\ne2,film,\n", claims=(CLAIM,))
    assert len(checked.readings) == 0
    assert checked.readings["reading"].dtype == float
    assert codes(checked.cautions) == ["nothing-left"]


def test_a_header_alone_opens(check_text):
    checked = check_text("edge,medium,reading\n", claims=(CLAIM,))
    assert len(checked.readings) == len(checked.set_aside) == 0
    assert list(checked.set_aside.columns) == ["file", "row", "column", "value", "code", "reason"]


# properties

CELLS = {
    "edge": st.sampled_from(["e1", "e2", "e3", " e1", "", "n/a", "#REF!", "e1\n2"]),
    "cut": st.sampled_from(["1", "2", "3", "", "1.0", "x", "0"]),
    "medium": st.sampled_from(["slate", "film", "Slate ", "slte", "", "#N/A"]),
    "blade": st.sampled_from(["B1", "B2", "", "?"]),
    "role": st.sampled_from(["", "", "trial", "control", "spare"]),
    "reading": st.sampled_from(["152", "148", "152.0", "", "x", "-1", "0", ">1500", "1,5", "2 N", "1,500", "nan"]),
    "minutes": st.sampled_from(["", "5", "about"]),
    "set_aside": st.sampled_from(["", "", "", "slipped", "[negative] so it is"]),
}
ROWS = st.lists(st.fixed_dictionaries(CELLS), max_size=12)
PLAN = Plan(title="T", factors={"medium": ("slate", "film")}, layout=Layout(blocks=("blade",)))


def table_of(rows: list[dict[str, str]], file: str = "a.csv", first: int = 2) -> pd.DataFrame:
    frame = pd.DataFrame({name: pd.Series([row[name] for row in rows], dtype="str") for name in CELLS})
    frame["file"] = pd.Series(file, index=frame.index, dtype="str")
    frame["row"] = np.arange(first, first + len(rows))
    return frame


@settings(max_examples=60)
@given(ROWS)
def test_kept_and_set_aside_are_what_was_read(rows: list[dict[str, str]]):
    checked = check(TextTable(frame=table_of(rows)), PLAN)
    kept, out = checked.readings["row"].tolist(), checked.set_aside["row"].tolist()
    assert sorted(kept + out) == list(range(2, len(rows) + 2))
    assert set(checked.set_aside["code"]) <= CODES
    assert (checked.set_aside["reason"].str.len() > 0).all()


@settings(max_examples=60)
@given(ROWS)
def test_every_used_row_can_be_reckoned_with(rows: list[dict[str, str]]):
    readings = check(TextTable(frame=table_of(rows)), PLAN).readings
    assert (np.isfinite(readings["reading"]) & (readings["reading"] > 0)).all()
    assert readings["medium"].isin(["slate", "film"]).all()
    assert (readings[["edge", "blade"]] != "").all(axis=None)
    assert not readings[["edge", "cut"]].duplicated().any()
    assert (readings.groupby("edge")[["medium", "blade", "role"]].nunique() == 1).all(axis=None)


@settings(max_examples=25)
@given(ROWS, st.data())
def test_the_order_of_rows_sets_none_aside(rows: list[dict[str, str]], data):
    """Only which of two equal rows is used, and the numbers of cuts without one, may depend on the order."""
    rows = [{**row, "cut": row["cut"] or "9"} for row in rows]
    one = check(TextTable(frame=table_of(rows)), PLAN).readings
    two = check(TextTable(frame=table_of(data.draw(st.permutations(rows)))), PLAN).readings
    columns = ["edge", "cut", "medium", "blade", "role", "reading", "over_range"]
    pd.testing.assert_frame_equal(
        one[columns].sort_values(columns, ignore_index=True), two[columns].sort_values(columns, ignore_index=True)
    )
