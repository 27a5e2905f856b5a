"""The notebook of a report: its cells, and how they are run.

The cells are the same for every folder of a kind but for its title and question, so that a reader who
has seen one report knows the next. They are short: what they call is the package itself.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from sharpstats.publish.html import as_markdown
from sharpstats.publish.kernel import Kernel, died, relayed
from sharpstats.publish.publication import Publication, PublicPlan

if TYPE_CHECKING:
    from nbformat import NotebookNode

LANGUAGE = {"name": "python", "file_extension": ".py", "mimetype": "text/x-python", "pygments_lexer": "ipython3"}
KERNEL = {"name": "python3", "display_name": "Python 3", "language": "python"}

def cells(kind: Publication, plan: PublicPlan) -> Iterator[tuple[str, str, str]]:
    """Yield the name, kind and source of each cell, in order.

    Examples
    --------
    >>> from sharpstats.publish.trial import TRIAL
    >>> from sharpstats.trial.plan import Plan
    >>> [name for name, _, _ in cells(TRIAL, Plan(title="Slate", factors={}))][:4]
    ['title', 'findings-heading', 'open', 'findings']
    """
    yield "title", "markdown", _title(kind, plan)
    first, *_ = kind.parts
    for part in kind.parts:
        if part.heading:
            said = f"\n\n{part.said}" if part.said else ""
            yield f"{part.name}-heading", "markdown", f"## {part.heading}{said}"
        if part is first:
            yield "open", "code", kind.opening
        yield part.name, "code", part.code


def _title(kind: Publication, plan: PublicPlan) -> str:
    """Head the notebook with the plan's own words, as letters and not as markup."""
    lines = [f"# {as_markdown(plan.title)}", as_markdown(plan.question)]
    if plan.publishing.invented:
        lines.append(f"**The readings of this {kind.noun} are invented.** Nothing here was measured.")
    return "\n\n".join(line for line in lines if line)


def build(kind: Publication, plan: PublicPlan) -> NotebookNode:
    """Make the notebook of a report, not yet run.

    Parameters
    ----------
    kind : Publication
        What is published.
    plan : Plan or TesterPlan
        Its title and question head the notebook.

    Returns
    -------
    nbformat.NotebookNode
        Each cell has its name as its id, so that two notebooks of a folder differ only in what came out.
    """
    from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

    make: dict[str, Callable[..., Any]] = {"code": new_code_cell, "markdown": new_markdown_cell}
    return new_notebook(
        metadata={"title": plan.title, "kernelspec": KERNEL, "language_info": LANGUAGE},
        cells=[make[sort](source, id=name) for name, sort, source in cells(kind, plan)],
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
