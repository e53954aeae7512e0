"""A figure of a file beside the range that it commonly lies in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from driftmap.rules.answers import Answers
from driftmap.rules.vocabulary import figure_key
from driftmap.verdict.check import Check, Kind, beside, held

_AGAIN: Final = 2.0
"""How many times beyond what is common a figure may be that somebody measured again: what is
farther is more likely feet for metres or pounds for kilograms, read twice; assumed."""

MEMORY: Final = "published values from memory, margins assumed"


@dataclass(frozen=True, slots=True)
class Claim:
    """A figure of a flight file and the range it commonly lies in.

    `by_hand` says that a tape and a scale tell it, and so that people may.
    """

    what: str
    value: float
    range: tuple[float, float]
    unit: str = ""
    source: str = "assumed"
    how: str = "lies beside what is common, {:.3g} to {:.3g}"
    note: str = "a slip or a wrong unit? An officer who knows better decides"
    by_hand: bool = False

    @property
    def figure(self) -> str:
        """The figure in words."""
        return f"{self.what}, {self.value:.3g} {self.unit}".rstrip()

    def lies_within(self, times: float = 1.0) -> bool:
        """Return whether it lies in its range, or so many times beyond it."""
        least, most = self.range
        return least / times <= self.value <= most * times


def held_claims(
    claims: Iterable[Claim], answers: Answers | None = None
) -> Iterator[Check]:
    """Hold on the claims that lie beside their range, unless somebody measured them again."""
    said = answers or Answers()
    for claim in claims:
        if claim.lies_within():
            continue
        told = f"{claim.figure}, {claim.how.format(*claim.range)}"
        note = claim.note
        if claim.by_hand and claim.lies_within(_AGAIN):
            if by := said.measured.get(figure_key(claim.figure)):
                yield beside(f"{told}; measured again by {by}", "the answers")
                continue
            note = (
                f'a slip or a wrong unit? Measured again, and so: measured = ["{claim.figure}"] '
                'and by = "..." at the head of an answers file for this flight'
            )
            if why := said.stale.get("measured"):
                note = f"what was measured does not count: {why}. {note}"
        yield held(Kind.IMPLAUSIBLE, claim.source, told, note=note)
