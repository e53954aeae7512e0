"""An explanation and a search as lines of the terminal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from driftmap.observations.evidence import Explanation
from driftmap.observations.observation import FAR_IN, Far, Observation
from driftmap.observations.search_page import Search, share_sentences
from driftmap.observations.targeted_flights import ENOUGH
from driftmap.observations.weighing import Weighed
from driftmap.report.voice import Voice


def explanation_lines(
    result: Explanation, known: Weighed, notes: Iterable[str], far: Far
) -> Iterator[str]:
    """Say which cases fit what was found, why, and what would settle it.

    ``known``: the flights it was worked out from; ``notes``: what was assumed.
    """
    yield from _doubts(known, far)
    if not result.explained:
        yield "!! NONE OF THE CASES EXPLAINS THIS: each would show something so odd in fewer"
        yield "!! than 1 flight of 100, or was flown too few times to tell. The chances below"
        yield "!! only compare cases that are not seen to fit."
        yield ""
    yield "Chance    before    fit     case"
    for s in result.shares:
        if s.after >= 0.0005 or s.before > 0.5:
            fit = "few" if s.fit is None else "odd" if s.fit < 0.01 else f"{s.fit:.2f}"
            error = f"  (± {100 * s.error:.1f} %)" if s.error > 0.01 else ""
            chances = f"{100 * s.after:6.1f} %  {100 * s.before:6.1f} %"
            yield f"{chances}  {fit:6}  {s.case}{error}"
    for title, sentences in (
        ("What each thing says", result.evidence),
        ("How surely they are told apart", result.apart),
        ("What would settle it", result.advice),
    ):
        if sentences:
            yield from ("", f"{title}:", *(f"  {text}" for text in sentences))
    few = "" if result.effective >= ENOUGH else " - FEW: read the chances as rough"
    yield f"\nRests on {result.effective:,.0f} effective flights{few}."
    yield from ("\nAssumed:", *(f"  {note}" for note in notes))


def search_lines(
    result: Search, known: Weighed, follows: Iterable[Observation], voice: Voice
) -> Iterator[str]:
    """Say where a piece may lie, and what kills there.

    ``known``: the flights it was worked out from; ``follows``: what was taken to follow from
    other finds.
    """
    chances, far = result.chances, FAR_IN[voice.units]
    yield f"Where the {chances.piece} may lie:"
    yield from (f"  {line}" for line in share_sentences(chances, voice))
    best = ", ".join(f"{s.name} {100 * s.chance:.1f} %" for s in chances.listed[:5])
    yield f"Likeliest squares: {best}"
    met = {text for s in chances.listed for text in s.cautions}
    met |= {text for sweep in result.sweeps for text in sweep.mind}
    for danger in chances.dangers:
        if danger.deadly and danger.text in met:
            yield f"CAUTION: {danger.text}"
    yield from _doubts(known, far)
    few = " - FEW: what was seen fits hardly anything flown"
    few = few if known.effective < ENOUGH else ""
    yield f"Rests on {known.effective:,.0f} effective flights{few}"
    yield from (f"Taken so: {one.says(far)}" for one in follows)


def _doubts(known: Weighed, far: Far) -> Iterator[str]:
    """Say what was told but comes near nothing that was flown."""
    for doubt in known.doubted:
        told = doubt.says(far)
        yield f"AT ODDS with everything flown, taken as a mistake: {told}"
