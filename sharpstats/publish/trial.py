"""How a trial is published: its cells, which are the same for every trial, and its files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sharpstats.publish.publication import Part, Publication
from sharpstats.tester.toml import PUBLISHED_STUDY
from sharpstats.trial.freeze import FROZEN_FILE
from sharpstats.trial.plan import Plan
from sharpstats.trial.toml import PLAN_FILE, read_plan

if TYPE_CHECKING:
    from sharpstats.trial.trial import Trial

NOTEBOOK = "trial.ipynb"

RERUN = """\
`trial.ipynb`, beside the page `index.html`, does all of this again on the files in its folder: install
`sharpstats`, open the notebook in that folder, and run all cells. The last one compares what comes out
with what was published."""

OPENING = """\
import sharpstats as ss
from sharpstats import figures, words
from sharpstats.publish.manifest import keep
from sharpstats.publish.pictures import keep_claims, kept
from sharpstats.publish.provenance import Provenance, provenance

trial = ss.open_trial(".")
fit = trial.fit()
findings = trial.judge()"""

CLAIMS = """\
keep_claims(findings)  # one wide picture for each claim, in figures/
kept(figures.claims_picture(findings))"""

PARTS = (
    Part(name="findings", heading="Findings", code="findings"),
    Part(name="claims", heading="Each claim against its margin", code=CLAIMS),
    Part(name="firmness", heading="What would change the findings", code="findings.fragility"),
    Part(name="fragility", code="kept(figures.fragility_picture(findings.fragility))"),
    Part(name="edges", heading="Every edge", code="kept(figures.edges_picture(fit))"),
    Part(name="fit", heading="Means and differences", code="fit"),
    Part(name="spread", heading="Where the spread comes from", code="kept(figures.spread_picture(fit))"),
    Part(name="residuals", heading="Does the model fit?", code="kept(figures.residuals_picture(fit))"),
    Part(name="drift", code="kept(figures.drift_picture(fit))"),
    Part(name="trial", heading="What was read", code="trial"),
    Part(name="methods", heading="Methods", code="words.methods_text(findings)"),
    Part(name="cautions", heading="If you try it yourself", code="words.safety()"),
    Part(name="provenance", heading="Provenance", code="Provenance(provenance(trial))"),
    Part(name="check", heading="Run it again", said=RERUN, code="keep(findings)"),
)
"""Findings first."""


def _open(folder: str) -> Trial:
    from sharpstats.trial.trial import open_trial

    return open_trial(folder)


def _write(trial: Trial, folder: Path) -> None:
    from sharpstats.tester.linked import linked_study
    from sharpstats.tester.package import write_study
    from sharpstats.trial.package import write_package

    write_package(trial, folder)
    study = linked_study(trial.folder, trial.plan)
    if study is not None:  # the report must hold all that its notebook reads
        (folder / PUBLISHED_STUDY).mkdir()
        write_study(study, folder / PUBLISHED_STUDY)


TRIAL = Publication(
    noun="trial",
    plan=Plan,
    plan_file=PLAN_FILE,
    notebook=NOTEBOOK,
    mark="sharpstats-results/",
    tables=(("readings.csv", "the readings"),),
    beside=("media.csv", FROZEN_FILE, PUBLISHED_STUDY),
    opening=OPENING,
    parts=PARTS,
    read_plan=read_plan,
    open_folder=_open,
    write_data=_write,
)
