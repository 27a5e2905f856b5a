"""Stored references: every file is accounted for, and the table of digits says no more than is true."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from reference import against_published, digits
from reference.against_r import CASES, PARTS, comparisons
from reference.stored import FOLDER, stored_json, stored_table, stored_text

README = (FOLDER / "README.md").read_text(encoding="utf-8")
FILES = {
    str(path.relative_to(FOLDER).as_posix())
    for path in FOLDER.rglob("*")
    if path.is_file() and "__pycache__" not in path.parts
}
ROWS = [line.split("|")[1] for line in README.splitlines() if line.startswith("| `")]
LISTED = {name for row in ROWS for name in re.findall(r"`([^`]+)`", row)}


def stray(files: set[str]) -> set[str]:
    """Files that the README does not account for."""
    return files - LISTED


class TestReadme:
    def test_no_file_without_its_source(self) -> None:
        assert stray(FILES) == set()

    def test_a_stray_file_is_refused(self) -> None:
        assert stray({*FILES, "tables/found_somewhere.csv"}) == {"tables/found_somewhere.csv"}

    def test_no_source_without_its_file(self) -> None:
        assert set() == LISTED - FILES

    @pytest.mark.parametrize("name", sorted(name for name in FILES if name.startswith("r/") and name.endswith(".json")))
    def test_results_of_r_name_the_versions_that_made_them(self, name: str) -> None:
        versions = stored_json(name.removesuffix(".json"))["versions"]
        told = versions if isinstance(versions, dict) else {"R": versions}
        assert told["R"].startswith("R version 4.2.2")
        for package, version in told.items():
            if package in {"lme4", "lmerTest", "pbkrtest", "emmeans", "mvtnorm", "car", "nlme", "survival"}:
                major, minor, *rest = version.split(".")
                written = rf"{package}\s{major}.{minor}" + "".join(f"[.-]{part}" for part in rest)
                assert re.search(written, README), f"README does not name {package} {version}"


class TestReading:
    def test_text_stays_as_printed(self) -> None:
        assert stored_text("nist_anova/SmLs07")["value"].iloc[0] == "1000000000000.4"

    def test_numbers_are_the_nearest_doubles(self) -> None:
        table = stored_table("r/means_edges_a")
        text = stored_text("r/means_edges_a")
        assert [float(value) for value in text["log_force"]] == table["log_force"].tolist()
        assert table["medium"].iloc[0] == "A_ref"


class TestDigits:
    def page(self) -> dict[tuple[str, str], str]:
        """Cells of the table in DEVELOPERS.md by quantity and data set."""
        text = (digits.ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
        part = text.partition(digits.HEADING)[2].partition("\n## ")[0]
        rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in part.splitlines() if line[:2] == "| "]
        head, *body = [row for row in rows if len(row) == len(CASES) + 1 and not row[0].startswith("---")]
        assert head[1:] == list(CASES)
        return {(row[0], name): cell for row in body for name, cell in zip(head[1:], row[1:], strict=True) if cell}

    def test_the_page_tells_every_comparison_and_no_other(self) -> None:
        made = {(key, name) for name in CASES for part in PARTS for key in comparisons(name, part)}
        assert self.page().keys() == made

    def test_the_page_says_no_more_than_is_true(self) -> None:
        """One digit of slack: the last ones depend on the machine's rounding."""
        found = {(key, name): one.digits for name in CASES for part in PARTS
                 for key, one in comparisons(name, part).items()}  # fmt: skip
        assert {place: cell for place, cell in self.page().items() if int(cell) > found[place] + 1} == {}

    def test_the_page_tells_what_is_not_a_mixed_model(self) -> None:
        """Digits of each comparison with one of slack, and printed tables to the last value."""
        text = (digits.ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
        rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in text.splitlines() if line[:2] == "| "]
        told = {tuple(row[:3]): row[3] for row in rows if len(row) == 4}
        for one in (one for part in against_published.PARTS for one in against_published.comparisons(part)):
            key = (one.comparison.case, one.comparison.quantity, one.source)
            assert int(told[key]) <= one.comparison.digits + 1
        for line in digits.printed_table():
            assert line in text

    def test_the_section_takes_the_place_of_the_old_one_only(self) -> None:
        old = f"# Page\n\nbefore\n\n{digits.HEADING}\n\nold\n\n## After\n\nrest\n"
        assert digits.replaced(old, f"{digits.HEADING}\n\nnew\n") == (
            f"# Page\n\nbefore\n\n{digits.HEADING}\n\nnew\n\n## After\n\nrest\n"
        )
        assert digits.replaced("# Page\n", "new\n") == "# Page\n\nnew\n"
