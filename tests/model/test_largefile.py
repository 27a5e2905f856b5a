"""A file fitted out of core gives what the same readings give in memory; bad files say what is wrong and where."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sharpstats.errors import FitError
from sharpstats.model.largefile import open_file, quoted, read_sums
from sharpstats.model.mixed import MixedFit, fit_mixed

MODEL = {"response": "reading", "fixed": ["medium"], "random": ["blade", "operator", "edge"]}


def trial(edges: int = 240, seed: int = 1, medium: str = "medium") -> pd.DataFrame:
    """Edges with three to five cuts, on blades and by operators that cross."""
    rng = np.random.default_rng(seed)
    codes = {name: rng.integers(0, k, edges) for name, k in ((medium, 3), ("blade", 8), ("operator", 4))}
    edge = np.repeat(np.arange(edges), rng.integers(3, 6, edges))
    y = 150 + sum(rng.normal(0, 10, k.max() + 1)[k] for k in codes.values()) + rng.normal(0, 8, edges)
    table = pd.DataFrame({name: [f"{name[0]}{code}" for code in k[edge]] for name, k in codes.items()})
    return table.assign(edge=[f"e{e:04d}" for e in edge], reading=y[edge] + rng.normal(0, 6, edge.size))


def saved(table: pd.DataFrame, folder: Path, name: str = "readings.parquet") -> Path:
    path = folder / name
    if path.suffix == ".csv":
        table.to_csv(path, index=False)
    else:
        table.to_parquet(path, index=False)
    return path


def assert_same(found: MixedFit, expected: MixedFit, rel: float = 1e-10) -> None:
    assert found.reml_criterion == pytest.approx(expected.reml_criterion, rel=1e-12)
    assert found.optimum.variances == pytest.approx(expected.optimum.variances, rel=rel)
    for name in ("estimate", "se", "df", "low", "high"):
        here, there = getattr(found.coefficients, name), getattr(expected.coefficients, name)
        assert here == pytest.approx(there, rel=rel, abs=rel * np.abs(expected.coefficients.se).max()), name
    assert found.structure == expected.structure
    assert found.reduced.readings == expected.reduced.readings
    assert found.structure.own is None or found.reduced.units == expected.reduced.units
    assert [note.code for note in found.notes] == [note.code for note in expected.notes]


class TestTheSameAsInMemory:
    @pytest.mark.parametrize("name", ["readings.parquet", "readings.csv", "CAPITALS.CSV"])
    def test_a_crossed_layout(self, tmp_path: Path, name: str) -> None:
        table = trial()
        found, expected = fit_mixed(saved(table, tmp_path, name.lower()), **MODEL), fit_mixed(table, **MODEL)
        assert_same(found, expected)
        assert found.terms().f == pytest.approx(expected.terms().f, rel=1e-10)
        assert found.means("medium").estimate == pytest.approx(expected.means("medium").estimate, rel=1e-10)
        assert found.contrasts("medium", adjust="tukey").p == pytest.approx(
            expected.contrasts("medium", adjust="tukey").p, rel=1e-6)  # fmt: skip
        assert found.components.low == pytest.approx(expected.components.low, rel=1e-7)
        assert found.components.high == pytest.approx(expected.components.high, rel=1e-7)
        assert str(found) == str(expected)

    @pytest.mark.parametrize(
        ("fixed", "random"),
        [
            (["medium"], ["edge"]),
            (["medium"], ["blade", ("blade", "medium"), "edge"]),
            (["medium", "operator", ("medium", "operator")], ["blade", "edge"]),
            ([], ["operator", "edge"]),
            (["medium"], ["blade", "operator"]),  # no term is the unit itself
            (["medium", "operator"], []),
        ],
    )
    def test_other_models(self, tmp_path: Path, fixed: list, random: list) -> None:
        table = trial()
        model = {"response": "reading", "fixed": fixed, "random": random}
        assert_same(fit_mixed(saved(table, tmp_path), **model), fit_mixed(table, **model))

    def test_one_cut_an_edge(self, tmp_path: Path) -> None:
        table = trial().drop_duplicates("edge").reset_index(drop=True)
        assert_same(fit_mixed(saved(table, tmp_path), **MODEL), fit_mixed(table, **MODEL))

    def test_an_edge_that_changes_its_blade_is_crossed_with_it(self, tmp_path: Path) -> None:
        table = trial(60)
        table.loc[0, "blade"] = table.loc[table["blade"] != table.loc[0, "blade"], "blade"].iloc[0]
        assert_same(fit_mixed(saved(table, tmp_path), **MODEL), fit_mixed(table, **MODEL), rel=1e-8)

    def test_a_covariate(self, tmp_path: Path) -> None:
        table = trial()
        table["strokes"] = (pd.factorize(table["edge"])[0] % 7) / 2.0
        model = {**MODEL, "fixed": ["medium", "strokes"], "covariates": ["strokes"]}
        expected = fit_mixed(table, **model)
        for name in ("readings.parquet", "readings.csv"):
            assert_same(fit_mixed(saved(table, tmp_path, name), **model), expected)

    def test_whole_numbers_as_labels(self, tmp_path: Path) -> None:
        table = trial()
        table = table.assign(**{name: table[name].str[1:].astype(int) for name in ("blade", "edge")})
        assert_same(fit_mixed(saved(table, tmp_path), **MODEL), fit_mixed(table, **MODEL))

    @pytest.mark.parametrize("shift", [1e10, -1e10])
    def test_ten_constant_leading_digits(self, tmp_path: Path, shift: float) -> None:
        """Half units are exact beside 1e10, so only the arithmetic could lose digits."""
        table = trial().assign(reading=lambda t: (2 * t["reading"]).round() / 2)
        far = table.assign(reading=table["reading"] + shift)
        found, expected = fit_mixed(saved(far, tmp_path), **MODEL), fit_mixed(table, **MODEL)
        assert found.optimum.variances == pytest.approx(expected.optimum.variances, rel=1e-10)
        assert found.contrasts("medium").estimate == pytest.approx(expected.contrasts("medium").estimate, rel=1e-10)

    @settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    @given(seed=st.integers(0, 2**31), factor=st.sampled_from([0.01, 9.80665, 1e6]))
    def test_row_order_and_unit_do_not_matter(self, tmp_path: Path, seed: int, factor: float) -> None:
        table = trial(60)
        mixed_up = table.sample(frac=1, random_state=seed % 2**32).assign(reading=lambda t: t["reading"] * factor)
        found, expected = fit_mixed(saved(mixed_up, tmp_path), **MODEL), fit_mixed(table, **MODEL)
        assert found.contrasts("medium").p == pytest.approx(expected.contrasts("medium").p, rel=1e-8)
        assert found.contrasts("medium").se == pytest.approx(factor * expected.contrasts("medium").se, rel=1e-8)


class TestNamesAreNotCode:
    def test_quotes_in_columns_and_labels(self, tmp_path: Path) -> None:
        table = trial(60).replace({"medium": {"m0": "it's \"fine\"; DROP TABLE units"}})
        names = {"blade": 'the "good" blade', "edge": "edge's", "reading": 'force, "gf"', "medium": "n"}
        table = table.rename(columns=names)
        model = {"response": 'force, "gf"', "fixed": ["n"], "random": ['the "good" blade', "edge's"]}
        expected = fit_mixed(table, **model)
        for name in ("a.parquet", "a.csv"):
            assert_same(fit_mixed(saved(table, tmp_path, name), **model), expected)

    @pytest.mark.parametrize("name", ["it's.parquet", 'say "x".parquet', "all*.parquet", "[a]?.csv", "a;--.csv"])
    def test_signs_in_the_path(self, tmp_path: Path, name: str) -> None:
        table = trial(60)
        saved(trial(60, seed=2), tmp_path, "all of it.parquet")  # what the pattern would find
        saved(trial(60, seed=2), tmp_path, "a1.csv")
        assert_same(fit_mixed(saved(table, tmp_path, name), **MODEL), fit_mixed(table, **MODEL))

    def test_quoted(self) -> None:
        assert quoted('a"b') == '"a""b"'


class TestBadFiles:
    def refuse(self, path: Path, **changes: object) -> str:
        with pytest.raises(FitError) as caught:
            fit_mixed(path, **{**MODEL, **changes})
        return str(caught.value)

    def test_a_missing_column(self, tmp_path: Path) -> None:
        told = self.refuse(saved(trial(60).drop(columns="blade"), tmp_path))
        assert told.startswith("readings.parquet has no column `blade`. Its columns are `medium`, `operator`, `edge`")

    def test_text_among_the_readings(self, tmp_path: Path) -> None:
        table = trial(60).astype({"reading": object})
        table.loc[7, "reading"] = ">1500"
        table.loc[9, "reading"] = "blunt"
        for name in ("a.csv", "a.parquet"):
            told = self.refuse(saved(table.astype({"reading": str}), tmp_path, name))
            assert told == (
                f"Column `reading` of {name} has 2 value(s) that are no finite number, the first '>1500' in row 8. "
                "Set such rows aside first."
            )

    @pytest.mark.parametrize(("value", "said"), [(np.nan, "nan|a blank"), (np.inf, "inf")])
    def test_no_finite_number(self, tmp_path: Path, value: float, said: str) -> None:
        table = trial(60)
        table.loc[3, "reading"] = value
        with pytest.raises(FitError, match=rf"has 1 value\(s\) that are no finite number, the first ({said}) in row 4"):
            fit_mixed(saved(table, tmp_path), **MODEL)

    @pytest.mark.parametrize("name", ["a.parquet", "a.csv"])
    def test_a_blank_edge(self, tmp_path: Path, name: str) -> None:
        table = trial(60)
        table.loc[[11, 20], "edge"] = None
        assert self.refuse(saved(table, tmp_path, name)) == (
            f"Column `edge` of {name} is blank in row 12. Fill it in, or set the row aside."
        )

    def test_a_covariate_that_is_text(self, tmp_path: Path) -> None:
        told = self.refuse(saved(trial(60), tmp_path), fixed=["medium", "operator"], covariates=["operator"],
                           random=["blade", "edge"])  # fmt: skip
        assert "Column `operator` of readings.parquet holds 'o" in told
        assert "which is no number, in row 1" in told

    def test_an_edge_with_two_blades_among_too_many(self, tmp_path: Path) -> None:
        table = trial(3200)
        row = table.index[table["edge"] == "e0017"][1]
        table.loc[row, "blade"] = "other"
        assert self.refuse(saved(table, tmp_path)) == (
            "edge e0017 comes with 2 levels of blade. Each edge must have one level of every other factor: correct "
            "the rows, or give each its own name."
        )

    def test_two_terms_that_are_the_unit(self, tmp_path: Path) -> None:
        table = trial(60).assign(piece=lambda t: "p" + t["edge"])
        told = self.refuse(saved(table, tmp_path), random=["edge", "piece"])
        assert "The random terms edge and piece always change together" in told

    def test_nothing_there(self, tmp_path: Path) -> None:
        assert self.refuse(tmp_path / "no.csv") == f"There is no file {tmp_path / 'no.csv'}."
        assert "has no rows" in self.refuse(saved(trial(60).head(0), tmp_path))
        assert self.refuse(tmp_path / "no.txt") == (
            "no.txt ends in neither .parquet nor .csv. Save the readings as one of these."
        )

    def test_not_a_parquet_file(self, tmp_path: Path) -> None:
        path = tmp_path / "a.parquet"
        path.write_text("edge,reading\n")
        assert self.refuse(path).startswith("a.parquet cannot be read: ")

    def test_what_needs_readings_says_so(self, tmp_path: Path) -> None:
        fit = fit_mixed(saved(trial(60), tmp_path), **MODEL)
        for work in (lambda: fit.refit(np.ones(3)), lambda: fit.criterion_for(np.ones(3)), lambda: fit.shared):
            with pytest.raises(FitError, match="made from the sums of a file and does not hold the readings"):
                work()

    def test_without_duckdb(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setitem(sys.modules, "duckdb", None)
        assert "pip install 'sharpstats[large]'" in self.refuse(saved(trial(60), tmp_path))


class TestMemoryAndTemporaryFiles:
    def test_little_memory_gives_the_same(self, tmp_path: Path) -> None:
        path = saved(trial(5000), tmp_path)
        terms = [("medium",)], [("blade",), ("edge",)]
        little, much = (read_sums(path, "reading", *terms, memory=memory) for memory in ("30MB", "2GB"))
        pd.testing.assert_frame_equal(little.table, much.table, rtol=1e-12)
        assert little.within == pytest.approx(much.within, rel=1e-12)

    @pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError])
    def test_nothing_is_left_behind(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: type) -> None:
        path = saved(trial(60), tmp_path)
        spill = tmp_path / "spill"
        spill.mkdir()
        monkeypatch.setattr("tempfile.tempdir", str(spill))
        with pytest.raises(error), open_file(path) as file:
            assert list(spill.iterdir())
            file.ask("SELECT count(*) FROM {rows}")
            raise error
        assert not list(spill.iterdir())

    @pytest.mark.parametrize(("told", "means"), [("Query interrupted", KeyboardInterrupt), ("other", RuntimeError)])
    def test_ctrl_c_during_a_query_is_known(self, tmp_path: Path, told: str, means: type[BaseException]) -> None:
        """The database tells of it as a plain RuntimeError."""
        with pytest.raises(means), open_file(saved(trial(60), tmp_path)):
            raise RuntimeError(told)
