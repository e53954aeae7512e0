"""Plans in words: the tables, lines and pages of aims, limits, layouts and seasons."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from datetime import timedelta
from typing import Any, Final

from driftmap.air.wind import MAST, WindProfile
from driftmap.core.units import show
from driftmap.ground.areas import Site
from driftmap.planning.aim import Aim
from driftmap.planning.layout import Place
from driftmap.planning.season import SeasonHour
from driftmap.planning.shares import by_month_and_hour
from driftmap.planning.windlimits import DirectionLimit
from driftmap.report import sketches
from driftmap.report.page import (
    governing,
    page,
    paragraphs,
    printable,
    table,
    verdict_word,
)
from driftmap.report.sentences import case_words, sentence, subject
from driftmap.report.terminal import aligned
from driftmap.report.voice import Voice
from driftmap.report.wind_text import flown_in
from driftmap.report.words import isolate, least_told, most_told
from driftmap.verdict.assessment import Setup
from driftmap.verdict.check import Check

_MOST_WINDS: Final = 6  # told one by one


def _plan(
    title: str,
    blocks: Sequence[str],
    data: Mapping[str, Any],
    voice: Voice,
    about: Sequence[str] = (),
) -> str:
    """Write a page with all that governs a plan."""
    return page(
        title,
        [*paragraphs(about), *blocks],
        voice,
        assumed=data["assumed"],
        questions=data["questions_set_aside"],
        governs=governing(data, voice),
        answer=data["in_brief"],
    )


def _drawn(data: Mapping[str, Any], voice: Voice, *blocks: str) -> list[str]:
    """Give the picture of a plan with its key; of too few flights a sentence in its place."""
    if data["too_few"]:
        return [f"<p>{printable(voice.say('plan.not_drawn'))}</p>"]
    return list(blocks)


_AIM_HEAD: Final = (
    "rail",
    "verdict",
    "worst",
    "outside",
    "over_wind",
    "over",
    "held_by",
)


def aim_told(rows: Sequence[Sequence[str]], tried: int) -> str:
    """Write the table of aims for a terminal."""
    return (
        f"{aligned(rows)}\n\n{tried} aims tried. Aim where the code lets you, clear of "
        "people."
    )


def aim_rows(
    planned: Aim, best: Sequence[Aim], voice: Voice, *, held: bool
) -> list[list[str]]:
    """Give a row to the rail as planned, and one to each of the best."""
    first = _aim_row(planned, held, voice)
    first[0] = voice.say("plan.as_planned", rail=first[0])
    head = [voice.say(f"plan.{key}") for key in _AIM_HEAD]
    return [head, first, *(_aim_row(aim, held, voice) for aim in best)]


def _aim_row(aim: Aim, held: bool, voice: Voice) -> list[str]:
    (stray, _, most), blocks = aim.trial.stray, aim.trial.blocks
    worst, margin = aim.worst_failure, aim.rail_margin
    over = (
        voice.say("plan.seen_over", area=name, share=voice.percent(share))
        for name, share in aim.over
    )
    return [
        _rail(aim, voice),
        verdict_word(aim.trial.verdict, voice, conditional=held),
        "" if worst is None else _worst_told(worst, voice),
        voice.percent(stray)
        if stray
        else voice.say("plan.under", share=voice.percent(most)),
        ""
        if margin is None or margin.interval is None
        else voice.number(f"{margin.interval[0]:.1f}"),
        ", ".join(over) or voice.say("plan.nobody"),
        sentence(blocks[0], voice) if blocks else aim.trial.problem,
    ]


def _worst_told(check: Check, voice: Voice) -> str:
    """Tell the failure that most often lands among people; one never seen as its bound."""
    share = voice.percent(check.value or 0.0)
    if not check.value:
        _, most = check.interval or (0.0, 1.0)
        share = voice.say("plan.under", share=voice.percent(most, bound=True))
    return f"{share} {check.area}: {case_words(check.case, voice)}"


def _rail(aim: Aim, voice: Voice) -> str:
    tilt = voice.number(f"{aim.tilt_deg:.1f}°")
    if not aim.tilt_deg:
        return tilt
    if aim.azimuth_deg is None:
        return voice.say("plan.into_wind", tilt=tilt)
    return voice.say("plan.toward", tilt=tilt, bearing=f"{aim.azimuth_deg:03.0f}°")


def aim_page(
    data: dict[str, Any],
    rows: list[list[str]],
    setup: Setup,
    wind: WindProfile,
    voice: Voice,
) -> str:
    """Write the page of aims."""
    when = setup.answers.when if setup.answers else None
    return _plan(
        voice.say("plan.aim_title", flight=data["flight"], site=data["site"]),
        [table(rows, voice), f"<p>{printable(voice.say('plan.aim_where'))}</p>"],
        data,
        voice,
        about=flown_in(wind, when, voice),
    )


def none_go(found: Sequence[DirectionLimit], voice: Voice) -> list[str]:
    """Say it first where no wind is go."""
    count = sum(len(limit.tried) for limit in found)
    goes = any(limit.go for limit in found)
    return [] if goes else [voice.say("plan.no_wind_goes", count=str(count))]


def limits_rows(
    found: Sequence[DirectionLimit], share: float, held: Sequence[str], voice: Voice
) -> list[list[str]]:
    """Give a row to each direction."""

    def speed(value: float, toward: Callable[..., float] = most_told) -> str:
        told = toward(value, voice.units, 0.1)  # never milder than what was judged
        return voice.number(show(told, "speed", voice.units, digits=1))

    below_all = "go_if_below" if held else "go_below"
    keys = ("wind_from", below_all, "at_head", "also_go", "held_by")
    height = voice.distance(MAST)
    rows = [[voice.say(f"plan.{key}", height=height) for key in keys]]
    for limit in found:
        below = limit.go_below
        most, head = voice.say("plan.not_known"), ""
        if below is not None:
            most = speed(below) if below else voice.say("plan.not_go")
            head = speed(below * share) if below else ""
        others = [span for span in limit.go if not limit.from_lightest(span)]
        also = ", ".join(
            voice.say("figure.span", low=speed(a, least_told), high=speed(b))
            for a, b in others
        )
        way = voice.bearing(math.radians(limit.from_deg))
        rows.append(
            [way, most, head, also, limit.problem or subject(limit.held_by, voice)]
        )
    # A column of nothing would push what holds off a phone.
    kept = [i for i in range(len(keys)) if any(row[i] for row in rows[1:])]
    return [[row[i] for i in kept] for row in rows]


def limits_page(
    data: dict[str, Any],
    found: Sequence[DirectionLimit],
    most: float,
    rows: list[list[str]],
    voice: Voice,
) -> str:
    """Write the page of limits."""
    how = voice.say("plan.limits_how", height=voice.distance(MAST))
    text = f"<p>{printable(how)}</p>"
    return _plan(
        voice.say("plan.limits_title", flight=data["flight"], site=data["site"]),
        [
            *_drawn(
                data,
                voice,
                sketches.dial_svg(found, most, voice),
                *sketches.held_key((sketches.beyond(x, voice) for x in found), voice),
                text,
            ),
            table(rows, voice),
        ],
        data,
        voice,
    )


def layout_told(
    pads: Sequence[Place],
    stands: Mapping[str, Sequence[Place]],
    best: int,
    voice: Voice,
) -> str:
    """Write the pads and places for people for a terminal."""
    barred = sum(bool(p.broken) for p in pads)
    blocks = [
        f"{len(pads)} pads tried, {barred} of them barred by rules on distances.",
        "",
        aligned(layout_rows(voice.say("plan.pad"), pads, best, voice)),
    ]
    drawn = next(p for p in pads if p.shift == 0)
    if drawn.broken:
        blocks.append(f"The pad as drawn is barred: {drawn.broken[0]}")
    for name, places in stands.items():
        blocks += [
            "",
            aligned(
                layout_rows(voice.say("plan.middle_of", area=name), places, best, voice)
            ),
        ]
    return "\n".join(blocks)


def layout_rows(
    what: str, places: Sequence[Place], best: int, voice: Voice
) -> list[list[str]]:
    """Give a row to each of the best places, and one to that as drawn; ``what``: they are."""
    keys = ("go_in", "hits", "people", "edge", "largest", "held_by")
    rows = [[what, *(voice.say(f"plan.{key}") for key in keys)]]
    chosen = [p for p in places[:best] if not p.broken]
    chosen += [p for p in places if p.shift == 0 and p not in chosen and not p.broken]
    for place in chosen:
        room = place.capacity
        where = voice.say(
            "figure.toward",
            distance=voice.exact_away(math.hypot(place.east, place.north)),
            compass=voice.bearing(math.atan2(place.east, place.north)),
        )
        rows.append(
            [
                voice.say("plan.as_drawn") if place.shift == 0 else where,
                voice.percent(place.go) + (" *" if place.unknown else ""),
                voice.number(f"{place.hazard:.2g}"),
                voice.exact_away(place.to_people),
                voice.exact_away(place.to_boundary),
                ""
                if room is None
                else _largest(room.motor_class, room.altitude, voice),
                subject(place.held_by, voice),
            ]
        )
    return rows


def _largest(motor: str, altitude: float, voice: Voice) -> str:
    if not motor:
        return voice.say("plan.none")
    return f"{motor}, {voice.exact_distance(altitude)}"


def layout_page(
    data: dict[str, Any],
    site: Site,
    pads: Sequence[Place],
    stands: Mapping[str, Sequence[Place]],
    best: int,
    voice: Voice,
) -> str:
    """Write the page of a layout."""
    how = f"<p>{printable(voice.say('plan.layout_how'))}</p>"
    blocks: list[str] = []
    for name, places in {"": pads, **stands}.items():
        drawn = sketches.layout_svg(site, places, best, voice)
        key = sketches.held_key((sketches.held_of(p, voice) for p in places), voice)
        what = voice.say("plan.middle" if name else "plan.pad")
        blocks += [
            *([f"<h2>{printable(name)}</h2>"] if name else []),
            *_drawn(data, voice, *([] if name else [how]), drawn, *key),
            table(layout_rows(what, places, best, voice), voice),
        ]
    about = voice.say(
        "plan.layout_of",
        flights=", ".join(map(isolate, data["flights"])),
        winds=_winds(data["winds"], voice),
    )
    title = voice.say("plan.layout_title", site=site.name)
    return _plan(title, blocks, data, voice, about=[about])


def _winds(rose: Sequence[Mapping[str, float]], voice: Voice) -> str:
    """Name the winds of a layout; of many, how many there are."""
    if len(rose) > _MOST_WINDS:
        return voice.count(len(rose))
    return "; ".join(
        f"{voice.speed(one['speed_mps'])}, {voice.bearing(math.radians(one['from_deg']))}"
        for one in rose
    )


def season_told(data: dict[str, Any], voice: Voice) -> str:
    """Write a season by month for a terminal."""
    rows = _season_rows(data, voice)
    bins, what = data["bins"], data["counted"]
    lines = [aligned(rows), ""]
    if bins:
        lines.append(
            f"Bins: of {bins['checked_directly']} readings flown as they are, by their own sun, "
            f"{bins['same_finding']} had the verdict of their bin; {bins['wrongly_go']} "
            "were not go where the bin is."
        )
    lines.append("What most often spoke against a go:")
    lines += [
        f"  {b['hours']:,} of the {what}  {b['what']}" for b in data["blocked_by"][:5]
    ]
    return "\n".join(lines)


def _season_rows(data: dict[str, Any], voice: Voice) -> list[list[str]]:
    what = voice.say(f"plan.{data['counted']}")
    head = [
        voice.say("plan.month"),
        voice.say("plan.go_if_low" if data["conditions"] else "plan.go"),
        voice.say("plan.known_between", what=what),
        voice.say("plan.hold"),
        voice.say("plan.no_go"),
        voice.say("plan.known_of", what=what),
    ]
    names = sketches.months(voice)
    rows = [_season_row(names[m["month"] - 1], m, voice) for m in data["months"]]
    return [head, *rows, _season_row(voice.say("plan.all"), data["all"], voice)]


def _season_row(name: str, share: dict[str, Any], voice: Voice) -> list[str]:
    known, go = share["known"], share["go_share_of_known"]
    of = voice.say("plan.of", known=voice.count(known), all=voice.count(share["hours"]))
    if go is None:
        return [name, voice.say("plan.not_known"), "", "", "", of]
    return [
        name,
        voice.percent(go),
        voice.span(*(voice.percent(end) for end in share["interval"])),
        voice.percent(share["hold"] / known),
        voice.percent(share["no_go"] / known),
        of,
    ]


def season_page(
    data: dict[str, Any], found: Sequence[SeasonHour], offset: timedelta, voice: Voice
) -> str:
    """Write the page of a season."""
    zone = f"UTC{data['utc_offset_h']:+g} h" if data["utc_offset_h"] else "UTC"
    what = voice.say(f"plan.{data['counted']}")
    text = printable(voice.say("plan.season_how", what=what, zone=zone))
    return _plan(
        voice.say("plan.season_title", flight=data["flight"], site=data["site"]),
        [
            *_drawn(
                data,
                voice,
                sketches.season_svg(by_month_and_hour(found, offset=offset), voice),
                f"<p>{text}</p>",
            ),
            table(_season_rows(data, voice), voice),
        ],
        data,
        voice,
    )
