from __future__ import annotations

import numpy as np
import pytest

from sharpstats.trial.plan import Layout

BLADES = Layout(blocks=("blade",))


def trial(edges: list[tuple[str, str, str]], extra: str = "", cuts: int = 2, values: str = "") -> str:
    """Write readings: (medium, blade, run) for each edge, `cuts` cuts each."""
    lines = [f"run,edge,cut,medium,blade,reading{extra}"]
    for number, (medium, blade, run) in enumerate(edges, 1):
        lines += [f"{run},e{number},{cut},{medium},{blade},{150 + cut}{values}" for cut in range(1, cuts + 1)]
    return "\n".join(lines) + "\n"


MIXED = [
    ("slate", "B1", "1"), ("film", "B1", "2"), ("film", "B2", "3"), ("slate", "B2", "4"),
    ("film", "B1", "5"), ("slate", "B1", "6"), ("slate", "B2", "7"), ("film", "B2", "8"),
]  # fmt: skip
RECORDED = (",start_reading,burr_check", ",600,none")


def cautions(checked) -> dict[str, str]:
    found = {note.code: note.text for note in checked.cautions}
    assert len(found) == len(checked.cautions)
    return found


def test_a_sound_trial_only_lacks_its_control_edge(check_text):
    checked = check_text(trial(MIXED, RECORDED[0], values=RECORDED[1]), layout=BLADES)
    assert cautions(checked) == {
        "no-control-edge": "No edge has the role control, so drift over the trial cannot be tested; make the same "
        "blade and medium again at the start, in the middle and at the end."
    }


def test_a_control_edge_is_enough(check_text):
    text = trial(MIXED, RECORDED[0] + ",role", values=RECORDED[1] + ",") + "9,c1,1,slate,B1,150,600,none,control\n"
    assert cautions(check_text(text, layout=BLADES)) == {}


def test_media_one_after_the_other_are_pointed_out(check_text):
    rows = [(medium, blade, str(run)) for run, (medium, blade, _) in enumerate(sorted(MIXED), 1)]
    text = cautions(check_text(trial(rows), layout=BLADES))["media-in-turn"]
    assert text == (
        "The media were used one after the other rather than in mixed order, so growing skill, wear or drift may pass "
        "for a difference between them; make edges in random order."
    )


def test_media_nearly_one_after_the_other_are_pointed_out(check_text):
    rows = [("slate", "B1", str(run)) for run in range(1, 21)] + [("film", "B1", str(run)) for run in range(20, 40)]
    rows[0], rows[-1] = ("film", "B1", "1"), ("slate", "B1", "40")
    assert "media-in-turn" in cautions(check_text(trial(rows)))


def test_random_orders_are_seldom_pointed_out(check_text):
    media = np.array(["slate", "film"] * 10)
    rng = np.random.default_rng(5)
    hits = 0
    for _ in range(30):
        rows = [(medium, "B1", str(run)) for run, medium in enumerate(rng.permutation(media), 1)]
        hits += "media-in-turn" in cautions(check_text(trial(rows, cuts=1)))
    assert hits <= 1


def test_without_run_the_time_tells_the_order(check_text):
    text = "edge,medium,reading,taken_at\n" + "".join(
        f"e{i},{medium},150,2026-04-11T09:{i:02}\n" for i, medium in enumerate(["slate"] * 4 + ["film"] * 4, 1)
    )
    found = cautions(check_text(text))
    assert "media-in-turn" in found
    assert "order-not-recorded" not in found


def test_an_order_that_nobody_wrote_down_is_missed(check_text):
    found = cautions(check_text("edge,medium,reading\ne1,slate,150\ne2,film,150\n"))
    assert found["order-not-recorded"].startswith("Neither run nor taken_at says for every edge when it was made")


def test_start_reading_and_burr_check_are_missed(check_text):
    found = cautions(check_text(trial(MIXED), layout=BLADES))
    assert found["no-start-reading"].startswith("The edges have no start_reading, so nothing shows that all edges were")
    assert found["no-burr-check"].startswith("The edges have no burr_check, and a burr left on changes a reading;")


def test_a_single_missing_start_reading_is_counted(check_text):
    text = trial(MIXED, RECORDED[0], values=RECORDED[1]).replace("4,e4,1,slate,B2,151,600", "4,e4,1,slate,B2,151,")
    assert cautions(check_text(text, layout=BLADES))["no-start-reading"].startswith("1 edge has no start_reading")


def test_one_blade_is_one_blade(check_text):
    rows = [(medium, "B1" if medium == "slate" else blade, run) for medium, blade, run in MIXED]
    assert cautions(check_text(trial(rows)))["one-blade"] == (
        'Edges of "slate" were made on one blade only, so what is found holds for that blade; use several blades of a '
        "kind to speak of the kind."
    )


def test_a_blade_of_two_steels_is_pointed_out(check_text):
    text = "edge,medium,blade,steel,reading\ne1,slate,B1,plain,150\ne2,film,B1,stainless,150\ne3,film,B2,plain,150\n"
    assert cautions(check_text(text))["blade-of-two-steels"] == (
        '1 blade(s) have edges of different steel ("B1"), and a blade has only one; correct the steel, or give the '
        "blades names of their own."
    )


def test_uneven_edges_are_pointed_out(check_text):
    assert cautions(check_text(trial(MIXED[:3]), layout=BLADES))["uneven-edges"] == (
        'There are 1 edges of "slate" and 2 of "film"; more edges of the rarer medium would help most.'
    )


def test_fewer_cuts_and_edges_than_planned_are_pointed_out(check_text):
    text = trial(MIXED[:7]).replace("1,e1,2,slate,B1,152\n", "")
    found = cautions(check_text(text, layout=Layout(blocks=("blade",), cuts=2, edges_per_cell=2)))
    assert found["fewer-cuts"] == (
        'Fewer than the planned 2 cuts were made on 1 edge ("e1"): each counts with the cuts it has.'
    )
    assert found["fewer-edges"] == (
        "1 cell(s) of medium and blade have fewer than the planned 2 edges; make the missing ones if you can."
    )


def test_a_cell_without_an_edge_is_named(check_text):
    text = "edge,medium,steel,reading\ne1,slate,plain,150\ne2,film,plain,150\ne3,slate,stainless,150\n"
    found = cautions(check_text(text, factors={"medium": ("slate", "film"), "steel": ("plain", "stainless", "tool")}))
    assert found["level-without-edge"] == ('No edge with steel "tool" is used; make such edges, or change the plan.')
    assert found["cell-without-edge"].startswith('No edge is used of medium and steel "film" with "stainless"; without')


@pytest.mark.parametrize("column", ["operator", "day", "tester", "filament_lot", "medium_state"])
def test_a_column_that_goes_with_the_medium_is_named(check_text, column: str):
    text = f"edge,medium,{column},reading\n" + "".join(
        f"e{i},{medium},{value},150\n" for i, (medium, value) in enumerate([("slate", "A"), ("film", "B")] * 3)
    )
    found = cautions(check_text(text))
    assert found["hand-in-hand"] == (
        f"Each level of medium goes with one {column} of its own, so nobody can tell which of the two makes a "
        f"difference; let every {column} meet every level of medium."
    )


def test_two_factors_that_go_together_are_named_once(check_text):
    text = "edge,medium,steel,reading\ne1,slate,plain,150\ne2,film,stainless,150\n"
    checked = check_text(text, factors={"medium": ("slate", "film"), "steel": ("plain", "stainless")})
    assert [note.code for note in checked.cautions].count("hand-in-hand") == 1


def test_operators_who_use_every_medium_are_fine(check_text):
    text = "edge,medium,operator,reading\ne1,slate,A,150\ne2,film,B,150\ne3,slate,B,150\n"
    assert "hand-in-hand" not in cautions(check_text(text))


def test_a_new_filament_lot_is_pointed_out_unless_it_is_a_block(check_text):
    text = "edge,medium,filament_lot,reading\ne1,slate,lot 1,150\ne2,film,lot 2,150\ne3,slate,lot 2,150\n"
    assert cautions(check_text(text))["filament-lots"].startswith(
        'The readings come from 2 filament lots ("lot 1" and "lot 2"), and a step between lots'
    )
    assert "filament-lots" not in cautions(check_text(text, layout=Layout(blocks=("filament_lot",))))


def test_cautions_look_at_used_rows_only(check_text):
    text = "edge,medium,filament_lot,reading,set_aside\ne1,slate,lot 1,150,\ne2,film,lot 2,150,slipped\n"
    assert "filament-lots" not in cautions(check_text(text))
