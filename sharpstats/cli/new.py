"""`sharpstats new DIR`: an example trial to edit."""

from __future__ import annotations

import argparse

from sharpstats.cli.shared import DONE, add_folder, show

NAME = "new"
SUMMARY = "write an example plan and run sheet to edit"
ABOUT = """\
Write a filled-in example trial into a folder: trial.toml (the plan with its claims), readings.csv
(the run sheet: one row for each cut, in random order, readings still empty) and media.csv (what the
steel is abraded on). Nothing that exists is overwritten."""

CAUTIONS = """\
before you sharpen, dull or test an edge:
  - Cut-resistant glove on the holding hand. Clamp the blade. Edge away from the body.
  - Eye protection at any powered wheel.
  - Wet abrasive. No dry dust from stone, brick, slate or tile: it holds crystalline silica.
  - Polishing compounds stay off the skin and out of the lungs.
  - Count the blades before you clear the bench.
  - The makers' instructions, local rules and workplace safety advice come first."""

MORE = f"""\
example:
  sharpstats new my-trial
  then open my-trial/trial.toml in a text editor: name your media, blades and claims.

{CAUTIONS}

exit codes:
  0  written
  2  could not: a file of that name exists, or the folder cannot be written to

next:
  sharpstats freeze my-trial      once the plan says what you want, before the first reading"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_folder(parser, "the folder to write to; made if it does not exist")


def run(options: argparse.Namespace) -> int:
    """Write the example and say what to do next."""
    from sharpstats.trial.example import write_example

    for file in write_example(options.folder):
        show(f"wrote {file}")
    show(f"\n{CAUTIONS}\n")
    show(f"Next: edit {options.folder}/trial.toml, then: sharpstats freeze {options.folder}")
    return DONE
