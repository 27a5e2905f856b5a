"""How long `sharpstats --help` takes, against starting Python and doing nothing: at most 3 times is meant.

The ratio is printed; what must not be loaded for it is asserted in tests/cli.
"""

from __future__ import annotations

import subprocess
import sys

from .timing import best

PROGRAM = "import sys; from sharpstats.cli.main import main; sys.exit(main())"
"""What the installed `sharpstats` script holds."""


def run(*command: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run([sys.executable, *command], check=True, capture_output=True)


def test_help_against_a_bare_start() -> None:
    assert b"sharpstats new my-trial" in run("-c", PROGRAM, "--help").stdout
    told = best(lambda: run("-c", PROGRAM, "--help"), repeats=15)
    nothing = best(lambda: run("-c", "pass"), repeats=15)
    pandas = best(lambda: run("-c", "import pandas"), repeats=2)
    print(
        f"\nsharpstats --help {1e3 * told:.0f} ms, python -c pass {1e3 * nothing:.0f} ms: {told / nothing:.2f} times "
        f"as long (import pandas alone: {pandas / nothing:.0f} times)"
    )
