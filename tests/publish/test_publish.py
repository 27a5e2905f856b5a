"""Publishing as a whole: one folder, complete, the same each time, rerun by anybody, or nothing at all."""

from __future__ import annotations

import asyncio
import getpass
import hashlib
import json
import os
import platform
import shutil
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import nbformat
import pytest
from demos import copy_of
from hostile import ALL, SCRIPT
from privilege import place_for_all, read_only

import sharpstats as ss
from sharpstats.errors import FitError, PlanError, PublishError, TrialError
from sharpstats.publish.manifest import compare
from sharpstats.publish.publish import publish
from sharpstats.publish.trial import TRIAL

FILES = {
    "index.html", "trial.ipynb", "results.json", "readings.csv", "trial.toml", "datapackage.json", "media.csv",
    "figures", "tester-study",
}  # fmt: skip

LINKS = {"figures/"}


def results_of(report: Path) -> dict[str, Any]:
    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is not JSON")

    found: dict[str, Any] = json.loads((report / "results.json").read_text(encoding="utf-8"), parse_constant=refuse)
    return found


def notebook_of(report: Path) -> Any:
    return nbformat.read(report / "trial.ipynb", as_version=4)


def outputs(notebook: Any) -> Iterator[tuple[str, Any]]:
    for cell in notebook.cells:
        for out in cell.get("outputs", []):
            yield cell.id, out


# --- what is published


def test_the_report_is_complete(published: Path) -> None:
    assert {path.name for path in published.iterdir()} == FILES
    assert [path.name for path in published.parent.iterdir() if path.name.startswith(".")] == []


def test_each_picture_is_there_as_png_and_svg_and_each_claim_has_a_wide_one(published: Path) -> None:
    names = {path.stem for path in (published / "figures").iterdir()}
    assert {path.name for path in (published / "figures").iterdir()} == {
        f"{name}.{kind}" for name in names for kind in ("png", "svg")
    }
    for finding in results_of(published)["findings"]:
        width, height = png_size(published / "figures" / f"claim-{finding['claim']}.png")
        assert width * 9 == height * 16
    others = {"claims", "fragility", "edges", "spread", "residuals", "drift"}
    assert len(names) == len(results_of(published)["findings"]) + len(others)


def png_size(path: Path) -> tuple[int, int]:
    width, height = struct.unpack(">II", path.read_bytes()[16:24])
    return width, height


def test_results_have_at_least_what_is_promised(published: Path) -> None:
    results = results_of(published)
    assert results["format"] == "sharpstats-results/1"
    assert {"title", "unit", "scale", "plan_sha256", "data_sha256"} <= set(results["trial"])
    assert {"readings_read", "readings_used", "readings_set_aside", "edges", "edges_left_out",
            "edges_over_range", "over_range",
            "control_edges"} == set(results["counts"])  # fmt: skip
    assert {"components", "means", "contrasts", "drift", "notes", "provenance"} <= set(results)
    for finding in results["findings"]:
        assert {"claim", "kind", "finding", "estimate", "low", "high", "level", "df", "p", "p_adjusted",
                "unit"} <= set(finding)  # fmt: skip
    assert {finding["finding"] for finding in results["findings"]} == {"shown", "contradicted", "open"}


def test_results_are_the_numbers_of_the_trial(published: Path, demo: Path) -> None:
    results = results_of(published)
    findings = ss.open_trial(demo).judge()
    counts = results["counts"]
    assert counts["readings_used"] + counts["readings_set_aside"] == counts["readings_read"]
    assert [stored["claim"] for stored in results["findings"]] == [one.claim for one in findings.findings]
    for stored, one in zip(results["findings"], findings.findings, strict=True):
        assert stored["finding"] == one.finding
        assert stored["estimate"] == pytest.approx(one.estimate, rel=1e-9)
        assert (stored["low"], stored["high"]) == pytest.approx((one.low, one.high), rel=1e-9)
    components = findings.fit.components.table
    assert [row["sd"] for row in results["components"]] == pytest.approx(components["sd"].tolist(), rel=1e-6)
    assert results["components_by_mean_squares"] == []  # the demo is not balanced
    assert len(results["means"]) == len(findings.fit.means.table)


def test_fingerprints_are_those_of_the_published_files(published: Path) -> None:
    results = results_of(published)
    readings = hashlib.sha256((published / "readings.csv").read_bytes()).hexdigest()
    assert results["trial"]["data_sha256"] == readings
    package = json.loads((published / "datapackage.json").read_text(encoding="utf-8"))
    assert f"sha256:{readings}" in [resource.get("hash") for resource in package["resources"]]
    assert results["trial"]["plan_sha256"] == results["provenance"]["plan_sha256"]


def test_provenance_tells_versions_and_seeds_and_where_the_readings_come_from(published: Path, demo: Path) -> None:
    told = results_of(published)["provenance"]
    assert told["versions"]["sharpstats"] == ss.__version__
    assert told["versions"]["python"] == platform.python_version()
    assert told["seeds"]["layout"] == 20260411
    assert told["source_sha256"] == ss.open_trial(demo).data_sha256
    assert told["frozen"] is None
    assert told["differences"] == []


def test_nothing_says_who_published_or_where(published: Path) -> None:
    private = [str(published.parents[1]), str(Path.home()) + "/", str(Path(ss.__file__).parents[1])]
    # A short name would be found by chance in the letters of a picture.
    private += [name for name in (platform.node(), getpass.getuser()) if len(name) > 5]
    for path in published.rglob("*"):
        if path.suffix in {".json", ".ipynb", ".html", ".csv", ".svg", ".toml"}:
            text = path.read_text(encoding="utf-8")
            assert [word for word in private if word and word in text] == [], path.name


# --- the notebook


def test_the_notebook_is_valid_and_its_cells_are_named(published: Path) -> None:
    notebook = notebook_of(published)
    nbformat.validate(notebook)
    assert [cell.id for cell in notebook.cells if cell.cell_type == "code"] == ["open", *code_names()]
    assert notebook.metadata.kernelspec.name == "python3"
    assert all(not cell.metadata for cell in notebook.cells)
    counts = [cell.execution_count for cell in notebook.cells if cell.cell_type == "code"]
    assert counts == list(range(1, len(counts) + 1))


def code_names() -> list[str]:
    return [part.name for part in TRIAL.parts]


def test_every_picture_has_a_sentence_and_every_result_a_text(published: Path) -> None:
    pictures = 0
    for name, out in outputs(notebook_of(published)):
        assert out.output_type == "execute_result", f"{name} shows a {out.output_type}"
        text = out.data["text/plain"]
        assert "PosixPath" not in text, name
        assert " object at 0x" not in text, name
        if "image/png" in out.data:
            pictures += 1
            assert len(out.metadata["image/png"]["alt"]) > 40, name
    assert pictures == 6


def test_anybody_can_run_it_again_elsewhere_and_gets_the_same(published: Path, tmp_path: Path) -> None:
    from nbclient import NotebookClient

    moved = shutil.copytree(published, tmp_path / "from a friend")
    notebook = notebook_of(moved)
    NotebookClient(notebook, resources={"metadata": {"path": str(moved)}}, kernel_name="python3").execute(
        env={**os.environ, "PYTHONPATH": str(Path(ss.__file__).parents[1])}
    )
    (last,) = [out for name, out in outputs(notebook) if name == "check"]
    assert last.data["text/plain"].startswith("The same results as in results.json: ")
    assert results_of(moved) == results_of(published)


def test_readings_that_were_changed_are_noticed_on_a_rerun(published: Path, tmp_path: Path) -> None:
    from sharpstats.publish.manifest import keep

    moved = shutil.copytree(published, tmp_path / "changed")
    readings = (moved / "readings.csv").read_bytes()
    (moved / "readings.csv").write_bytes(readings.replace(b",trial,", b",control,", 1))
    assert keep(ss.open_trial(moved).judge(), moved).differences


# --- the same each time, and whole or not at all


def test_publishing_again_gives_the_same_and_keeps_what_the_owner_added(
    published: Path, tmp_path: Path, demo: Path
) -> None:
    folder = copy_of(demo, tmp_path)
    shutil.copytree(published, folder / "report")
    (folder / "report" / "my video.txt").write_text("mine")
    (folder / "report" / "index.html").write_text("old")
    steps: list[str] = []
    report = publish(folder / "trial.toml", progress=steps.append)
    assert report == folder / "report"
    assert (report / "my video.txt").read_text() == "mine"
    for path in sorted(published.rglob("*")):
        if path.is_file() and path.name != "datapackage.json":  # it has the time of its making
            assert (report / path.relative_to(published)).read_bytes() == path.read_bytes(), path.name
    assert steps[0] == "starting the notebook's kernel"
    assert steps[-1] == "writing the page"


def test_readings_that_cannot_answer_leave_the_old_report_whole(
    published: Path, tmp_path: Path, demo: Path
) -> None:
    folder = copy_of(demo, tmp_path)
    shutil.copytree(published, folder / "report")
    lines = (folder / "readings.csv").read_bytes().splitlines(keepends=True)
    (folder / "readings.csv").write_bytes(lines[0])
    with pytest.raises((FitError, TrialError)) as caught:
        publish(folder)
    assert "Traceback" not in str(caught.value)
    assert "fault of sharpstats" not in str(caught.value)
    assert results_of(folder / "report") == results_of(published)
    assert hidden(folder) == []


def hidden(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir() if path.name.startswith(".report")]


def start(folder: Path) -> subprocess.Popen[bytes]:
    """Start `sharpstats publish` and return when it has begun to fill its hidden folder."""
    process = subprocess.Popen(
        [sys.executable, "-m", "sharpstats", "publish", str(folder)], stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, start_new_session=True,
    )  # fmt: skip
    deadline = time.monotonic() + 60
    while not list(folder.glob(".report-building-*/readings.csv")):
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < deadline, "publishing never began"
        time.sleep(0.02)
    return process


@pytest.mark.skipif(sys.platform == "win32", reason="signals are another thing there")
def test_ctrl_c_leaves_the_old_report_whole_and_nothing_else(published: Path, tmp_path: Path, demo: Path) -> None:
    folder = copy_of(demo, tmp_path)
    shutil.copytree(published, folder / "report")
    process = start(folder)
    os.killpg(process.pid, signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert b"sharpstats: stopped; nothing was left half done." in said
    assert b"Traceback" not in said
    assert results_of(folder / "report") == results_of(published)
    assert hidden(folder) == []


@pytest.mark.skipif(sys.platform == "win32", reason="signals are another thing there")
def test_a_killed_publish_leaves_the_old_report_whole_and_its_kernel_ends(
    published: Path, tmp_path: Path, demo: Path
) -> None:
    folder = copy_of(demo, tmp_path)
    shutil.copytree(published, folder / "report")
    process = start(folder)
    process.kill()
    process.communicate()
    assert results_of(folder / "report") == results_of(published)
    (left,) = folder.glob(".report-building-*")
    deadline = time.monotonic() + 30
    while at_work_in(left) and time.monotonic() < deadline:
        time.sleep(0.1)
    assert at_work_in(left) == []


def at_work_in(folder: Path) -> list[str]:
    """Return the processes whose working folder this is."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        try:
            if (process / "cwd").resolve() == folder.resolve():
                found.append(process.name)
        except OSError:
            continue
    return found


# --- what is refused, before anything is started


@pytest.fixture
def no_kernel(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(folder: Path) -> None:
        raise AssertionError("a kernel was started")

    monkeypatch.setattr("sharpstats.publish.kernel.running", refuse)


@pytest.mark.usefixtures("no_kernel")
def test_a_mistake_in_the_plan_is_told_at_once(tmp_path: Path, demo: Path) -> None:
    folder = copy_of(demo, tmp_path)
    plan = folder / "trial.toml"
    plan.write_text(plan.read_text(encoding="utf-8").replace('"15 %"', '"15"'), encoding="utf-8")
    with pytest.raises(PlanError, match="margin") as caught:
        publish(folder)
    assert len(caught.value.problems) == 3
    assert hidden(folder) == []


@pytest.mark.usefixtures("no_kernel")
def test_a_folder_that_is_no_trial_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(TrialError, match=r"has no trial\.toml, so it is not a trial folder"):
        publish(tmp_path)
    with pytest.raises(TrialError, match="There is no folder"):
        publish(tmp_path / "nowhere")


@pytest.mark.usefixtures("no_kernel")
@pytest.mark.parametrize("out", ["trial", "."])
def test_a_report_never_takes_the_place_of_the_trial(tmp_path: Path, demo: Path, out: str) -> None:
    folder = copy_of(demo, tmp_path)
    with pytest.raises(PublishError, match="the trial itself is in there"):
        publish(folder, out=tmp_path / out)
    assert (folder / "readings.csv").exists()


@pytest.mark.usefixtures("no_kernel")
def test_a_folder_of_something_else_is_refused(tmp_path: Path, demo: Path) -> None:
    folder = copy_of(demo, tmp_path)
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "1.jpg").write_text("mine")
    with pytest.raises(PublishError, match="The folder photos holds something that is not a sharpstats report"):
        publish(folder, out=tmp_path / "photos")


@pytest.mark.skipif(os.name == "nt", reason="folders have other rights there")
def test_a_folder_that_is_read_only_is_told(demo: Path) -> None:
    with place_for_all() as place:
        folder = copy_of(demo, place)
        ss.open_trial(folder).judge()  # loads what is needed, before the right to read it elsewhere may go
        with read_only(folder), pytest.raises(PublishError, match="cannot be written at report: Permission denied"):
            publish(folder)
        assert not list(folder.glob("*report*"))


def test_a_trial_that_changed_since_it_was_opened_is_not_published(tmp_path: Path, demo: Path) -> None:
    folder = copy_of(demo, tmp_path)
    trial = ss.open_trial(folder)
    readings = (folder / "readings.csv").read_bytes()
    (folder / "readings.csv").write_bytes(readings + b"\n")
    with pytest.raises(PublishError, match="have changed since the trial was opened"):
        trial.publish()
    assert not (folder / "report").exists()


# --- labels that want to be more than labels


def test_hostile_labels_are_published_as_they_are_and_do_nothing(published_hostile: Path) -> None:
    results = results_of(published_hostile)
    assert results["trial"]["title"].startswith(SCRIPT)
    assert compare(results, results).differences == ()
    for path in published_hostile.rglob("*"):
        if path.suffix in {".html", ".svg"}:
            text = path.read_text(encoding="utf-8")
            assert "<script" not in text.lower(), path.name
            assert handlers_and_addresses(text) == [], path.name
    trial = ss.open_trial(published_hostile)
    assert set(trial.readings["medium"]) == {" ".join(label.split()) for label in ALL} & set(trial.readings["medium"])
    assert len(trial.readings["medium"].unique()) == 4


def handlers_and_addresses(text: str) -> list[str]:
    """Return every attribute that would run or fetch something."""
    found: list[str] = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            for name, value in attrs:
                harmless = (value or "").startswith(("data:image/png;base64,", "#")) or (value or "") in FILES | LINKS
                if name.startswith("on") or (name in {"src", "href", "xlink:href", "action"} and not harmless):
                    found.append(f"{tag} {name}={value}")

    Reader().feed(text)
    return found


def test_hostile_labels_stay_letters_in_the_notebook(published_hostile: Path) -> None:
    notebook = notebook_of(published_hostile)
    nbformat.validate(notebook)
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            assert "<script" not in cell.source.lower()
            assert "$" not in cell.source
        for out in cell.get("outputs", []):
            shown = out.get("data", {}).get("text/html", "")
            assert "<script" not in shown.lower()
            assert "<img" not in shown


def test_publishing_from_within_a_notebook(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, demo: Path) -> None:
    """A loop runs already there; what is refused before the kernel starts is refused there too."""
    folder = copy_of(demo, tmp_path)

    async def cell() -> None:
        with pytest.raises(PublishError, match="the trial itself is in there"):
            publish(folder, out=folder)

    asyncio.run(cell())
