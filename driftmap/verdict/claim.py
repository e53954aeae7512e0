"""A figure of a file beside the range that it commonly lies in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from driftmap.verdict.check import Check, Kind, held

MEMORY: Final = "published values from memory, margins assumed"


@dataclass(frozen=True, slots=True)
class Claim:
    """A figure of a flight file and the range it commonly lies in."""

    what: str
    value: float
    range: tuple[float, float]
    unit: str = ""
    source: str = "assumed"
    how: str = "lies beside what is common, {:.3g} to {:.3g}"
    note: str = "a slip or a wrong unit? An officer who knows better decides"


def held_claims(claims: Iterable[Claim]) -> Iterator[Check]:
    """Hold on the claims that lie beside their range."""
    for claim in claims:
        least, most = claim.range
        if not least <= claim.value <= most:
            figure = f"{claim.value:.3g} {claim.unit}".rstrip()
            text = f"{claim.what}, {figure}, {claim.how.format(least, most)}"
            yield held(Kind.IMPLAUSIBLE, claim.source, text, note=claim.note)
