"""What should be seen at which second, to be called aloud."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from driftmap.report.instructions import CALL, Watch, other_side, short_name
from driftmap.report.sentences import case_when
from driftmap.report.sheetfacts import Fall, arrivals
from driftmap.report.voice import Voice
from driftmap.report.words import isolate


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment of the flight as people on the ground count it.

    Parameters
    ----------
    second : float
        After lift-off; never later than what it warns of [s].
    should : str
        Where to look and what should be seen.
    otherwise : str
        What it means, and what to do, if it is not; empty where there is nothing to say.
    failed : bool
        Whether what should be seen is so only where something failed.
    """

    second: float
    should: str
    otherwise: str = ""
    failed: bool = False


def before(seen: Watch) -> list[str]:
    """Say what the caller says before lift-off: what is down sooner than it can be called.

    Result: with the crowd whose left and right the moments tell; of a NO-GO as it is said once
    one goes up all the same.
    """
    voice, early = seen.voice, dict[str, str]()
    for fall in arrivals(seen.falls):
        if fall.first <= CALL:
            early.setdefault(fall.piece, voice.seconds(fall.first))
    pieces = "; ".join(
        voice.say("heads_up.piece", piece=short_name(piece, voice), time=time)
        for piece, time in early.items()
    )
    told = []
    if early and seen.told.verdict == "no-go":
        told = [voice.say("watch.early_later", pieces=pieces)]
    elif early:
        told = [voice.say("watch.early", pieces=pieces)]
    if seen.sight:
        way = voice.letters(seen.sight.pad)
        told.append(voice.say("side.note", area=isolate(seen.sight.name), compass=way))
    return told


def moments(seen: Watch) -> list[Moment]:
    """List the moments of a flight.

    Result: in the order of time, from lift-off until everything of nine in ten flights
    of every case is down.
    """
    say, up = seen.voice.say, seen.up
    above = say("watch.overhead") if up.around else seen.look(up)
    height = seen.voice.distance(up.height)
    told = [
        Moment(0.0, say("watch.up"), say("watch.turns")),
        Moment(up.first, say("watch.top", look=above, height=height)),
        *_opening(seen),
        *_down(seen),
        *_free(seen),
        Moment(max(fall.last for fall in seen.falls), say("watch.over")),
    ]
    begun = (replace(m, should=m.should[0].upper() + m.should[1:]) for m in told)
    return sorted(begun, key=lambda moment: moment.second)


def _down(seen: Watch) -> Iterator[Moment]:
    """Tell when each piece of the plan comes down, by name where there are several."""
    planned = [fall for fall in seen.falls if fall.works]
    for fall in planned:
        name = f"{seen.voice.known('piece', fall.piece)} – " * (len(planned) > 1)
        down = seen.voice.say("watch.down", look=seen.look(fall))
        yield Moment(fall.first, name + down)
        if fall.deadly:
            yield _look_up([fall], seen)


def _opening(seen: Watch) -> Iterator[Moment]:
    """Tell of the opening, and of the fall when nothing opens."""
    fast, device = seen.fast, seen.first_device
    if fast is None or device is None:
        return
    say, there = seen.voice.say, seen.look(fast)
    # By the second that is called: a fraction later, another call would come between.
    by = None if seen.opens_by is None else math.floor(seen.opens_by)
    yield Moment(fast.first, say("watch.hits", look=there), failed=True)
    if by is None or by > fast.first - CALL:
        yield _look_up([fast], seen)
    if by is not None:
        call = say("watch.free")
        if by < fast.first:
            # By the second that runs beside it: what is left would be true at its first alone.
            call = say(
                "watch.not_open", look=there, time=seen.voice.seconds(fast.first)
            )
        opens = say("watch.open", device=say(f"device.{device.kind}"))
        yield Moment(by, opens, call)


def _free(seen: Watch) -> Iterator[Moment]:
    """Tell of every piece when it can strike soonest and hardest, and to look up before."""
    there = seen.look(seen.fast) if seen.fast and seen.first_device else None
    rows: dict[tuple[int, str], list[Fall]] = {}
    other = other_side(seen)  # what all are told to look for is called too
    found = arrivals(seen.falls)
    for fall in [*found, *([other] if other and other not in found else [])]:
        look = seen.look(fall)
        told_of = fall.unopened and look == there
        if fall.first > CALL and not fall.works and not told_of:
            rows.setdefault((math.floor(fall.first), look), []).append(fall)
    for (second, look), falling in rows.items():
        up = _look_up(falling, seen)
        if other and falling == [other]:  # by the word that all were told before
            when = case_when(other.case, seen.voice)
            text = f"{up.should.removesuffix('.')} – {when[0].lower()}{when[1:]}."
            up = replace(up, should=text)
        yield up
        deadly = [fall for fall in falling if fall.deadly]
        if deadly:
            names = _names(deadly, seen.voice)
            words = seen.voice.say("watch.strikes", pieces=names, look=look)
            yield Moment(second, words, failed=True)


def _look_up(falling: list[Fall], seen: Watch) -> Moment:
    """Tell the crowd to look up before something comes down, all of it at one place."""
    first = min(fall.first for fall in falling)
    works = any(fall.works for fall in falling)
    should = seen.voice.say(
        "watch.look_up" if works else "watch.look_up_failed",
        look=seen.look(falling[0]),
        pieces=_names(falling, seen.voice),
        time=seen.voice.seconds(first),
    )
    call = seen.voice.say("watch.free")
    return Moment(max(0.0, math.floor(first) - CALL), should, call, failed=not works)


def _names(falling: list[Fall], voice: Voice) -> str:
    return ", ".join(short_name(fall.piece, voice) for fall in falling)
