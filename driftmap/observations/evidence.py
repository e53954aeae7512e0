"""What each observation says of each case, and what would tell cases apart."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from math import hypot, isnan
from typing import Final

import numpy as np

from driftmap.core.checks import FloatArray
from driftmap.core.spread import quantile
from driftmap.observations.case_flights import ROCKET, CaseFlights
from driftmap.observations.figures import Find
from driftmap.observations.observation import (
    MISTAKEN,
    Far,
    FoundState,
    Observation,
    Odds,
    metres,
)
from driftmap.observations.weighing import (
    ODD,
    Weighed,
    effective_number,
    log_likelihoods,
)
from driftmap.rocket.likelihood import TOO_RARE

_LISTED: Final = 0.005  # chance below which a case is not spoken of
_PLAIN: Final = 3.0  # odds below which evidence speaks for neither
_SURE: Final = 20.0  # odds from which cases are told apart
_FIRM: Final = 0.95  # chance from which nothing else comes near
_OVERLAP: Final = 0.3  # of what two cases would show, from which asking settles little
_MISLEADS: Final = 0.8  # Mach number from which a vent may mislead; common practice
_CHANGED: Final = 2 * MISTAKEN  # least overlap: an answer, too, may be wrong altogether
_BINS: Final = 24
_MOST_ADVICE: Final = 3
_LOOKS: Final = {
    "open": "out and whole",
    "torn": "torn",
    "tangled": "tangled",
    "unopened": "still packed",
}


@dataclass(frozen=True, slots=True)
class CaseChance:
    """A case, and its chance before and after what was found.

    `error` is the standard error of the chance after, from the number of flights; `fit` how often
    the case would show something as odd as what was found, or odder; None where too few flights
    were flown to tell.
    """

    case: str
    before: float
    after: float
    error: float
    fit: float | None


@dataclass(frozen=True, slots=True)
class Explanation:
    """What fits what was found: the cases, the likeliest first, and sentences.

    `evidence` of each observation, how surely the leading cases are told `apart`, and `advice`
    on what would settle it. `explained` is False when no case that is likely enough to be
    judged explains what was found.
    """

    shares: tuple[CaseChance, ...]
    evidence: tuple[str, ...]
    apart: tuple[str, ...]
    advice: tuple[str, ...]
    explained: bool
    effective: float


def explain(known: Weighed, fits: dict[str, float], far: Far = metres) -> Explanation:
    """Say which case fits what was found, and why.

    ``known``: flights weighed by what was found; ``fits``: how well each case fits,
    from `driftmap.observations.weighing.fit_of`; ``far``: how to write a distance.
    """
    chances = known.chances
    errors = known.errors
    before = {case.name: case.probability for case in known.cases[0].cloud.tree.cases}
    # Steered clouds hold no probabilities of cases: the plain one among them does.
    for flown in known.cases:
        before.setdefault(flown.case.name, flown.case.probability)
    told = {name: None if isnan(fit) else fit for name, fit in fits.items()}
    shares = [
        CaseChance(
            name, before.get(name, 0.0), chance, errors[name], told.get(name, 0.0)
        )
        for name, chance in sorted(chances.items(), key=lambda c: -c[1])
    ]
    judged = [s for s in shares if s.after > 1e-3 and s.before > TOO_RARE]
    few = [s.case for s in judged if s.fit is None]
    more = f"of {_names(few) if few else ''} too few flights were flown to tell whether it fits: --samples"
    leading = [s.case for s in shares if s.after >= _LISTED][:6]
    return Explanation(
        tuple(shares),
        tuple(_evidence(known, leading, far)),
        tuple(_apart(shares)),
        (
            *_advice(known, leading, far),
            *_causes(known, leading),
            *([more] * bool(few)),
        ),
        any(s.fit is not None and s.fit >= ODD for s in judged),
        known.effective,
    )


def _speaks(known: Weighed) -> dict[str, FloatArray]:
    """Return the logarithm by which each observation favours each case, beside the rest."""
    told = [o for o in known.observations if not isinstance(o, Odds)]
    found = {}
    for name, lots in known.lots.items():
        prior = np.concatenate([np.log(np.maximum(f.prior, 1e-300)) for f, _ in lots])
        each = np.concatenate([log_likelihoods(f, told) for f, _ in lots], axis=1)
        total = prior + each.sum(axis=0)
        whole = np.logaddexp.reduce(total)
        found[name] = np.array(
            [whole - np.logaddexp.reduce(total - own) for own in each]
        )
    return found


def _evidence(known: Weighed, leading: Sequence[str], far: Far) -> Iterator[str]:
    told = [o for o in known.observations if not isinstance(o, Odds)]
    if not told or len(leading) == 0:
        return
    speaks = _speaks(known)
    rivals = [*leading, *_others(known, leading)]
    for number, seen in enumerate(told):
        worth = {name: float(speaks[name][number]) for name in rivals}
        order = sorted(worth, key=lambda name: -worth[name])
        best, odds = order[0], [np.exp(worth[order[0]] - worth[n]) for n in order[1:]]
        says = _found_words(known, seen, far)
        if not odds or max(odds) < _PLAIN:
            rest = [name for name in order if name != leading[0]]
            fit = _alike(known, seen, [leading[0], *rest[:2]])
            yield f"{says}: fits {fit} about alike"
        else:
            against = [n for n, o in zip(order[1:], odds, strict=True) if o >= _PLAIN]
            alike = [best, *(n for n in order[1:] if n not in against)]
            least = min(o for o in odds if o >= _PLAIN)
            yield (
                f"{says}: speaks for {_alike(known, seen, alike)}, "
                f"{_times(least)} as much as for {_names(against)}"
            )


def _others(known: Weighed, leading: Sequence[str]) -> list[str]:
    """Name what one would have thought of first, beside the leading cases."""
    likely = {n: lots[0][0].case.likelihood for n, lots in known.lots.items()}
    first = sorted(likely, key=lambda name: -likely[name])
    return [name for name in first if name not in leading][: max(0, 3 - len(leading))]


def _names(names: Sequence[str]) -> str:
    quoted = [f"“{name}”" for name in names]
    return (
        quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} and {quoted[-1]}"
    )


def _alike(known: Weighed, seen: Observation, cases: Sequence[str]) -> str:
    """Name cases, and what became of a found piece in those that stand together."""
    runs: dict[str, list[str]] = {}
    for case in cases:
        runs.setdefault(_why(known, seen, case), []).append(case)
    return ", and ".join(_names(run) + why for why, run in runs.items())


def _times(odds: float) -> str:
    return "over 1,000 times" if odds > 1000 else f"{odds:.0f} times"


def _found_words(known: Weighed, seen: Observation, far: Far) -> str:
    """Say a find beside that of the rocket."""
    rocket = next(
        (o for o in known.observations if isinstance(o, Find) and o.piece == ROCKET),
        None,
    )
    if not isinstance(seen, Find) or rocket is None or seen is rocket:
        return seen.says(far)
    away = hypot(seen.east - rocket.east, seen.north - rocket.north)
    return f"{seen.piece} found {far(away)} from the rocket"


def _why(known: Weighed, seen: Observation, case: str) -> str:
    """Say what became of a found piece in a case."""
    if not isinstance(seen, Find) or seen.piece == ROCKET:
        return ""
    flown = known.lots[case][0][0]
    if flown.has(seen.piece):
        return " (it came off in the air)"
    rocket = next(b for b in flown.case.bodies if b.name == ROCKET)
    if rocket.stages[-1].nose_first:
        return " (it broke off on the ground)"
    return " (it stayed on the rocket until it was down)"


def _apart(shares: Sequence[CaseChance]) -> Iterator[str]:
    first = shares[0]
    for other in shares[1:4]:
        if other.after < _LISTED / 5:
            continue
        odds = first.after / other.after
        # What the number of flights leaves sure: two errors off on each side.
        least = max(first.after - 2 * first.error, 0.0) / (
            other.after + 2 * other.error
        )
        if least >= _SURE:
            text = "told apart"
        elif least >= _PLAIN:
            text = "likelier, not surely"
        elif odds >= _PLAIN:
            text = "but too few flights fit to say so"
        else:
            text = "not to be told apart by this"
        yield f"“{first.case}” against “{other.case}”: {odds:.1f} to 1, {text}"
    if first.after - 2 * first.error > _FIRM:
        yield f"nothing else comes near “{first.case}”"


def _advice(known: Weighed, leading: Sequence[str], far: Far) -> Iterator[str]:
    """Say which further observation would tell the two leading cases apart."""
    if len(leading) < 2 or known.chances[leading[0]] > _FIRM:
        return
    pair = leading[:2]
    asked = []
    for name, written, error, values in _askable(known, pair, far):
        overlap = _overlap(values[0], values[1], error)
        if overlap < _OVERLAP:
            told = " or ".join(
                f"{_span(*value, written)} if “{case}”"
                for case, value in zip(pair, values, strict=True)
            )
            few = min(effective_number(weights) for _, weights in values)
            sure = 1 - max(overlap, _CHANGED, 2 / few) / 2  # few flights show no more
            right = f"{100 * sure:.0f} times in 100"
            asked.append((overlap, f"{name} would settle it, {right}: {told}"))
    asked += _of_cloth(known, pair)
    for _, text in sorted(asked)[:_MOST_ADVICE]:
        yield text
    if not asked:
        yield (
            f"nothing that could be asked tells “{pair[0]}” from “{pair[1]}” well; "
            "look at the device and the electronics themselves"
        )


def _of_cloth(known: Weighed, pair: Sequence[str]) -> Iterator[tuple[float, str]]:
    """Say which device looks otherwise in one case than in the other."""
    told = {o.piece for o in known.observations if isinstance(o, FoundState)}
    flown = [known.lots[case][0][0] for case in pair]
    for device in known.cases[0].cloud.plan.flight.devices:
        fates = [_LOOKS[f.cloth(device.name)] for f in flown]
        if fates[0] != fates[1] and device.name not in told:
            looks = " or ".join(
                f"{fate} if “{case}”" for fate, case in zip(fates, pair, strict=True)
            )
            # Cloth may tear or tangle on the ground as well.
            yield _OVERLAP, f"the look of the {device.name} tells more: {looks}"


def _causes(known: Weighed, leading: Sequence[str]) -> Iterator[str]:
    """Say which causes of one case no find can tell apart."""
    if not any(name.startswith("early opening") for name in leading):
        return
    mach = float(np.quantile(known.cases[0].cloud.fastest[1], 0.95))
    fast = (
        ""
        if mach >= _MISLEADS
        else f", hardly by speed: it stays under Mach {mach:.2f}"
    )
    yield (
        f"“early opening” may be a barometer misled (by the air near the speed of sound{fast}), "
        "a charge fired by its wiring, or a nose drawn off by drag: all come down alike, and "
        "only the altimeter's own record of pressure tells them apart"
    )


_Weighed = tuple[FloatArray, FloatArray]


def _askable(
    known: Weighed, pair: Sequence[str], far: Far
) -> Iterator[tuple[str, Far, float, list[_Weighed]]]:
    """Go through what could be asked, with what each of two cases would answer."""
    flight = known.cases[0].cloud.plan.flight
    asks: list[tuple[str, Far, float, Callable[[CaseFlights], FloatArray]]] = [
        ("the seconds until it was down", _seconds, 3.0, lambda f: f.landed(ROCKET)[0]),
        ("an altimeter's greatest height", far, 10.0, lambda f: f.highest()[1]),
        ("when something opened", _seconds, 1.0, lambda f: f.opening()[0]),
        ("how high something opened", far, 30.0, lambda f: f.opening()[1]),
    ]
    have = {o.piece for o in known.observations if isinstance(o, Find)}
    asks += [
        (
            f"how far from the rocket the {p.name} lies",
            far,
            10.0,
            partial(_away, p.name),
        )
        for p in flight.pieces
        if p.name not in have
    ]
    for name, written, error, ask in asks:
        values = []
        for lots in (known.lots[case] for case in pair):
            shown = np.concatenate([ask(flown) for flown, _ in lots])
            values.append((shown, np.concatenate([own for _, own in lots])))
        yield name, written, error, values


def _seconds(value: float) -> str:
    return f"{value:.0f} s"


def _away(piece: str, flown: CaseFlights) -> FloatArray:
    apart = flown.landing(piece)[:, 0] - flown.landing(ROCKET)[:, 0]
    return np.asarray(np.hypot(*apart))


def _overlap(a: _Weighed, b: _Weighed, error: float) -> float:
    """Return how much two answers overlap, 0 to 1, blurred by the error of asking."""
    sure = [~np.isnan(values) for values, _ in (a, b)]
    if not (sure[0].any() or sure[1].any()):
        return 1.0
    if not (sure[0].any() and sure[1].any()):
        return 0.0
    spread = [
        np.quantile(v[k], [0.0, 1.0]) for (v, _), k in zip((a, b), sure, strict=True)
    ]
    low = min(s[0] for s in spread) - 3 * error
    high = max(s[1] for s in spread) + 3 * error
    # Bins as wide as the error would blur 0.80 to 0.89.
    edges = np.linspace(low, high, max(_BINS, int(4 * (high - low) / error)) + 1)
    both = []
    for (values, weights), keep in zip((a, b), sure, strict=True):
        count, _ = np.histogram(values[keep], edges, weights=weights[keep])
        width = edges[1] - edges[0]
        reach = np.arange(-3 * error, 3 * error + width, width)
        blur = np.exp(-((reach / error) ** 2) / 2)
        count = np.convolve(count, blur / blur.sum(), mode="same")
        both.append(count / max(count.sum(), 1e-300))
    return float(np.minimum(*both).sum())


def _span(values: FloatArray, weights: FloatArray, written: Far) -> str:
    keep = ~np.isnan(values) & (weights > 0)
    if not keep.any():
        return "none"
    ends = quantile(values[keep], (0.05, 0.95), weights=weights[keep])
    return " to ".join(map(written, ends.tolist()))
