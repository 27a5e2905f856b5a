"""Which versions of what made a result: for provenance, and for a report of trouble."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError, version

from sharpstats import __version__

PACKAGES: tuple[str, ...] = (
    "numpy",
    "pandas",
    "pyarrow",
    "scipy",
    "statsmodels",
    "matplotlib",
    "seaborn",
    "jupyterlab",
    "nbformat",
    "nbclient",
    "nbconvert",
    "ipykernel",
    "openpyxl",
    "odfpy",
)
"""The packages that sharpstats is built on."""


def versions() -> dict[str, str]:
    """Return the version of sharpstats, of Python, and of each package it is built on.

    None of the packages is imported; one that is missing says so.

    Examples
    --------
    >>> list(versions())[:3]
    ['sharpstats', 'python', 'numpy']
    """
    found = {"sharpstats": __version__, "python": platform.python_version()}
    return found | {package: _version(package) for package in PACKAGES}


def show_versions() -> str:
    """Return the versions, the operating system and the kind of processor as text.

    Examples
    --------
    >>> show_versions().splitlines()[0].split()[0]
    'sharpstats'
    """
    lines = versions() | {"system": platform.system(), "machine": platform.machine()}
    return "\n".join(f"{name:<12}{value}" for name, value in lines.items())


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "not installed"
