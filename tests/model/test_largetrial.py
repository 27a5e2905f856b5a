"""A trial judged out of core ends as it does in memory, and bad rows are counted with their reasons."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sharpstats.errors import FitError, PublishError, TrialError
from sharpstats.model.largetrial import open_large
from sharpstats.trial.trial import open_trial

PLAN = """\
title = "Do film and slate read alike?"
readings = ["{name}"]
scale = "{scale}"
[factors]
medium = ["film", "slate", "strop"]
steel = ["hard", "soft"]
[layout]
blocks = ["blade", "operator"]
interactions = [["medium", "steel"]]
[levels]
"fine" = "150 gf"
[[claim]]
id = "alike"
says = "Film and slate read alike"
kind = "same"
medium = "film"
than = "slate"
margin = "{margin}"
[[claim]]
id = "keener"
says = "Slate is keener than strop on soft steel"
kind = "keener"
medium = "slate"
than = "strop"
by = "{margin}"
where = {{ steel = "soft" }}
[[claim]]
id = "most"
says = "Most edges of film read below fine"
kind = "reaches"
medium = "film"
level = "fine"
share = "60 %"
"""


def readings(seed: int = 4, edges: int = 96) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    blade, operator = rng.integers(0, 6, edges), rng.integers(0, 3, edges)
    medium, steel = rng.integers(0, 3, edges), rng.integers(0, 2, edges)
    log = 5 + rng.normal(0, 0.1, 6)[blade] + rng.normal(0, 0.05, 3)[operator] + 0.1 * medium + 0.05 * steel
    edge = np.repeat(np.arange(edges), rng.integers(3, 6, edges))
    y = np.exp((log + rng.normal(0, 0.1, edges))[edge] + rng.normal(0, 0.08, edge.size))
    return pd.DataFrame({
        "edge": [f"e{e:03d}" for e in edge], "medium": np.array(["film", "slate", "strop"])[medium[edge]],
        "steel": np.array(["hard", "soft"])[steel[edge]], "blade": [f"b{b}" for b in blade[edge]],
        "operator": [f"o{o}" for o in operator[edge]], "reading": y.round(2),
    })  # fmt: skip


def folder_of(table: pd.DataFrame, folder: Path, name: str = "readings.parquet", scale: str = "log") -> Path:
    if name.endswith(".csv"):
        table.to_csv(folder / name, index=False)
    else:
        table.to_parquet(folder / name, index=False)
    margin = "10 %" if scale == "log" else "15 gf"
    (folder / "trial.toml").write_text(PLAN.format(name=name, scale=scale, margin=margin))
    return folder


SCALE = "scale-in-doubt"


class TestTheSameAsInMemory:
    @pytest.mark.parametrize(("name", "scale"), [("readings.parquet", "log"), ("a 'b'.csv", "as read")])
    def test_every_finding(self, tmp_path: Path, name: str, scale: str) -> None:
        folder = folder_of(readings(), tmp_path, name, scale)
        large, small = open_large(folder), open_trial(folder)
        assert large.counts == small.counts
        found, expected = large.judge(), small.judge()
        for a, b in zip(found.findings, expected.findings, strict=True):
            assert (a.finding, a.edges, a.cuts, a.more_edges) == (b.finding, b.edges, b.cuts, b.more_edges)
            for field in ("estimate_on_scale", "se", "df", "p", "p_adjusted", "low", "high"):
                assert getattr(a, field) == pytest.approx(getattr(b, field), rel=1e-9, abs=1e-12, nan_ok=True), field
            assert [opinion.text for opinion in a.opinions] == [opinion.text for opinion in b.opinions]
        in_doubt = [finding.claim for finding in expected.findings for note in finding.notes if note.code == SCALE]
        assert bool(in_doubt) == (scale == "as read")  # which takes the readings to see
        assert in_doubt or str(found) == str(expected)
        assert large.fit().means.counts == small.fit().means.counts
        assert large.data_sha256 == small.data_sha256
        assert len(large.fit().diagnostics.table) == 1  # spread against level

    def test_spreads(self, tmp_path: Path) -> None:
        """Without opinions: those need every edge's residual."""
        folder = folder_of(readings(), tmp_path)
        claim = '[[claim]]\nid = "steady"\nsays = "Steady"\nkind = "steadier"\nmedium = "film"\nthan = "strop"\n'
        text = (folder / "trial.toml").read_text(encoding="utf-8").partition("[[claim]]")[0]
        (folder / "trial.toml").write_text(text + claim + 'where = { steel = "soft" }\n', encoding="utf-8")
        (found,), (expected,) = (one.judge().findings for one in (open_large(folder), open_trial(folder)))
        assert (found.finding, found.edges, found.cuts) == (expected.finding, expected.edges, expected.cuts)
        for field in ("estimate", "low", "high", "p"):
            assert getattr(found, field) == pytest.approx(getattr(expected, field), rel=1e-6)
        assert (len(found.opinions), len(expected.opinions)) == (0, 2)

    def test_one_cut_an_edge(self, tmp_path: Path) -> None:
        folder = folder_of(readings().drop_duplicates("edge"), tmp_path)
        large, small = open_large(folder).fit(), open_trial(folder).fit()
        assert [note.code for note in large.notes] == [note.code for note in small.notes]
        assert large.components.variances == pytest.approx(small.components.variances, rel=1e-9)

    def test_little_memory(self, tmp_path: Path) -> None:
        folder = folder_of(readings(), tmp_path)
        little, much = open_large(folder, memory="50MB").judge(), open_large(folder).judge()
        assert [f.p for f in little.findings] == pytest.approx([f.p for f in much.findings], rel=1e-9)


class TestBadRows:
    """The same rows as in memory are set aside, for the same reasons."""

    def spoilt(self) -> pd.DataFrame:
        table = readings().assign(role="", set_aside="").astype({"reading": object})
        table["reading"] = table["reading"].map(str)
        for row, column, value in (
            (1, "reading", ""), (5, "reading", "blunt"), (9, "reading", "-3"), (12, "reading", "0"),
            (15, "reading", "inf"), (20, "medium", "plate"), (24, "edge", " "), (28, "blade", None),
            (31, "set_aside", "it slipped"), (33, "role", "spare"), (34, "role", "spare"),
        ):  # fmt: skip
            table.loc[row, column] = value
        return table

    @pytest.mark.parametrize("name", ["readings.parquet", "readings.csv"])
    def test_all_kinds(self, tmp_path: Path, name: str) -> None:
        folder = folder_of(self.spoilt(), tmp_path, name)
        large, small = open_large(folder), open_trial(folder)
        shown = ["row", "column", "code"]
        assert large.set_aside[shown].to_numpy().tolist() == small.set_aside[shown].to_numpy().tolist()
        assert large.counts == small.counts
        assert large.fit().mixed.optimum.variances == pytest.approx(small.fit().mixed.optimum.variances, rel=1e-9)
        told = {note.text for note in large.cautions if note.code == "counted-aside"}
        header = int(name.endswith(".csv"))
        assert f"2 row(s) are set aside as unknown-role; the first is row {34 + header}." in told

    def test_an_edge_with_two_blades_is_set_aside_whole(self, tmp_path: Path) -> None:
        table = readings()
        rows = table.index[table["edge"] == "e007"]
        table.loc[rows[1], "blade"] = "other"
        large, small = open_large(folder_of(table, tmp_path)), open_trial(tmp_path)
        assert large.counts == small.counts
        first = large.set_aside.iloc[0]
        assert (first["code"], first["row"], first["value"]) == ("two-values", rows[0] + 1, "e007")
        assert first["reason"].startswith('Edge "e007" has two values of blade: "b')
        assert large.judge().findings[0].p == pytest.approx(small.judge().findings[0].p, rel=1e-9)

    def test_control_edges_are_counted_and_stay_out(self, tmp_path: Path) -> None:
        table = readings()
        table["role"] = np.where(table["edge"] < "e005", "control", "trial")
        large, small = open_large(folder_of(table, tmp_path)), open_trial(tmp_path)
        assert large.counts == small.counts
        assert large.counts["control_edges"] == 5
        assert large.judge().findings[0].p == pytest.approx(small.judge().findings[0].p, rel=1e-9)

    def test_cuts_over_range_need_the_other_way(self, tmp_path: Path) -> None:
        table = readings().astype({"reading": str})
        table.loc[[3, 40], "reading"] = ">1500"
        with pytest.raises(TrialError, match=r"has 2 cut\(s\) over the tester's range, the first >1500 in row 4\."):
            open_large(folder_of(table, tmp_path))

    def test_nothing_left(self, tmp_path: Path) -> None:
        trial = open_large(folder_of(readings().assign(set_aside="all of it"), tmp_path))
        with pytest.raises(FitError, match=r"No edge is left to compare: every row is set aside"):
            trial.fit()


def test_a_missing_column(tmp_path: Path) -> None:
    with pytest.raises(TrialError, match=r"^readings\.parquet has no column `blade`\. Its columns are `edge`,"):
        open_large(folder_of(readings().drop(columns="blade"), tmp_path))


def test_a_workbook_is_no_large_file(tmp_path: Path) -> None:
    folder = folder_of(readings(), tmp_path)
    (folder / "readings.xlsx").touch()
    (folder / "trial.toml").write_text(PLAN.format(name="readings.xlsx", scale="log", margin="10 %"))
    with pytest.raises(FitError, match=r"readings\.xlsx ends in neither \.parquet nor \.csv"):
        open_large(folder)


def test_several_files(tmp_path: Path) -> None:
    folder = folder_of(readings(), tmp_path)
    readings().to_csv(folder / "more.csv", index=False)
    plan = (folder / "trial.toml").read_text().replace('["readings.parquet"]', '["readings.parquet", "more.csv"]')
    (folder / "trial.toml").write_text(plan)
    with pytest.raises(TrialError, match="A large trial has one file with readings, not 2"):
        open_large(folder)


def test_it_is_not_published(tmp_path: Path) -> None:
    with pytest.raises(PublishError, match="is judged, not published"):
        open_large(folder_of(readings(), tmp_path)).publish()
