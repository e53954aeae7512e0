"""What a season has found so far, kept so that an interrupted run goes on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import Final, get_args

from driftmap.core.files import toml_of
from driftmap.planning.assumed_winds import Supposition
from driftmap.planning.trial import NOT_KNOWN, Finding, pack
from driftmap.rules.reading import own_files
from driftmap.verdict.check import Verdict
from driftmap.verdict.setup import Setup

_VERDICTS: Final = get_args(Verdict)


@dataclass(slots=True)
class Ledger:
    """Findings by name, in memory and, where there is a file, on the disk.

    Only lines that bear the key, a digest of all inputs, are read back. `found` holds the
    verdict and what blocks, by the name of the part.
    """

    key: str
    path: Path | None = None
    found: dict[str, tuple[Finding, str]] = field(default_factory=dict)

    def keep(self, name: str, verdict: Finding, blocked_by: str) -> None:
        """Keep a finding; one that is not known is not written, and is tried again."""
        self.found[name] = (verdict, blocked_by)
        if self.path is None or verdict == NOT_KNOWN:
            return
        line = {"key": self.key, "part": name, "verdict": verdict, "by": blocked_by}
        with self.path.open("a", encoding="utf-8", newline="\n") as file:
            file.write(json.dumps(line, ensure_ascii=False) + "\n")


def open_ledger(path: Path | None, key: str) -> Ledger:
    """Open a ledger and read back what an earlier run of the same inputs found.

    The file need not be there; its folder is made. A line cut short by an interruption,
    or one of other inputs, is passed over.
    """
    ledger = Ledger(key, path)
    if path is None:
        return ledger
    path.parent.mkdir(parents=True, exist_ok=True)
    if not path.exists():
        return ledger
    text = path.read_text(encoding="utf-8", errors="replace")
    if text and not text.endswith("\n"):
        with path.open("a", encoding="utf-8", newline="\n") as file:
            file.write("\n")  # so that the next line does not grow onto the torn one
    for line in text.splitlines():
        entry = _entry(line)
        if entry.get("key") == key and entry.get("verdict") in _VERDICTS:
            part, verdict = str(entry.get("part")), entry["verdict"]
            ledger.found[part] = (verdict, str(entry.get("by", "")))  # type: ignore[assignment]
    return ledger


def _entry(line: str) -> Mapping[str, object]:
    try:
        entry = json.loads(line)
    except (ValueError, RecursionError):
        return {}
    return entry if isinstance(entry, dict) else {}


def run_key(setup: Setup, supposition: Supposition, *more: object) -> str:
    """Digest everything a verdict of a sweep depends on, the package's version in it.

    Not where the files lie: a run goes on from wherever the same inputs are.

    ``more``: whatever else counts; its ``repr`` is taken.
    """
    site = setup.site
    rules = site.rules.split(",")
    own = own_files(rules, Path(site.source).parent)
    told = (
        version("driftmap"),
        setup.flight.content,
        *(site.digest, site.pad, sorted(map(repr, site.limits.items()))),
        *(setup.samples, setup.seed, setup.day, setup.answers),
        [Path(name).name.strip() for name in rules],
        [toml_of(path) for path in own],
        *more,
    )
    return hashlib.sha256(repr(told).encode() + pack(supposition)).hexdigest()
