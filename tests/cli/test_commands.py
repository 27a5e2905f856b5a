"""The command line as a person meets it: what is said, where, and with which exit code."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sharpstats import __version__
from sharpstats.cli.main import COMMANDS, main, parser

PLAN = """
title = "Slate or film?"
[factors]
medium = ["slate", "film"]
[layout]
blocks = ["blade"]
[[claim]]
id = "slate-as-film"
says = "Slate does as well as film"
kind = "same"
medium = "slate"
than = "film"
margin = "15 %"
"""


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """Return a small trial that can be judged, its readings smooth and invented."""
    rows = ["edge,medium,blade,cut,reading"]
    for blade in range(1, 5):
        for place, medium in enumerate(("slate", "film")):
            for cut in (1, 2):
                reading = 150 + 10 * blade + 4 * place + 3 * cut + 5 * ((blade * 3 + place) % 4)
                rows.append(f"e{blade}{medium},{medium},b{blade},{cut},{reading}")
    folder = tmp_path / "small"
    folder.mkdir()
    (folder / "trial.toml").write_text(PLAN)
    (folder / "readings.csv").write_text("\n".join(rows) + "\n")
    return folder


def program(*words: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "sharpstats", *words], capture_output=True, env={**os.environ, **environment},
        timeout=120, check=False,
    )  # fmt: skip


# --- help


@pytest.mark.parametrize("words", [["--help"], *([command.NAME, "--help"] for command in COMMANDS)])
def test_help_teaches_and_ends_well(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(words)
    said = capsys.readouterr().out
    assert left.value.code == 0
    assert "exit codes:" in said
    assert "my-t" in said  # my-trial or my-tester
    assert max(map(len, said.splitlines())) <= 110


def test_every_command_that_is_no_help_page_alone_stands_in_the_general_help(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with pytest.raises(SystemExit):
        main(["--help"])
    said = capsys.readouterr().out
    assert all(f"    {command.NAME} " in said and command.SUMMARY in said for command in COMMANDS)


def test_help_for_a_new_trial_names_the_dangers(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["new", "--help"])
    said = " ".join(capsys.readouterr().out.split())
    for words in (
        "Cut-resistant glove on the holding hand", "Clamp the blade", "Edge away from the body",
        "Eye protection at any powered wheel", "Wet abrasive", "crystalline silica",
        "off the skin and out of the lungs", "Count the blades", "local rules", "workplace safety advice",
    ):  # fmt: skip
        assert words in said


def test_every_command_that_reports_can_do_so_as_json() -> None:
    for words in ("check", "freeze", "judge", "publish"):
        assert parser().parse_args([words, "x", "--json"]).json is True


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom sharpstats.cli.main import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "print(sorted(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = {name.split(".")[0] for name in eval(done.stderr)}
    assert "sharpstats" in loaded
    assert not loaded & {"pandas", "numpy", "scipy", "matplotlib", "nbformat", "jupyter_client", "asyncio", "json"}


def test_without_a_command_the_help_is_shown_and_nothing_was_done(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    assert "usage: sharpstats" in capsys.readouterr().out


def test_the_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"sharpstats {__version__}\n"


@pytest.mark.parametrize("words", [["jugde", "x"], ["judge"], ["judge", "x", "--jsn"], ["judge", "x", "--js"]])
def test_a_mistake_in_the_command_is_said_and_ends_with_2(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as left:
        main(words)
    assert left.value.code == 2
    assert "error:" in capsys.readouterr().err


# --- from a new trial to a finding


def test_new_writes_an_example_and_says_what_comes_next(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "my-trial"
    assert main(["new", str(folder)]) == 0
    said = capsys.readouterr()
    assert "Cut-resistant glove" in said.out
    assert " ".join(said.out.split()).endswith(f"then: sharpstats freeze {folder}")
    assert {path.name for path in folder.iterdir()} == {"trial.toml", "readings.csv", "media.csv"}
    assert main(["new", str(folder)]) == 2
    assert "exists already and is not overwritten" in capsys.readouterr().err


def test_an_example_can_be_frozen_and_checked_before_the_first_reading(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = str(tmp_path / "my-trial")
    assert main(["new", folder]) == 0
    assert main(["freeze", folder]) == 0
    assert "fingerprint" in capsys.readouterr().out
    assert main(["check", folder]) == 0
    assert main(["judge", folder]) == 2
    assert f"sharpstats judge {folder}: No edge is left to compare" in capsys.readouterr().err


def test_a_plan_is_frozen_once_and_amended_with_a_reason(
    small: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["freeze", str(small), "--json"]) == 0
    first = json.loads(capsys.readouterr().out)
    assert len(first["plan_sha256"]) == 64
    assert main(["freeze", str(small)]) == 2
    assert f"sharpstats freeze {small}: " in capsys.readouterr().err
    plan = small / "trial.toml"
    plan.write_text(plan.read_text().replace("15 %", "20 %"))
    assert main(["check", str(small)]) == 1, "a plan that differs from the frozen one is a problem"
    assert "different from the frozen plan (1):" in capsys.readouterr().out
    assert main(["freeze", str(small / "trial.toml"), "--amend", "15 % was never asked for"]) == 0
    assert main(["check", str(small)]) == 0


def test_check_lists_every_row_set_aside_and_ends_with_1(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(demo)]) == 1
    said = capsys.readouterr().out
    assert "readings.csv, row 63, reading ('1S2')" in said
    assert f"Next: sharpstats judge {demo}" in " ".join(said.split())


def test_check_as_json_counts_what_it_lists(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(demo), "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["format"] == "sharpstats-check/1"
    assert found["counts"]["set_aside"] == len(found["set_aside"])
    assert found["counts"]["read"] == found["counts"]["used"] + found["counts"]["set_aside"]
    assert {"file", "row", "column", "value", "code", "reason"} <= set(found["set_aside"][0])


def test_check_tells_all_mistakes_of_a_plan(small: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = small / "trial.toml"
    plan.write_text(plan.read_text().replace("15 %", "15").replace('kind = "same"', 'kind = "sames"'))
    assert main(["check", str(small), "--json"]) == 1
    problems = json.loads(capsys.readouterr().out)["problems"]
    assert [(problem["file"], problem["key"]) for problem in problems] == [
        ("trial.toml", "claim 1, kind"),
        ("trial.toml", "claim 1, margin"),
    ]
    assert main(["check", str(small)]) == 1
    assert "The plan has mistakes; the readings were not looked at." in capsys.readouterr().out
    assert main(["judge", str(small)]) == 2
    assert f"sharpstats judge {small}: trial.toml, line " in capsys.readouterr().err


def test_rows_set_aside_by_hand_are_no_problem(small: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = (small / "readings.csv").read_text().splitlines()
    by_hand = [lines[0] + ",set_aside", lines[1] + ",the scale fell over", *(line + "," for line in lines[2:])]
    (small / "readings.csv").write_text("\n".join(by_hand) + "\n")
    assert main(["check", str(small)]) == 0
    assert "the scale fell over" in capsys.readouterr().out


def test_judge_says_the_finding_and_ends_well(small: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["judge", str(small)]) == 0
    assert "Slate does as well as film" in capsys.readouterr().out


def test_large_says_the_same(small: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for command in ("check", "judge"):
        said = []
        for options in ([], ["--large"]):
            assert main([command, str(small), *options]) == 0
            said.append(capsys.readouterr().out)
        held_in_memory, large = said
        assert large.splitlines()[:4] == held_in_memory.splitlines()[:4]
        # What would change the findings is tried in fewer ways, and the check says what it did not look at.
        alike = [text.split("\n\nWhat would change")[0] for text in said]
        assert (alike[0] == alike[1]) is (command == "judge")


@pytest.mark.parametrize("environment", [{"PYTHONIOENCODING": "utf-8"}, {"LC_ALL": "C", "PYTHONUTF8": "0"}])
def test_a_number_keeps_the_space_before_its_unit(small: Path, environment: dict[str, str]) -> None:
    said = program("judge", str(small), COLUMNS="80", **environment).stdout.decode()
    assert re.search(r"your 15 %", said) and re.search(r"8 edges|4 edges", said)
    assert re.search(r"\d(%|gf|edges?|cuts?|claims?)", said) is None
    assert all(not line.lstrip().startswith(("% ", "gf ")) for line in said.splitlines())  # kept together


def readings(folder: Path, blades: int, reading: str, cuts: int = 2) -> Path:
    """Replace the readings of a trial: each blade with both media."""
    rows = [f"e{b}{medium},{medium},b{b},{cut},{reading.format(b=b % 7, cut=cut)}"
            for b in range(blades) for medium in ("slate", "film") for cut in range(1, cuts + 1)]  # fmt: skip
    (folder / "readings.csv").write_text("\n".join(["edge,medium,blade,cut,reading", *rows]) + "\n")
    return folder


@pytest.mark.parametrize(("blades", "reading", "says"), [
    (4, "150", "All 16 cuts read 150 gf, so there is no spread to judge a difference by. Does the tester"),
    (4, "15{b}", "All cuts on each edge read the same, so the error of a single cut cannot be seen. If one number was"),
    (10_000, "15{b}.{cut}", "The blocks have 10,000 levels in all (blade 10,000); more than 3,000 cannot"),
    (4, ">500", "over range"),
])  # fmt: skip
def test_readings_that_cannot_be_judged_are_said_with_the_reason(
    small: Path, blades: int, reading: str, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["judge", str(readings(small, blades, reading))]) == 2
    told = capsys.readouterr()
    assert says in " ".join(told.err.split())
    assert "Traceback" not in told.err and told.out == ""


def test_one_operator_is_no_sample_of_operators(small: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (small / "trial.toml").write_text(PLAN.replace('blocks = ["blade"]', 'blocks = ["blade", "operator"]'))
    rows = (small / "readings.csv").read_text().splitlines()
    (small / "readings.csv").write_text("\n".join([f"{rows[0]},operator", *(f"{row},anna" for row in rows[1:])]))
    assert main(["judge", str(small)]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "It holds for the one operator of this trial: nothing is known about other ones." in told
    assert main(["check", str(small)]) == 0


def test_judge_as_json_is_what_a_report_holds(small: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["judge", str(small), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["format"] == "sharpstats-results/1"
    (finding,) = found["findings"]
    assert finding["claim"] == "slate-as-film"
    assert finding["finding"] in {"shown", "contradicted", "open"}
    assert finding["low"] < finding["estimate"] < finding["high"]
    assert finding["unit"] == "%"


def test_publish_writes_the_report_and_says_where(small: Path, tmp_path: Path) -> None:
    out = tmp_path / "for the club" / "slate"
    done = program("publish", str(small), "--out", str(out), "--json")
    assert done.returncode == 0, done.stderr.decode()
    said = json.loads(done.stdout)
    assert said["report"] == str(out)
    assert said["results"]["findings"][0]["claim"] == "slate-as-film"
    assert (out / "index.html").exists()
    assert not (small / "report").exists()
    assert all(line.startswith("sharpstats: ") for line in done.stderr.decode().splitlines())


# --- when it cannot be done


@pytest.mark.parametrize("command", ["check", "freeze", "judge", "publish"])
def test_a_folder_that_is_not_there_is_said_without_a_traceback(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([command, str(tmp_path / "nowhere")]) == 2
    said = capsys.readouterr()
    assert said.err.startswith(f"sharpstats {command} {tmp_path / 'nowhere'}: ")
    assert "sharpstats new" in said.err
    assert "Traceback" not in said.err
    assert said.out == ""


def test_a_fault_of_ours_is_owned_and_can_be_shown(
    small: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(path: object) -> None:
        raise ZeroDivisionError("by nought")

    monkeypatch.setattr("sharpstats.trial.trial.open_trial", fail)
    assert main(["judge", str(small)]) == 2
    said = capsys.readouterr().err
    assert said.startswith(
        f"sharpstats judge {small}: a fault of sharpstats, not yours: ZeroDivisionError: by nought\n"
    )
    assert "Traceback" not in said
    assert main(["judge", str(small), "--traceback"]) == 2
    assert "Traceback (most recent call last)" in capsys.readouterr().err


def test_ctrl_c_ends_with_a_line_and_130(
    small: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(path: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("sharpstats.trial.trial.open_trial", stop)
    assert main(["judge", str(small)]) == 130
    assert capsys.readouterr().err == "\nsharpstats: stopped; nothing was left half done.\n"


def test_a_reader_of_a_pipe_may_leave_early(small: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "sharpstats", "judge", str(small), "--json"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    assert process.stdout is not None
    process.stdout.close()
    assert process.stderr is not None
    assert b"Traceback" not in process.stderr.read()
    process.stderr.close()
    assert process.wait(60) == 141


@pytest.mark.parametrize("locale", ["C", "POSIX"])
def test_a_plain_locale_gets_utf8(small: Path, locale: str) -> None:
    plan = small / "trial.toml"
    plan.write_text(plan.read_text().replace("as well as film", "as well as film · 砥石"), encoding="utf-8")
    settings = {"LC_ALL": locale, "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"}
    done = program("judge", str(small), **settings)
    assert done.returncode == 0
    assert "Slate does as well as film · 砥石" in done.stdout.decode("utf-8")


def test_text_is_wrapped_to_the_terminal(small: Path) -> None:
    done = program("check", str(small / "nowhere"), COLUMNS="50")
    assert done.returncode == 2
    done = program("judge", str(small), COLUMNS="50")
    assert done.returncode == 0
    assert max(map(len, done.stdout.decode().splitlines())) <= 50


def test_waiting_is_told_on_the_error_stream_after_a_second(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from sharpstats.cli import waiting

    monkeypatch.setattr(waiting, "PATIENCE", 0.01)
    with waiting.waiting("reading my-trial"):
        time.sleep(0.2)
    with waiting.waiting("soon done"):
        pass
    assert capsys.readouterr().err == "sharpstats: reading my-trial ...\n"


# --- a study of the tester


def test_a_new_tester_study_waits_for_its_readings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "ours"
    assert main(["new", "--tester", "--kind", "nested", str(folder)]) == 0
    assert "glove" in capsys.readouterr().out
    assert 'kind = "nested"' in (folder / "tester.toml").read_text(encoding="utf-8")
    assert main(["check", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "not yet cut (111)" in said
    assert f"Next: fill in the readings, then check again: sharpstats check {folder}" in said.replace("\n", " ")


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """Return a small study of a tester, its readings smooth and invented."""
    rows = ["run,edge,operator,cut,reading"]
    for run in range(48):
        edge, operator, cut = run % 6, "AB"[run // 6 % 2], run // 12 + 1
        rows.append(f"{run + 1},e{edge},{operator},{cut},{140 + 15 * edge + run * 7 % 13}")
    folder = tmp_path / "tester"
    folder.mkdir()
    (folder / "tester.toml").write_text('title = "Ours"\nwanted = "10 %"\n')
    (folder / "readings.csv").write_text("\n".join(rows) + "\n")
    return folder


def test_a_study_is_checked_and_examined(study: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(study)]) == 0
    said = capsys.readouterr().out
    assert "48 on 6 edges, operators: 2" in said
    assert f"Next: sharpstats tester {study}" in said
    assert main(["tester", str(study)]) == 0
    said = capsys.readouterr().out
    assert "How far do two cuts differ by chance?" in said
    assert "How small a difference can it show?" in said


def test_a_study_with_mistakes_cannot_be_examined(study: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (study / "tester.toml").write_text('title = "Ours"\nwanted = 10\n')
    assert main(["tester", str(study)]) == 2
    assert 'tester.toml, line 2, wanted: 10 has no unit. Write "10 %".' in capsys.readouterr().err
    assert main(["check", str(study)]) == 1
    assert main(["tester", str(study / "nowhere")]) == 2


def test_check_warns_of_margins_below_what_the_tester_can_show(
    small: Path, study: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    narrow = PLAN.replace("15 %", "0.5 %").replace("[factors]", 'tester_study = "../tester"\n[factors]')
    (small / "trial.toml").write_text(narrow)
    assert main(["check", str(small)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "smaller than what the tester can show between two edges (1):" in said
    assert "slate-as-film: your margin of 0.5 % is smaller than the" in said
    assert main(["check", str(small), "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["small_margins"]) == 1
    (study / "tester.toml").unlink()
    assert main(["check", str(small)]) == 1
    assert "the tester study cannot be used (1):" in capsys.readouterr().out


def test_freeze_warns_of_small_margins_while_they_can_be_amended(
    small: Path, study: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    narrow = PLAN.replace("15 %", "0.5 %").replace("[factors]", 'tester_study = "../tester"\n[factors]')
    (small / "trial.toml").write_text(narrow.replace("[layout]", "[layout]\ncuts = 2"))
    assert main(["freeze", str(small)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "slate-as-film: your margin of 0.5 % is smaller than the" in said
    assert "--amend" in said
    (study / "tester.toml").unlink()
    (small / "trial.toml").write_text(narrow)
    assert main(["freeze", str(small), "--amend", "no study"]) == 0
    assert "The tester study cannot be used" in capsys.readouterr().out


def test_judge_holds_margins_against_the_tester_study_and_goes_on_without_it(
    small: Path, study: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (small / "trial.toml").write_text(PLAN.replace("[factors]", 'tester_study = "../tester"\n[factors]'))
    assert main(["judge", str(small)]) == 0
    assert "Can the tester see such differences?" in capsys.readouterr().out
    (study / "tester.toml").unlink()
    assert main(["judge", str(small)]) == 0
    assert "holds no tester.toml" in " ".join(capsys.readouterr().out.split())
