"""The kernel: this interpreter and this package, quiet, and honest about what went wrong."""

from __future__ import annotations

import asyncio
import json
import os
import sys
from pathlib import Path

import pytest

import sharpstats.errors
from sharpstats.errors import FitError, PublishError, SharpstatsError
from sharpstats.publish.kernel import Kernel, relayed, run_to_end, running

CODE = """
import json, os, sys, sharpstats.errors as errors
json.dump([sys.executable, errors.__file__, os.getcwd(), os.environ["IPYTHONDIR"]], open("seen.json", "w"))
"""


async def _run(folder: Path, *codes: str) -> None:
    async with running(folder) as kernel:
        for code in codes:
            await kernel.finish(kernel.begin(code))


def run(folder: Path, *codes: str) -> None:
    run_to_end(_run(folder, *codes))


def test_it_runs_this_interpreter_and_this_package_in_the_folder_and_is_quiet(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    run(tmp_path, CODE)
    executable, package, folder, settings = json.loads((tmp_path / "seen.json").read_text())
    assert executable == sys.executable
    assert package == sharpstats.errors.__file__
    assert Path(folder).samefile(tmp_path)
    assert settings != os.environ.get("IPYTHONDIR")
    assert not Path(settings).exists(), "its private folder is gone"
    assert capfd.readouterr() == ("", "")


def test_an_error_of_this_package_comes_back_as_itself_and_the_kernel_goes_on(tmp_path: Path) -> None:
    async def work() -> None:
        async with running(tmp_path) as kernel:
            with pytest.raises(FitError, match=r"^One edge is too few\.$"):
                await kernel.finish(
                    kernel.begin("from sharpstats.errors import *; raise FitError('One edge is too few.')")
                )
            with pytest.raises(PublishError, match="stopped with ZeroDivisionError: division by zero") as caught:
                await kernel.finish(kernel.begin("1 / 0"))
            assert "1 / 0" in caught.value.__notes__[0]
            assert "\x1b" not in caught.value.__notes__[0]
            await kernel.finish(kernel.begin("open('still here', 'w').close()"))

    run_to_end(work())
    assert (tmp_path / "still here").exists()


def test_a_kernel_that_dies_is_told_as_such(tmp_path: Path) -> None:
    with pytest.raises(PublishError, match=r"The kernel that ran the notebook ended by itself"):
        run(tmp_path, "import os; os._exit(1)")


@pytest.mark.parametrize("name", ["SharpstatsError", "PlanError", "TrialError", "FitError", "ClaimError"])
def test_each_family_of_errors_is_relayed(name: str) -> None:
    error = relayed(name, "What and where.", [])
    assert type(error) is getattr(sharpstats.errors, name)
    assert str(error) == "What and where."


@pytest.mark.parametrize("name", ["Problem", "Iterable", "UserWarning", "KeyError"])
def test_what_is_no_error_of_ours_is_a_fault_of_ours(name: str) -> None:
    error = relayed(name, "'x'", ["Traceback"])
    assert isinstance(error, PublishError)
    assert "This is a fault of sharpstats, not yours." in str(error)


def test_work_can_be_run_from_within_a_loop_as_in_a_notebook() -> None:
    done: list[str] = []

    async def work() -> None:
        done.append("work")

    async def cell() -> None:
        run_to_end(work())

    asyncio.run(cell())
    assert done == ["work"]


def test_an_error_within_a_loop_comes_through() -> None:
    async def work() -> None:
        raise SharpstatsError("No.")

    async def cell() -> None:
        with pytest.raises(SharpstatsError, match=r"^No\.$"):
            run_to_end(work())

    asyncio.run(cell())


def test_the_kernel_ends_with_its_block(tmp_path: Path) -> None:
    async def work() -> Kernel:
        async with running(tmp_path) as kernel:
            return kernel

    async def whole() -> None:
        kernel = await work()
        assert not await kernel.manager.is_alive()

    run_to_end(whole())
