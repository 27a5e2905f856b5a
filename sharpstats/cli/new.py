"""`sharpstats new DIR`: an example trial, or an example study of the tester, to edit."""

from __future__ import annotations

import argparse

from sharpstats.cli.shared import DONE, add_folder, show

NAME = "new"
SUMMARY = "write an example plan and run sheet to edit"
ABOUT = """\
Write a filled-in example trial into a folder: trial.toml (the plan with its claims), readings.csv
(the run sheet: one row for each cut, in random order, readings still empty) and media.csv (what the
steel is abraded on). With --tester, write a study of the tester itself: tester.toml, a run sheet and
masses.csv for known masses. Nothing that exists is overwritten."""

CAUTIONS = """\
before you sharpen, dull or test an edge:
  - Cut-resistant glove on the holding hand. Clamp the blade. Edge away from the body.
  - Eye protection at any powered wheel.
  - Wet abrasive. No dry dust from stone, brick, slate or tile: it holds crystalline silica.
  - Polishing compounds stay off the skin and out of the lungs.
  - Count the blades before you clear the bench.
  - The makers' instructions, local rules and workplace safety advice come first."""

KINDS = {"crossed": "crossed", "nested": "nested", "one-operator": "one operator", "like-edges": "like edges"}
"""How a tester study may be laid out: on the command line, and in its plan."""

MORE = f"""\
examples:
  sharpstats new my-trial
  then open my-trial/trial.toml in a text editor: name your media, blades and claims.
  sharpstats new --tester my-tester
  sharpstats new --tester --kind one-operator my-tester

kinds of tester study:
  crossed        everybody cuts every edge (three people, eight edges, four cuts each)
  nested         each edge is cut by one person only, since cuts wear it
  one-operator   one person alone: says nothing about other hands
  like-edges     edges made so alike that their differences are ignored

{CAUTIONS}

exit codes:
  0  written
  2  could not: a file of that name exists, or the folder cannot be written to

next:
  sharpstats freeze my-trial      once the plan says what you want, before the first reading
  sharpstats tester my-tester     once the tester study has its readings"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_folder(parser, "the folder to write to; made if it does not exist")
    parser.add_argument("--tester", action="store_true", help="write a study of the tester instead of a trial")
    laid_out = "how the tester study is laid out (default: crossed)"
    parser.add_argument("--kind", choices=tuple(KINDS), default="crossed", help=laid_out)


def run(options: argparse.Namespace) -> int:
    """Write the example and say what to do next."""
    if options.tester:
        return _tester(options)
    from sharpstats.trial.example import write_example

    _tell(write_example(options.folder))
    show(f"Next: edit {options.folder}/trial.toml, then: sharpstats freeze {options.folder}")
    return DONE


def _tester(options: argparse.Namespace) -> int:
    from sharpstats.tester.example import write_tester_example

    _tell(write_tester_example(options.folder, KINDS[options.kind]))
    show(f"Next: edit {options.folder}/tester.toml, fill in the sheets, then: sharpstats tester {options.folder}")
    return DONE


def _tell(files: tuple[object, ...]) -> None:
    for file in files:
        show(f"wrote {file}")
    show(f"\n{CAUTIONS}\n")
