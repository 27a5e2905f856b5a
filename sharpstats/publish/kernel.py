"""A kernel of our own: started early, kept quiet, and its errors told as sharpstats' errors.

Starting a kernel and loading pandas, scipy and matplotlib in it takes longer than anything else
in publishing. So the kernel is started before this process loads nbclient, and works meanwhile.
"""

from __future__ import annotations

import asyncio
import os
import sys
from collections.abc import AsyncIterator, Coroutine, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from pathlib import Path
from queue import Empty
from tempfile import TemporaryDirectory
from typing import Any

from jupyter_client.asynchronous.client import AsyncKernelClient
from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager

from sharpstats import errors
from sharpstats.errors import PublishError, SharpstatsError

LIVENESS_SECONDS = 1.0
HEARING_SECONDS = 0.5
READY_SECONDS = 60.0

ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
"""The matrices of a fit are small: more threads would only wait for each other."""


class Kernel:
    """A running kernel, with the one thing that notebooks do not do: run code that leaves no cell.

    Parameters
    ----------
    manager, client
        The manager and client of a started kernel, as nbclient takes them.
    """

    def __init__(self, manager: AsyncKernelManager, client: AsyncKernelClient) -> None:
        self.manager = manager
        self.client = client

    def begin(self, code: str) -> str:
        """Send code to the kernel and return at once; `finish` waits for it."""
        return self.client.execute(code, silent=True, store_history=False)

    async def finish(self, request: str) -> None:
        """Wait for code that `begin` sent.

        Raises
        ------
        SharpstatsError
            The error that the code raised; PublishError for one that is not of this package.
        """
        reply = await self._reply(request)
        await self._outputs_arrive(request)
        if reply["status"] == "error":
            raise relayed(reply["ename"], reply["evalue"], reply["traceback"])

    async def _reply(self, request: str) -> Mapping[str, Any]:
        while True:
            try:
                message = await self.client.get_shell_msg(timeout=LIVENESS_SECONDS)
            except Empty:
                if not await self.manager.is_alive():
                    raise died() from None
                continue
            if message["parent_header"].get("msg_id") == request:
                content: Mapping[str, Any] = message["content"]
                return content

    async def _outputs_arrive(self, request: str) -> None:
        """Wait until outputs are heard: a kernel's first messages go out before anyone listens."""
        while True:
            try:
                message = await self.client.get_iopub_msg(timeout=HEARING_SECONDS)
            except Empty:
                await self.client.wait_for_ready(timeout=READY_SECONDS)
                return
            if message["parent_header"].get("msg_id") == request:
                return


@asynccontextmanager
async def running(folder: Path) -> AsyncIterator[Kernel]:
    """Start a kernel in a folder and stop it at the end, whatever happens.

    It runs this very interpreter and this very package, without the person's own IPython settings
    and history, so that a report does not depend on them.

    Parameters
    ----------
    folder : Path
        Working folder of the kernel.
    """
    with TemporaryDirectory(prefix="sharpstats-", ignore_cleanup_errors=True) as private:
        manager = AsyncKernelManager(connection_file=str(Path(private, "kernel.json")))
        manager._kernel_spec = _this_interpreter()
        with Path(private, "log").open("wb") as log:  # where a kernel says that it listens without encryption
            await manager.start_kernel(
                cwd=str(folder), env=_environment(private), stdout=log, stderr=log,
                extra_arguments=["--HistoryManager.enabled=False", "--InteractiveShell.colors=nocolor"],
            )  # fmt: skip
            client = manager.client()
            client.allow_stdin = False
            client.start_channels(stdin=False, hb=False)  # the manager knows whether the process is alive
            try:
                yield Kernel(manager, client)
            finally:
                client.stop_channels()
                await manager.shutdown_kernel(now=True)


def _this_interpreter() -> KernelSpec:
    command = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]
    return KernelSpec(argv=command, display_name="Python 3", language="python")


def _environment(private: str) -> dict[str, str]:
    package = str(Path(errors.__file__).parents[1])
    path = os.pathsep.join(filter(None, (package, os.environ.get("PYTHONPATH"))))
    return {**ONE_THREAD, **os.environ, "PYTHONPATH": path, "IPYTHONDIR": private}


def relayed(name: str, text: str, traceback: list[str]) -> SharpstatsError:
    """Turn what a kernel says about an exception into an exception here.

    Parameters
    ----------
    name, text : str
        Class and message of the exception in the kernel.
    traceback : list of str
        Its traceback; kept as a note on an error that is not the reader's to mend.

    Returns
    -------
    SharpstatsError
        Of the same class if it is one of this package's, else a PublishError.

    Examples
    --------
    >>> relayed("FitError", "One edge is too few.", [])
    FitError('One edge is too few.')
    """
    kind = getattr(errors, name, None)
    if isinstance(kind, type) and issubclass(kind, SharpstatsError):
        return kind(text)
    error = PublishError(
        f"The notebook stopped with {name}: {text}\nThis is a fault of sharpstats, not yours. "
        "Publish again with --traceback and report what it prints; the report folder is unchanged."
    )
    error.add_note("\n".join(traceback))
    return error


def died() -> PublishError:
    """Make the error for a kernel that is gone, most often for want of memory."""
    return PublishError(
        "The kernel that ran the notebook ended by itself, most often because the computer ran out of memory. "
        "Close other programs and publish again; what stood in the report folder is unchanged."
    )


def run_to_end(work: Coroutine[Any, Any, None]) -> None:
    """Run a coroutine to its end, also from within a notebook, where a loop runs already.

    Parameters
    ----------
    work : coroutine
        What to run.
    """
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        asyncio.run(work)
    else:
        with ThreadPoolExecutor(max_workers=1) as thread:
            thread.submit(asyncio.run, work).result()
