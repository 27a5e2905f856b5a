"""What all tests share."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

import sharpstats as ss

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext

    from sharpstats.claims.finding import Findings

sys.path.insert(0, str(Path(__file__).parent))  # for hostile.py and reference/, whatever the import mode
os.environ["MPLBACKEND"] = "Agg"  # also for kernels that a test starts

IN_CI = os.environ.get("CI", "").lower() in {"1", "true"}

settings.register_profile("ci", derandomize=True, deadline=None, print_blob=True)
settings.register_profile("bench", deadline=None)
settings.load_profile("ci" if IN_CI else "bench")

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
# A browser under test needs no network, no sandbox in a container, and no updates.
BROWSER_FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(autouse=True)
def _close_figures() -> Iterator[None]:
    """Leave no figure open behind a test."""
    yield
    if "matplotlib.pyplot" in sys.modules:
        sys.modules["matplotlib.pyplot"].close("all")


@pytest.fixture(scope="session")
def demo() -> Path:
    """Folder of the demo trial; a test that writes takes a copy."""
    return Path(__file__).parents[1] / "datasets" / "tool-library"


@pytest.fixture(scope="session")
def published(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Report of the demo trial, published once; a test that writes takes a copy."""
    from demos import copy_of

    from sharpstats.publish.publish import publish

    return publish(copy_of(demo, tmp_path_factory.mktemp("published")))


@pytest.fixture(scope="session")
def published_hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Report of a trial whose every label tries to be something else than a label."""
    from hostile import write_hostile_trial

    from sharpstats.publish.publish import publish

    return publish(write_hostile_trial(tmp_path_factory.mktemp("hostile")))


@pytest.fixture(scope="session")
def published_study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Report of a tester study that names people and shops; a test that writes takes a copy."""
    from studyfolder import write_named_study

    from sharpstats.publish.publish import publish

    return publish(write_named_study(tmp_path_factory.mktemp("study")))


@pytest.fixture(scope="session")
def published_hostile_study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Report of a tester study whose every label tries to be something else than a label."""
    from studyfolder import write_hostile_study

    from sharpstats.publish.publish import publish

    return publish(write_hostile_study(tmp_path_factory.mktemp("hostile study")))


@pytest.fixture(scope="session")
def judged(demo: Path) -> Findings:
    """The findings of the demo."""
    found: Findings = ss.open_trial(demo).judge()
    return found


@pytest.fixture(scope="session")
def limited(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Findings:
    """The findings of the demo, had the tester's range ended at 185 gf."""
    import pandas as pd
    from demos import copy_of

    folder = copy_of(demo, tmp_path_factory.mktemp("limited"))
    table = pd.read_csv(folder / "readings.csv", dtype=str, keep_default_na=False)
    beyond = pd.to_numeric(table["reading"], errors="coerce") > 185
    table.loc[beyond, "reading"] = ">185"
    table.to_csv(folder / "readings.csv", index=False)
    found: Findings = ss.open_trial(folder).judge()
    return found


@pytest.fixture
def chromium() -> Iterator[BrowserContext]:
    """Start a fresh headless Chromium: `chromium.new_page()` opens a page in it."""
    path = next(filter(None, map(shutil.which, BROWSERS)), None)
    if path is None:
        reason = f"no browser found: none of {', '.join(BROWSERS)} is on the path"
        if IN_CI:
            pytest.fail(f"{reason}, and CI must look at the pages")
        pytest.skip(reason)
    from playwright.sync_api import sync_playwright

    with TemporaryDirectory() as profile, sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            profile, executable_path=path, headless=True, args=list(BROWSER_FLAGS)
        )
        yield context
        context.close()
