"""The notebook of a report: its cells, and how they are run.

The cells are the same for every trial but for its title and question, so that a reader who has
seen one report knows the next. They are short: what they call is the package itself.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from sharpstats.publish.html import as_markdown
from sharpstats.publish.kernel import Kernel, died, relayed

if TYPE_CHECKING:
    from nbformat import NotebookNode

    from sharpstats.trial.plan import Plan

LANGUAGE = {"name": "python", "file_extension": ".py", "mimetype": "text/x-python", "pygments_lexer": "ipython3"}
KERNEL = {"name": "python3", "display_name": "Python 3", "language": "python"}

RERUN = """\
`trial.ipynb`, beside the page `index.html`, does all of this again on the files in its folder: install
`sharpstats`, open the notebook in that folder, and run all cells. The last one compares what comes out
with what was published."""

OPEN = """\
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

SECTIONS: tuple[tuple[str, str, str], ...] = (
    ("findings", "Findings", "findings"),
    ("claims", "Each claim against its margin", CLAIMS),
    ("firmness", "What would change the findings", "findings.fragility"),
    ("fragility", "", "kept(figures.fragility_picture(findings.fragility))"),
    ("edges", "Every edge", "kept(figures.edges_picture(fit))"),
    ("fit", "Means and differences", "fit"),
    ("spread", "Where the spread comes from", "kept(figures.spread_picture(fit))"),
    ("residuals", "Does the model fit?", "kept(figures.residuals_picture(fit))"),
    ("drift", "", "kept(figures.drift_picture(fit))"),
    ("trial", "What was read", "trial"),
    ("methods", "Methods", "words.methods_text(findings)"),
    ("cautions", "If you try it yourself", "words.safety()"),
    ("provenance", "Provenance", "Provenance(provenance(trial))"),
    ("check", "Run it again", "keep(findings)"),
)
"""Name, heading and code of each part, findings first; one without a heading belongs to the one before."""

TEXTS = {"check": RERUN}
"""What is said under a heading before the code."""


def cells(plan: Plan) -> Iterator[tuple[str, str, str]]:
    """Yield the name, kind and source of each cell, in order.

    Examples
    --------
    >>> from sharpstats.trial.plan import Plan
    >>> [name for name, kind, source in cells(Plan(title="Slate", factors={}))][:4]
    ['title', 'findings-heading', 'open', 'findings']
    """
    yield "title", "markdown", _title(plan)
    for name, heading, code in SECTIONS:
        if heading:
            said = f"\n\n{TEXTS[name]}" if name in TEXTS else ""
            yield f"{name}-heading", "markdown", f"## {heading}{said}"
        if name == "findings":
            yield "open", "code", OPEN
        yield name, "code", code


def _title(plan: Plan) -> str:
    """Head the notebook with the trial's own words, as letters and not as markup."""
    lines = [f"# {as_markdown(plan.title)}", as_markdown(plan.question)]
    if plan.publishing.invented:
        lines.append("**The readings of this trial are invented.** Nothing here was measured.")
    return "\n\n".join(line for line in lines if line)


def build(plan: Plan) -> NotebookNode:
    """Make the notebook of a trial, not yet run.

    Parameters
    ----------
    plan : Plan
        Its title and question head the notebook.

    Returns
    -------
    nbformat.NotebookNode
        Each cell has its name as its id, so that two notebooks of a trial differ only in what came out.
    """
    from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

    make: dict[str, Callable[..., Any]] = {"code": new_code_cell, "markdown": new_markdown_cell}
    return new_notebook(
        metadata={"title": plan.title, "kernelspec": KERNEL, "language_info": LANGUAGE},
        cells=[make[kind](source, id=name) for name, kind, source in cells(plan)],
    )


async def execute(notebook: NotebookNode, kernel: Kernel, progress: Callable[[str], None]) -> None:
    """Run every cell in a kernel that is ready, and keep what the cells display.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Its cells get their outputs.
    kernel : Kernel
        Running, in the folder of the report.
    progress : callable
        Told the name of each code cell before it runs.

    Raises
    ------
    SharpstatsError
        The error that a cell raised.
    """
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError, DeadKernelError

    client = NotebookClient(notebook, km=kernel.manager, timeout=None, record_timing=False)
    client.kc = kernel.client
    client.reset_execution_trackers()
    try:
        for index, cell in enumerate(notebook.cells):
            if cell.cell_type == "code":
                progress(f"running the notebook: {cell.id}")
                await client.async_execute_cell(cell, index, execution_count=client.code_cells_executed + 1)
    except CellExecutionError as error:
        raise relayed(error.ename, error.evalue, [error.traceback]) from None
    except DeadKernelError:
        task = asyncio.current_task()
        if task is not None and task.cancelling():  # nbclient takes Ctrl-C for the death of the kernel
            raise asyncio.CancelledError from None
        raise died() from None


def take_warnings(notebook: NotebookNode) -> list[str]:
    """Take out what libraries wrote to the error stream, which names paths of this machine, and return it."""
    warnings = []
    for cell in notebook.cells:
        if cell.cell_type == "code":
            warnings += [out.text for out in cell.outputs if out.get("name") == "stderr"]
            cell.outputs = [out for out in cell.outputs if out.get("name") != "stderr"]
    return warnings


def text(notebook: NotebookNode) -> str:
    """Return the notebook as the text of its file."""
    from nbformat import writes

    return writes(notebook) + "\n"
