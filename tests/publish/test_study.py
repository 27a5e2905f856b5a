"""A published tester study: complete, nameless, harmless, the same when it is opened or run again."""

from __future__ import annotations

import json
import os
import shutil
import warnings
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import nbformat
import pandas as pd
import pytest
from hostile import CLOSING
from studyfolder import NAMES, PEOPLE, write_named_study

import sharpstats as ss
from sharpstats.errors import FitError, PlanError, PublishError, TrialError
from sharpstats.publish.manifest import compare, keep, results
from sharpstats.publish.prepare import prepare
from sharpstats.publish.publish import publish
from sharpstats.publish.tester import TESTER
from sharpstats.tester.package import write_study
from sharpstats.tester.study import TesterStudy, open_tester

TEXTS = {".json", ".ipynb", ".html", ".csv", ".svg", ".toml"}


def results_of(report: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((report / "results.json").read_text(encoding="utf-8"))
    return found


def outputs(report: Path) -> Iterator[tuple[str, Any]]:
    notebook = nbformat.read(report / "tester.ipynb", as_version=4)
    nbformat.validate(notebook)
    for cell in notebook.cells:
        for out in cell.get("outputs", []):
            yield cell.id, out


def source_of(report: Path) -> Path:
    return report.parent


def assert_same(one: TesterStudy, other: TesterStudy) -> None:
    """The same rows are used, and the same set aside for the same reason, but for what somebody is called."""
    for name in one.texts:
        used, again = (
            getattr(study, name).drop(columns=["file", "row", "operator", "shop", "set_aside"], errors="ignore")
            for study in (one, other)
        )
        pd.testing.assert_frame_equal(used, again)
    assert one.set_aside["code"].tolist() == other.set_aside["code"].tolist()


def valid(folder: Path) -> list[list[Any]]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the validator's own
        from frictionless import Package

        report = Package(str(folder / "datapackage.json")).validate()
    return report.flatten(["rowNumber", "fieldName", "type", "note"])


# --- what is published


def test_the_report_is_complete_and_its_package_valid(published_study: Path) -> None:
    names = {path.name for path in published_study.iterdir()}
    assert names == TESTER.files
    assert valid(published_study) == []
    package = json.loads((published_study / "datapackage.json").read_text(encoding="utf-8"))
    assert [one["name"] for one in package["resources"]] == ["readings", "masses", "shops", "tester"]
    described = {field["name"]: field for field in package["resources"][1]["schema"]["fields"]}
    assert described["mass_g"]["unit"] == "g"
    assert described["direction"]["constraints"]["enum"] == ["up", "down"]


def test_every_part_of_the_examination_is_shown_and_in_the_results(published_study: Path) -> None:
    examination = open_tester(source_of(published_study)).examine()
    found = results_of(published_study)
    assert found["format"] == "sharpstats-tester/1"
    assert set(found["parts"]) == set(examination.parts)
    assert examination.spreads is not None
    stored = {row["term"]: row["sd"] for row in found["parts"]["spreads"]["table"]}
    assert stored == pytest.approx(dict(examination.spreads.table[["term", "sd"]].to_numpy().tolist()), rel=1e-9)
    shown = dict(outputs(published_study))
    assert {part.name for part in TESTER.parts} <= set(shown)
    assert not [name for name, out in shown.items() if "text/plain" not in out.data]


def test_no_name_of_a_person_or_a_shop_is_in_the_report(published_study: Path) -> None:
    for file in filter(Path.is_file, published_study.rglob("*")):
        held = file.read_bytes().lower()
        assert not [name for name in NAMES if name.lower().encode() in held], file.name
        assert not [name for name in NAMES if ascii(name).strip("'").lower().encode() in held], file.name
    study, private = open_tester(published_study), open_tester(source_of(published_study))
    assert private.readings is not None
    called = {name: f"operator {number}" for number, name in enumerate(private.readings["operator"].unique(), start=1)}
    assert study.plan.title == f"What the tester of {called[PEOPLE[0]]} and shop 2 is worth"
    assert study.plan.question == f"Is {called[PEOPLE[2]]} steady?"
    told = results_of(published_study)["provenance"]
    assert (told["source_plan_sha256"], told["source_sha256"]) == (private.plan_sha256, private.data_sha256)
    page = (published_study / "index.html").read_text(encoding="utf-8")
    assert "plan as written, with the names of operators and shops" in page


def test_one_person_has_one_pseudonym_in_all_tables(published_study: Path) -> None:
    private, public = open_tester(source_of(published_study)), open_tester(published_study)
    assert private.readings is not None and public.readings is not None
    assert private.masses is not None and public.masses is not None
    called = dict(zip(private.readings["operator"], public.readings["operator"], strict=True))
    assert list(called.values()) == ["operator 1", "operator 2", "operator 3"]
    assert public.masses["operator"].tolist() == private.masses["operator"].map(called).tolist()


def test_nothing_says_who_published_or_where(published_study: Path) -> None:
    private = [str(published_study.parents[1]), str(Path.home()) + "/", str(Path(ss.__file__).parents[1])]
    for path in published_study.rglob("*"):
        if path.suffix in TEXTS:
            text = path.read_text(encoding="utf-8")
            assert [word for word in private if word in text] == [], path.name


# --- opened again, run again, published again


def test_opened_again_it_gives_the_same_readings_and_results(published_study: Path) -> None:
    private, public = open_tester(source_of(published_study)), open_tester(published_study)
    assert_same(private, public)
    assert set(private.set_aside["code"]) == {"cut-read-twice", "ragged-row"}
    assert compare(results_of(published_study), results(public.examine())).differences == ()
    ours, theirs = private.examine().spreads, public.examine().spreads
    assert ours is not None and theirs is not None
    assert theirs.table["sd"].tolist() == pytest.approx(ours.table["sd"].tolist(), rel=1e-9)


def test_published_again_it_stays_the_same(published_study: Path, tmp_path: Path) -> None:
    write_study(open_tester(published_study), tmp_path)
    for name in ("tester.toml", "readings.csv", "masses.csv", "shops.csv"):
        assert (tmp_path / name).read_bytes() == (published_study / name).read_bytes(), name


def test_its_cells_run_again_elsewhere_give_the_same(
    published_study: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    moved = shutil.copytree(published_study, tmp_path / "from a friend")
    monkeypatch.chdir(moved)
    *cells, last = [cell for cell in nbformat.read("tester.ipynb", as_version=4).cells if cell.cell_type == "code"]
    shown: list[object] = []
    names: dict[str, Any] = {"display": shown.append}
    for cell in cells:
        exec(cell.source, names)
    assert len(shown) == sum(out.output_type == "display_data" for _, out in outputs(published_study))
    assert str(eval(last.source, names)).startswith("The same results as in results.json: ")


@pytest.mark.slow
def test_anybody_can_run_it_again_elsewhere_and_gets_the_same(published_study: Path, tmp_path: Path) -> None:
    from nbclient import NotebookClient

    moved = shutil.copytree(published_study, tmp_path / "from a friend")
    notebook = nbformat.read(moved / "tester.ipynb", as_version=4)
    NotebookClient(notebook, resources={"metadata": {"path": str(moved)}}, kernel_name="python3").execute(
        env={**os.environ, "PYTHONPATH": str(Path(ss.__file__).parents[1])}
    )
    (last,) = [out for cell in notebook.cells if cell.id == "check" for out in cell.outputs]
    assert last.data["text/plain"].startswith("The same results as in results.json: ")


def test_a_changed_reading_is_noticed_on_a_rerun(published_study: Path, tmp_path: Path) -> None:
    moved = shutil.copytree(published_study, tmp_path / "changed")
    rows = (moved / "readings.csv").read_text(encoding="utf-8").splitlines()
    rows[1] = rows[1].replace(rows[1].split(",")[4], "250.0")
    (moved / "readings.csv").write_text("\n".join(rows), encoding="utf-8")
    assert keep(open_tester(moved).examine(), moved).differences


# --- names as written, names that are pseudonyms, and other details of the tables


def a_study(folder: Path, plan: str = 'title = "T"\n', **tables: str) -> TesterStudy:
    folder.mkdir(exist_ok=True)
    (folder / "tester.toml").write_text(plan, encoding="utf-8")
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return open_tester(folder)


def reopened(study: TesterStudy, folder: Path) -> TesterStudy:
    folder.mkdir()
    write_study(study, folder)
    assert valid(folder) == []
    return open_tester(folder)


CUTS = "edge,cut,operator,reading\ne1,1,Zoë,150\ne1,2,Al,151\ne2,1,Al,160\n"


@pytest.mark.parametrize("column", ["operators", "shops"])
def test_names_stay_where_the_plan_wants_them_as_written(tmp_path: Path, column: str) -> None:
    plan = f'title = "Zoë of Haus"  # Al\n[publishing]\n{column} = "as written"\n'
    shops = "shop,batch,cut,reading\nHaus,x,1,150\nHof,x,1,151\n"
    public = reopened(a_study(tmp_path / "own", plan, readings=CUTS, shops=shops), tmp_path / "public")
    assert public.readings is not None and public.shops is not None
    kept = column == "operators"
    assert public.readings["operator"].tolist()[0] == ("Zoë" if kept else "operator 1")
    assert public.shops["shop"].tolist() == (["shop 1", "shop 2"] if kept else ["Haus", "Hof"])
    assert public.plan.title == ("Zoë of shop 1" if kept else "operator 1 of Haus")


def test_what_a_plan_adds_to_the_budget_names_nobody(tmp_path: Path) -> None:
    plan = (
        'title = "T"\nquestion = "Does Zoë know?"\nscale = "log"\n[[contribution]]\nname = "reading by Zoë"\n'
        'standard = "0.5 gf"\nsource = "Log told Al"\n'
    )
    own = a_study(tmp_path / "own", plan, readings=CUTS.replace("Al", "Log"))
    public = reopened(own, tmp_path / "public")
    (one,) = public.plan.contributions
    assert (one.name, one.source) == ("reading by operator 1", "operator 2 told Al")
    assert public.plan.scale == "log"


def test_a_plan_that_names_nobody_is_copied_with_its_remarks(tmp_path: Path) -> None:
    plan = '# ours\ntitle = "A tester"\n'
    own = a_study(tmp_path / "own", plan, readings=CUTS.replace("Zoë", "A").replace("Al", "B"))
    public = reopened(own, tmp_path / "public")
    assert (tmp_path / "public" / "tester.toml").read_text(encoding="utf-8") == plan
    assert public.plan_sha256 == own.plan_sha256


def test_pseudonyms_of_ones_own_stay_as_they_are(tmp_path: Path) -> None:
    own = a_study(tmp_path / "own", readings=CUTS.replace("Zoë", "operator 3").replace("Al", "operator 1"))
    public = reopened(own, tmp_path / "public")
    assert public.readings is not None
    assert public.readings["operator"].tolist() == ["operator 3", "operator 1", "operator 1"]


def test_reasons_name_nobody(tmp_path: Path) -> None:
    long = "Wulfhilde of the very long name that would be cut short somewhere in a message about her" * 2
    shops = f"shop,batch,cut,reading\n{long},x,1,150\n{long},x,1,151\n,x,1,152\nHof,x,1,153\n"
    own = a_study(tmp_path / "own", readings=CUTS + f"e3,1,{long},1\ne3,1,{long},2\ne4,1,,3\n", shops=shops)
    assert set(own.set_aside["code"]) == {"cut-read-twice", "no-value"}
    reopened(own, tmp_path / "public")
    for file in (tmp_path / "public").iterdir():
        assert "Wulfhilde" not in file.read_text(encoding="utf-8"), file.name


def test_a_force_that_was_worked_out_is_not_published_as_given(tmp_path: Path) -> None:
    masses = "mass_g,applied,reading\n100,,100.5\n,200 gf,201\n"
    own = a_study(tmp_path / "own", masses=masses)
    public = reopened(own, tmp_path / "public")
    assert_same(own, public)
    assert (tmp_path / "public" / "masses.csv").read_text(encoding="utf-8").split() == [
        "mass_g,applied,reading", "100,,100.5", ",200,201",
    ]  # fmt: skip


def test_what_was_mended_is_published_mended(tmp_path: Path) -> None:
    own = a_study(tmp_path / "own", readings="edge;Reading (N);day\n e1;1,5;mon\ne1;>2;mon\ne1;x;mon\n")
    assert_same(own, reopened(own, tmp_path / "public"))


# --- whole or not at all, and what is refused


def test_a_study_without_anything_to_use_leaves_the_old_report(published_study: Path, tmp_path: Path) -> None:
    folder = write_named_study(tmp_path)
    shutil.copytree(published_study, folder / "report")
    for name in ("readings", "masses", "shops"):
        (folder / f"{name}.csv").unlink()
    with pytest.raises((FitError, TrialError), match="nothing to study"):
        publish(folder)
    assert results_of(folder / "report") == results_of(published_study)
    assert [path.name for path in folder.iterdir() if path.name.startswith(".")] == []


def test_a_study_that_changed_since_it_was_opened_is_not_published(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    study = a_study(tmp_path / "own", readings=CUTS)
    (tmp_path / "own" / "readings.csv").write_text(CUTS + "e2,2,Al,161\n", encoding="utf-8")
    (tmp_path / "report").mkdir()
    monkeypatch.chdir(tmp_path / "report")
    with pytest.raises(PublishError, match="have changed since the tester study was opened"):
        prepare(str(tmp_path / "own" / "tester.toml"), (study.plan_sha256, study.data_sha256))
    assert not list(Path().iterdir())


@pytest.fixture
def no_kernel(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(folder: Path) -> None:
        raise AssertionError("a kernel was started")

    monkeypatch.setattr("sharpstats.publish.kernel.running", refuse)


@pytest.mark.usefixtures("no_kernel")
def test_a_folder_with_both_plans_asks_which(tmp_path: Path) -> None:
    folder = write_named_study(tmp_path)
    (folder / "trial.toml").write_text('title = "T"\n', encoding="utf-8")
    with pytest.raises(TrialError, match=r"has both trial\.toml and tester\.toml\. Name the one"):
        publish(folder)
    with pytest.raises(PublishError, match="the tester study itself is in there"):
        publish(folder / "tester.toml", out=folder)
    with pytest.raises(PlanError):
        publish(folder / "trial.toml")


@pytest.mark.usefixtures("no_kernel")
def test_another_file_is_no_plan(tmp_path: Path) -> None:
    folder = write_named_study(tmp_path)
    with pytest.raises(TrialError, match=r"readings\.csv is no plan\. Name a folder, or the trial\.toml or tester"):
        publish(folder / "readings.csv")


# --- labels that want to be more than labels


def test_hostile_labels_do_nothing(published_hostile_study: Path) -> None:
    assert results_of(published_hostile_study)["study"]["title"].startswith(CLOSING)
    assert valid(published_hostile_study) == []
    for path in published_hostile_study.rglob("*"):
        if path.suffix in {".html", ".svg"}:
            text = path.read_text(encoding="utf-8")
            assert "<script" not in text.lower(), path.name
            assert handlers(text) == [], path.name
    for name, out in outputs(published_hostile_study):
        shown = out.get("data", {}).get("text/html", "")
        assert "<script" not in shown.lower(), name
        assert "<img" not in shown, name
    assert_same(open_tester(source_of(published_hostile_study)), open_tester(published_hostile_study))


def handlers(text: str) -> list[str]:
    """Return every attribute that would run or fetch something."""
    found: list[str] = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            for name, value in attrs:
                own = (value or "") in TESTER.files | {"figures/"}
                harmless = (value or "").startswith(("data:image/png;base64,", "#")) or own
                if name.startswith("on") or (name in {"src", "href", "xlink:href", "action"} and not harmless):
                    found.append(f"{tag} {name}={value}")

    Reader().feed(text)
    return found
