"""A report takes its place whole or not at all, and nothing that is not ours is touched."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from sharpstats.errors import PublishError
from sharpstats.publish.folder import building, is_report, refuse_foreign

MARK = json.dumps({"format": "sharpstats-results/1"})


def write_report(target: Path, said: str, **more: str) -> None:
    with building(target) as folder:
        (folder / "results.json").write_text(MARK)
        (folder / "index.html").write_text(said)
        for name, text in more.items():
            (folder / name).write_text(text)


def hidden(place: Path) -> list[str]:
    return sorted(path.name for path in place.iterdir() if path.name.startswith("."))


def test_a_new_report_takes_the_place_of_the_old_one(tmp_path: Path) -> None:
    target = tmp_path / "report"
    write_report(target, "old")
    write_report(target, "new")
    assert (target / "index.html").read_text() == "new"
    assert hidden(tmp_path) == []


def test_the_folders_above_are_made(tmp_path: Path) -> None:
    write_report(tmp_path / "for" / "the club", "new")
    assert is_report(tmp_path / "for" / "the club")


@pytest.mark.parametrize("trouble", [ValueError("a fault"), KeyboardInterrupt()])
def test_trouble_while_building_leaves_the_old_report_whole(tmp_path: Path, trouble: BaseException) -> None:
    target = tmp_path / "report"
    write_report(target, "old")
    with pytest.raises(type(trouble)), building(target) as folder:
        (folder / "index.html").write_text("half")
        raise trouble
    assert (target / "index.html").read_text() == "old"
    assert hidden(tmp_path) == []


def test_trouble_while_swapping_puts_the_old_report_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "report"
    write_report(target, "old")
    rename = Path.rename

    def rename_until_the_new_one(path: Path, to: Path) -> Path:
        if "-building-" in path.name:
            raise KeyboardInterrupt
        return rename(path, to)

    monkeypatch.setattr(Path, "rename", rename_until_the_new_one)
    with pytest.raises(KeyboardInterrupt):
        write_report(target, "new")
    assert (target / "index.html").read_text() == "old"
    assert hidden(tmp_path) == []


def test_a_killed_publish_is_cleared_away_by_the_next(tmp_path: Path) -> None:
    target = tmp_path / "report"
    write_report(target, "old")
    killed = start_building(target)
    assert [name for name in hidden(tmp_path) if "-building-" in name]
    killed.send_signal(signal.SIGKILL)
    killed.communicate()
    assert (target / "index.html").read_text() == "old"
    write_report(target, "new")
    assert hidden(tmp_path) == []


def test_a_publish_at_work_is_not_cleared_away(tmp_path: Path) -> None:
    target = tmp_path / "report"
    other = start_building(target)
    write_report(target, "mine")
    assert [name for name in hidden(tmp_path) if "-building-" in name]
    other.communicate("go on\n")
    assert other.returncode == 0
    assert (target / "index.html").read_text() == "theirs"
    assert hidden(tmp_path) == []


def start_building(target: Path) -> subprocess.Popen[str]:
    """Start another process that builds a report and waits for a line before it ends."""
    code = textwrap.dedent("""
        import sys
        from pathlib import Path
        from sharpstats.publish.folder import building
        with building(Path(sys.argv[1])) as folder:
            (folder / "results.json").write_text('{"format": "sharpstats-results/1"}')
            (folder / "index.html").write_text("theirs")
            print("ready", flush=True)
            sys.stdin.readline()
    """)
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(target)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    return process


def test_many_publishes_at_once_leave_one_whole_report(tmp_path: Path) -> None:
    target = tmp_path / "report"
    at_work = [start_building(target) for _ in range(4)]
    for process in at_work:
        assert process.stdin is not None
        process.stdin.write("go on\n")
        process.stdin.flush()
    for process in at_work:
        process.communicate()
        assert process.returncode == 0
    assert (target / "index.html").read_text() == "theirs"
    assert hidden(tmp_path) == []


def test_a_report_moved_away_by_a_killed_swap_comes_back(tmp_path: Path) -> None:
    target = tmp_path / "report"
    write_report(target, "old")
    target.rename(tmp_path / ".report-old-0badcafe")
    with pytest.raises(ValueError, match="stop"), building(target):
        raise ValueError("stop")
    assert (target / "index.html").read_text() == "old"


def test_what_the_owner_put_into_a_report_folder_stays(tmp_path: Path) -> None:
    target = tmp_path / "report"
    write_report(target, "old", **{"media.csv": "gone in the new one"})
    (target / "my video.txt").write_text("mine")
    write_report(target, "new")
    assert (target / "my video.txt").read_text() == "mine"
    assert not (target / "media.csv").exists()


def test_what_belongs_to_a_report_depends_on_its_kind(tmp_path: Path) -> None:
    target = tmp_path / "report"
    write_report(target, "a trial", **{"trial.ipynb": "gone in the new one", "masses.csv": "the owner's"})
    write_report(target, "a tester", **{"results.json": json.dumps({"format": "sharpstats-tester/1"})})
    assert (target / "masses.csv").read_text() == "the owner's"
    assert not (target / "trial.ipynb").exists()


@pytest.mark.parametrize("results", [None, "not JSON", "[]", '{"format": "of another program/1"}'])
def test_a_folder_that_is_no_report_is_not_touched(tmp_path: Path, results: str | None) -> None:
    target = tmp_path / "report"
    target.mkdir()
    (target / "precious.txt").write_text("mine")
    if results is not None:
        (target / "results.json").write_text(results)
    with pytest.raises(PublishError, match=r"^The folder report holds something that is not a sharpstats report"):
        write_report(target, "new")
    assert (target / "precious.txt").read_text() == "mine"
    assert hidden(tmp_path) == []


def test_a_file_or_a_link_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere")
    for name in ("file", "link"):
        with pytest.raises(PublishError, match=f"^{name} is not a folder, so no report is written there"):
            refuse_foreign(tmp_path / name)


def test_an_empty_folder_is_used(tmp_path: Path) -> None:
    (tmp_path / "report").mkdir()
    write_report(tmp_path / "report", "new")
    assert (tmp_path / "report" / "index.html").read_text() == "new"


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(path: Path, *_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(PublishError, match=r"cannot be written at report: Permission denied\. Choose a folder"):
        write_report(tmp_path / "report", "new")


def test_a_place_within_a_file_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    with pytest.raises(PublishError, match=r"The report cannot be written at report: (File exists|Not a directory)"):
        write_report(tmp_path / "file" / "report", "new")
    assert (tmp_path / "file").read_text() == "mine"


def test_signs_that_a_file_pattern_would_take_for_its_own(tmp_path: Path) -> None:
    target = tmp_path / "report [a*]"
    write_report(target, "old")
    write_report(target, "new")
    assert (target / "index.html").read_text() == "new"
    assert hidden(tmp_path) == []


def test_the_report_can_be_read_by_others(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        write_report(tmp_path / "report", "new")
    finally:
        os.umask(before)
    assert (tmp_path / "report").stat().st_mode & 0o777 == 0o755
