"""How a tester study is published: its cells, which are the same for every study, and its files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sharpstats.publish.publication import Part, Publication
from sharpstats.tester.plan import TesterPlan
from sharpstats.tester.toml import TESTER_FILE, read_tester_plan

if TYPE_CHECKING:
    from sharpstats.tester.study import TesterStudy

NOTEBOOK = "tester.ipynb"

RERUN = """\
`tester.ipynb`, beside the page `index.html`, does all of this again on the files in its folder: install
`sharpstats`, open the notebook in that folder, and run all cells. The last one compares what comes out
with what was published."""

OPENING = """\
import sharpstats as ss
from sharpstats.figures.tester.album import pictures
from sharpstats.publish.manifest import keep
from sharpstats.publish.pictures import kept
from sharpstats.publish.provenance import Provenance, provenance
from sharpstats.words.tester.answer import answer
from sharpstats.words.tester.cautions import testing_safety
from sharpstats.words.tester.examination import worth
from sharpstats.words.tester.methods import study_methods

study = ss.open_tester(".")
examination = study.examine()"""


def _question(name: str, heading: str = "") -> tuple[Part, Part]:
    """Tell one part of the examination, then show its pictures."""
    draw = f'for picture in pictures(examination, "{name}"):\n    display(kept(picture))'
    return (
        Part(name=name, heading=heading, code=f'answer(examination, "{name}")'),
        Part(name=f"{name}-pictures", code=draw),
    )


PARTS = (
    Part(name="worth", heading="In short", code="worth(examination)"),
    *_question("spreads", "Two cuts on one edge"),
    *_question("smallest", "How small a difference can it show?"),
    Part(name="needed", code='answer(examination, "needed")'),
    *_question("wear", "Does testing wear the edge?"),
    *_question("drift", "Does it drift?"),
    *_question("calibration", "What does it read under known masses?"),
    *_question("mass_drift"),
    *_question("rounding", "How finely does it read?"),
    *_question("agreements", "Do two of them agree?"),
    *_question("budget", "What goes into its uncertainty?"),
    *_question("round_robin", "Between shops"),
    Part(name="study", heading="What was read", code="study"),
    Part(name="methods", heading="Methods", code="study_methods(examination)"),
    Part(name="cautions", heading="If you try it yourself", code="testing_safety()"),
    Part(name="provenance", heading="Provenance", code="Provenance(provenance(study))"),
    Part(name="check", heading="Run it again", said=RERUN, code="keep(examination)"),
)
"""What the tester is worth first."""


def _open(folder: str) -> TesterStudy:
    from sharpstats.tester.study import open_tester

    return open_tester(folder)


def _write(study: TesterStudy, folder: Path) -> None:
    from sharpstats.tester.package import write_study

    write_study(study, folder)


TESTER = Publication(
    noun="tester study",
    plan=TesterPlan,
    plan_file=TESTER_FILE,
    notebook=NOTEBOOK,
    mark="sharpstats-tester/",
    tables=(
        ("readings.csv", "the cuts on edges"),
        ("masses.csv", "the readings under known loads"),
        ("shops.csv", "the cuts in several shops"),
    ),
    opening=OPENING,
    parts=PARTS,
    read_plan=read_tester_plan,
    open_folder=_open,
    write_data=_write,
)
