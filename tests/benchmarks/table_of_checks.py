"""Write the table of all checks against things outside the project: run by hand.

    python tests/benchmarks/table_of_checks.py

runs `tests/reference` and writes every comparison that passed, as the tests made it, into
`tests/reference/CHECKS.md`: where from (the head of the test's module), what was asked, our
value, theirs, the difference and what was allowed; and how many of each into the guide.
"""

import ast
import re
import sys
import tempfile
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TABLE = ROOT / "tests" / "reference" / "CHECKS.md"
GUIDE = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- checks: written by table_of_checks.py -->", "<!-- checks: end -->"
NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
NEAR = re.compile(rf"^(?:np\.float64\()?({NUMBER})\)? == ({NUMBER}) ± ({NUMBER})$")
CELL = 60


@dataclass(frozen=True, slots=True)
class Row:
    """One comparison that held."""

    module: str
    test: str
    asked: str
    ours: str
    theirs: str
    difference: str
    allowed: str


class Recorder:
    """A plugin that keeps what every passing assertion compared."""

    def __init__(self) -> None:
        self.rows: list[Row] = []
        self.heads: dict[str, str] = {}

    def pytest_assertion_pass(
        self, item: pytest.Item, lineno: int, orig: str, expl: str
    ) -> None:
        """Keep a comparison; a bare truth (`assert not problems`) is none."""
        del lineno
        asked = ast.parse(orig.strip(), mode="eval").body
        if not (isinstance(asked, ast.Compare) and len(asked.ops) == 1):
            return
        module = item.path.stem
        self.heads[module] = head(item.module.__doc__ or "")
        told = expl.partition("\n")[0].strip()
        self.rows.append(
            Row(module, item.name, ast.unparse(asked.left), *compared(told))
        )


def head(text: str) -> str:
    """Give the first sentence of a module's docstring."""
    return text.strip().partition("\n\n")[0].replace("\n", " ").rstrip(".")


def compared(told: str) -> tuple[str, str, str, str]:
    """Give our value, theirs, the difference and what was allowed."""
    if near := NEAR.match(told):
        ours, theirs, allowed = near.groups()
        gap = float(ours) - float(theirs)
        return f"{float(ours):.8g}", theirs, f"{gap:+.1e}", f"± {allowed}"
    for sign in (" == ", " <= ", " >= ", " < ", " > ", " in ", " is "):
        left, found, right = told.partition(sign)
        if found:
            allowed = "equal" if sign in (" == ", " is ") else sign.strip()
            return left, right, "", allowed
    return told, "", "", ""


def cell(text: str) -> str:
    """Make text safe for a cell of a table, and short."""
    text = re.sub(r"0x[0-9a-f]+", "…", text).replace("|", "\\|").replace("\n", " ")
    text = text.replace("<", "&lt;")
    return text if len(text) <= CELL else text[: CELL - 1] + "…"


def table(recorder: Recorder) -> str:
    """Write the rows, module by module."""
    grouped = defaultdict(list)
    for row in recorder.rows:
        grouped[row.module].append(row)
    lines = [
        "# Checks against things outside the project",
        "",
        f"{len(recorder.rows)} comparisons; written by"
        " `tests/benchmarks/table_of_checks.py` from the tests of this folder, each"
        " of which names its source, its edition and what is from memory in its head.",
    ]
    for module in sorted(grouped):
        lines += ["", f"## {module}", "", recorder.heads[module] + ".", ""]
        lines += ["| test | asked | ours | theirs | difference | allowed |"]
        lines += ["| --- | --- | --- | --- | --- | --- |"]
        for row in grouped[module]:
            cells = (row.test, row.asked, row.ours, row.theirs, row.difference)
            told = [cell(one) for one in (*cells, row.allowed)]
            lines.append("| " + " | ".join(told) + " |")
    return "\n".join(lines) + "\n"


def summary(recorder: Recorder) -> str:
    """Write how many checks each source carries, and how near the nearest miss is."""
    lines = ["| against | comparisons | largest difference, of what is allowed |"]
    lines += ["| --- | --- | --- |"]
    for module in sorted(recorder.heads):
        rows = [row for row in recorder.rows if row.module == module]
        shares = [
            abs(float(row.difference)) / float(row.allowed[2:])
            for row in rows
            if row.difference and float(row.allowed[2:]) > 0
        ]
        worst = f"{max(shares):.0%}" if shares else "exact"
        lines.append(f"| {recorder.heads[module]} | {len(rows)} | {worst} |")
    return "\n".join([*lines, f"| all | {len(recorder.rows)} | |"])


def main() -> int:
    """Run the tests, and write both tables if all of them passed."""
    recorder = Recorder()
    with tempfile.TemporaryDirectory() as folder:
        sys.pycache_prefix = folder  # tests rewritten anew, with their assertions told
        options = [
            "-o",
            "enable_assertion_pass_hook=true",
            "-q",
            "-p",
            "no:cacheprovider",
        ]
        code = pytest.main(
            [str(ROOT / "tests/reference"), *options], plugins=[recorder]
        )
    if code != pytest.ExitCode.OK:
        return int(code)
    TABLE.write_text(table(recorder), encoding="utf-8")
    guide = GUIDE.read_text(encoding="utf-8")
    before, _, rest = guide.partition(BEGIN)
    _, _, after = rest.partition(END)
    told = f"{before}{BEGIN}\n\n{summary(recorder)}\n\n{END}{after}"
    GUIDE.write_text(told, encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
