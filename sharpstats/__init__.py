"""Find out whether what you say about sharpening is true.

A sharpener says: "roofing slate reaches the same edge as a fine diamond plate". With an
edge tester that reads the force at which a filament parts, such a sentence can be put to
the test. sharpstats helps with the whole way: the plan, written before the first reading;
the check of the readings; the arithmetic; and a report that anybody can rerun.

A trial is a folder. `trial.toml` is the plan: what is compared, on which blades, and what is
claimed, each claim with a number in it. `readings.csv` has one row for each cut. Every claim
ends as *shown*, *contradicted* or *open*; open does not mean "no difference", it means that
these readings cannot tell.

To begin on the command line::

    sharpstats new my-trial         # a filled-in example to edit
    sharpstats check my-trial       # are plan and readings in order?
    sharpstats judge my-trial       # what is shown, contradicted, open?
    sharpstats publish my-trial     # notebook, web page, figures, data

The same in a notebook::

    import sharpstats as ss

    trial = ss.open_trial("my-trial")
    trial                           # what was read, used and set aside
    trial.fit()                     # means, differences, where the spread comes from
    trial.judge()                   # the findings
    trial.publish()                 # writes my-trial/report

One edge is one sharpening of one blade. It is the edge that counts: twenty cuts on one edge
tell much about that edge and little about the medium. `ss.fit_mixed` is the door to the same
arithmetic for a table of your own.

Names are loaded when they are first used, so that `import sharpstats` costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module

TYPE_CHECKING = False  # not from typing, whose import is a tenth of the time that --help takes
if TYPE_CHECKING:
    from typing import Any

__version__ = "0.1.0"

# `publish` is a method of a trial and no name here: the package of that name would hide it.
_HOMES = {
    # a trial
    "open_trial": "sharpstats.trial.trial",
    "open_large": "sharpstats.model.largetrial",
    "Trial": "sharpstats.trial.trial",
    "read_plan": "sharpstats.trial.toml",
    "Plan": "sharpstats.trial.plan",
    "freeze_plan": "sharpstats.trial.freeze",
    # a study of the tester
    "open_tester": "sharpstats.tester.study",
    "TesterStudy": "sharpstats.tester.study",
    # the arithmetic
    "fit_mixed": "sharpstats.model.mixed",
    "anova": "sharpstats.model.anova",
    "MixedFit": "sharpstats.model.mixed",
    "TrialFit": "sharpstats.model.trialfit",
    # the findings
    "Finding": "sharpstats.claims.finding",
    "Findings": "sharpstats.claims.finding",
    # small parts of every answer
    "Interval": "sharpstats.interval",
    "Note": "sharpstats.notes",
    "Quantity": "sharpstats.units",
    # what can go wrong
    "SharpstatsError": "sharpstats.errors",
    "PlanError": "sharpstats.errors",
    "TrialError": "sharpstats.errors",
    "FitError": "sharpstats.errors",
    "ClaimError": "sharpstats.errors",
    "PublishError": "sharpstats.errors",
    # for a report of trouble
    "show_versions": "sharpstats.versions",
}

__all__ = ["__version__", *sorted(_HOMES)]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
