"""`sharpstats judge DIR`: the findings, on the terminal."""

from __future__ import annotations

import argparse

from sharpstats.cli.shared import DONE, add_folder, add_json, add_large, opened, show, show_json, width

NAME = "judge"
SUMMARY = "say which claims are shown, contradicted or open"
ABOUT = """\
Read the plan and the readings, fit the model that the layout asks for, and judge every claim. A claim
is shown, contradicted or open. Open means that these readings cannot tell, and comes with how many
more edges would likely settle it. At the end stands what would change a finding: an edge, a blade or an
operator left out, rows put back that were set aside, or the other scale."""
MORE = """\
example:
  sharpstats judge my-trial
  sharpstats judge my-trial --json > findings.json

exit codes:
  0  judged; a contradicted or open claim is a result like any other
  2  could not: a mistake in the plan or the files, or readings that cannot answer

next:
  sharpstats publish my-trial     the same findings as a page and a notebook for others"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_folder(parser)
    add_json(parser, "print what results.json of a report holds")
    add_large(parser)


def run(options: argparse.Namespace) -> int:
    """Judge the trial and show its findings."""
    from sharpstats.cli.waiting import waiting

    with waiting(f"judging {options.folder}"):
        findings = opened(options).judge()
        if options.json:
            from sharpstats.publish.trialresults import trial_results

            content = trial_results(findings)
        else:
            from sharpstats.words.display import as_text

            text = as_text(findings, width())
    if options.json:
        show_json(content)
        return DONE
    show(text)
    with waiting("looking for what would change the findings"):
        text = as_text(findings.fragility, width())
    show(f"\n{text}")
    return DONE
