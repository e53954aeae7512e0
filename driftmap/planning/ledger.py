"""Results kept in a file as they come, so that an interrupted run goes on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import Final, get_args

from driftmap.planning.supposed import Supposition
from driftmap.planning.trial import NOT_KNOWN, Finding
from driftmap.rules import picked_rules
from driftmap.verdict.assessment import Setup
from driftmap.verdict.check import Verdict

__all__ = ["Ledger", "open_ledger", "run_key"]

_VERDICTS: Final = get_args(Verdict)


@dataclass(slots=True)
class Ledger:
    """Findings by name, in memory and, where there is a file, on the disk.

    Parameters
    ----------
    key : str
        Digest of all inputs; only lines that bear it are read back.
    path : Path or None
        The file; None keeps nothing.
    found : dict of str to (str, str)
        Verdict and what blocks, by the name of the part.
    """

    key: str
    path: Path | None = None
    found: dict[str, tuple[Finding, str]] = field(default_factory=dict)

    def keep(self, name: str, verdict: Finding, blocked_by: str) -> None:
        """Keep a finding; one that is not known is not written, and is tried again.

        Parameters
        ----------
        name : str
            Name of the part.
        verdict : str
            The finding.
        blocked_by : str
            What speaks against a go.
        """
        self.found[name] = (verdict, blocked_by)
        if self.path is None or verdict == NOT_KNOWN:
            return
        line = {"key": self.key, "part": name, "verdict": verdict, "by": blocked_by}
        with self.path.open("a", encoding="utf-8", newline="\n") as file:
            file.write(json.dumps(line, ensure_ascii=False) + "\n")


def open_ledger(path: Path | None, key: str) -> Ledger:
    """Open a ledger and read back what an earlier run of the same inputs found.

    Parameters
    ----------
    path : Path or None
        The file; it need not be there. Its folder is made.
    key : str
        Digest of all inputs, from `run_key`.

    Returns
    -------
    Ledger
        With the findings that bear the key. A line cut short by an interruption, or one
        of other inputs, is passed over.
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
    except ValueError:
        return {}
    return entry if isinstance(entry, dict) else {}


def run_key(setup: Setup, supposition: Supposition, *more: object) -> str:
    """Digest everything a verdict of a sweep depends on.

    Parameters
    ----------
    setup : Setup
        Flight, site with its rules, samples, seed, day and answers.
    supposition : Supposition
        How winds are made.
    *more
        Whatever else counts; its ``repr`` is taken.

    Returns
    -------
    str
        SHA-256, with the version of the package in it.
    """
    shape = supposition.shape
    columns = (
        None
        if shape is None
        else [
            *(shape.height, shape.east, shape.north),
            *(shape.error, shape.modes, shape.members),
        ]
    )
    hour = (supposition.when, supposition.place)
    parts = (
        version("driftmap"),
        setup.flight.model_dump_json(),
        setup.site.digest,
        setup.site.pad,
        sorted(map(repr, setup.site.limits.items())),
        setup.samples,
        setup.seed,
        setup.day,
        setup.answers,
        picked_rules(setup.site) if setup.site.rules.strip() else (),
        supposition.site_altitude,
        hour,
        None
        if columns is None
        else [None if c is None else c.tolist() for c in columns],
        *more,
    )
    return hashlib.sha256(repr(parts).encode()).hexdigest()
