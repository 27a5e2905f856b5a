"""`sharpstats publish DIR`: the report for others."""

from __future__ import annotations

import argparse
import sys

from sharpstats.cli.shared import DONE, add_folder, add_json, show, show_json

NAME = "publish"
SUMMARY = "write the report: web page, notebook, figures, data"
ABOUT = """\
Judge a trial, or examine a tester study, and write the folder DIR/report: index.html (one page that
opens without a network), trial.ipynb or tester.ipynb (the notebook behind it, which anybody can run
again), figures/ (PNG and SVG; of a trial also one wide picture for each claim), results.json, and the
plan and the tables with datapackage.json. Operators, and the shops of a round robin, appear under
pseudonyms unless the plan says otherwise.

The report takes the place of an older one only when it is whole. Files of your own in the report
folder stay; a folder that is not a report is never touched."""
MORE = """\
example:
  sharpstats publish my-trial
  sharpstats publish my-tester
  sharpstats publish my-trial --out for-the-club/slate

exit codes:
  0  published
  2  could not: a mistake in the plan or the files, readings that cannot answer, or a folder that
     cannot be written to. What stood in the report folder is unchanged.

next:
  open my-trial/report/index.html, and pass the whole folder on."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_folder(parser, "the folder of a trial or tester study, or its trial.toml or tester.toml")
    parser.add_argument("--out", metavar="FOLDER", help="where the report shall stand instead of DIR/report")
    add_json(parser, "print where the report is and what its results.json holds")


def run(options: argparse.Namespace) -> int:
    """Publish the trial or study and say where the report is."""
    _spare_a_grammar()
    from sharpstats.publish.publication import PAGE, RESULTS
    from sharpstats.publish.publish import publish

    report = publish(options.folder, out=options.out)
    if options.json:
        import json

        results = json.loads((report / RESULTS).read_text(encoding="utf-8"))
        show_json({"report": str(report), "results": results})
    else:
        show(f"wrote {report / PAGE}")
    return DONE


def _spare_a_grammar() -> None:
    """Save a second of work: in a process of our own, nobody asks for addresses in other scripts.

    nbformat loads jsonschema, which compiles a grammar for such addresses wherever JupyterLab has
    brought the package along; without it, it goes on without a word.
    """
    sys.modules.setdefault("rfc3987_syntax", None)  # type: ignore[arg-type]
