"""Plans as people and programs take them: tables, lines, pages and data of each."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from functools import partial
from typing import Any, Final

from driftmap.air.wind import MAST, WindProfile
from driftmap.core.units import show
from driftmap.planning.aim import Aim
from driftmap.planning.assumed_winds import METER_HEIGHT, Supposition, suppose
from driftmap.planning.documents import (
    aim_document,
    heading,
    limits_document,
    season_document,
)
from driftmap.planning.season import Agreement, SeasonHour
from driftmap.planning.shares import by_month_and_hour
from driftmap.planning.trial import Basis
from driftmap.planning.windlimits import DirectionLimit
from driftmap.report import sketches
from driftmap.report.candidates import aim_held, aim_svg, rail_text
from driftmap.report.page import (
    governing,
    page,
    paragraphs,
    printable,
    table,
    verdict_word,
)
from driftmap.report.plan_answers import (
    aims_brief,
    answered,
    limits_brief,
    none_go,
    season_brief,
)
from driftmap.report.sentences import sentence, subject
from driftmap.report.terminal import aligned
from driftmap.report.voice import Voice
from driftmap.report.wind_text import flown_in
from driftmap.report.words import rounded_down, rounded_up
from driftmap.verdict.check import least_to_settle
from driftmap.verdict.setup import Setup


@dataclass(frozen=True, slots=True)
class PlanReport:
    """A plan: its `data`, its `page` and what is `told` of it in a terminal, `first` before all.

    `more` are data that lie beside the page, by the names of their files.
    """

    name: str
    data: dict[str, Any]
    page: Callable[[], str]
    told: Callable[[], str]
    first: Sequence[str] = ()
    more: Mapping[str, Callable[[], Any]] = field(default_factory=dict)


def plan_page(
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


def drawn_of(data: Mapping[str, Any], voice: Voice, *blocks: str) -> list[str]:
    """Return the picture of a plan with its key; of too few flights a sentence in its place."""
    if data["too_few"]:
        return [f"<p>{printable(voice.say('plan.not_drawn'))}</p>"]
    return list(blocks)


_AIM_HEAD: Final = (
    *("rail", "verdict", "worst", "outside", "over_wind", "over"),
    "held_by",
)


def aim_plan(
    setup: Setup,
    wind: WindProfile,
    basis: Basis,
    found: tuple[Aim, Sequence[Aim]],
    best: int,
    voice: Voice,
) -> PlanReport:
    """Tell the best of the aims that were tried beside the planned one (`best_aims`)."""
    planned, aims = found
    head = heading(setup, (*wind.assumed, *basis.assumed), basis)
    data = aim_document(head, planned, aims, best)
    rows = aim_rows(planned, aims[:best], voice, held=bool(basis.conditions))
    # Its words themselves say that a go depends on something.
    data["in_brief"] = answered(data, aims_brief(rows, voice), voice, goes=False)
    tried = [aim.trial for aim in (planned, *aims)]
    held = (trial.checks for trial in tried if trial.verdict == "hold")
    goes = any(trial.verdict == "go" for trial in tried)
    more = 0 if goes or data["too_few"] else least_to_settle(held, setup.samples)
    few = [voice.say("plan.more_flights", needed=str(more))] if more else []

    def page() -> str:
        when = setup.answers.when if setup.answers else None
        return plan_page(
            voice.say("plan.aim_title", flight=data["flight"], site=data["site"]),
            [
                *_aim_drawn(setup, found, best, data, voice),
                table(rows, voice),
                f"<p>{printable(voice.say('plan.aim_where'))}</p>",
            ],
            data,
            voice,
            about=[*few, *flown_in(wind, when, voice)],
        )

    def told() -> str:
        where = "Aim where the code lets you, clear of people."
        lines = [aligned(rows), "", f"{len(aims)} aims tried. {where}", *few]
        return "\n".join(lines)

    return PlanReport("aim", data, page, told)


def _aim_drawn(
    setup: Setup,
    found: tuple[Aim, Sequence[Aim]],
    best: int,
    data: Mapping[str, Any],
    voice: Voice,
) -> list[str]:
    """Draw the aims over the ground, where it is known where they come down."""
    planned, aims = found
    drawn = aim_svg(setup.site, planned, aims, best, voice)
    if not drawn:
        return []
    held = (aim_held(aim, voice) for aim in (planned, *aims))
    key = sketches.held_key(held, voice)
    words = (("go", "go"), ("hold", "hold"), ("nogo", "no-go"))
    how = {key: voice.say(f"verdict.{word}") for key, word in words}
    text = f"<p>{printable(voice.say('plan.aim_how', **how))}</p>"
    return drawn_of(data, voice, text, drawn, *key)


def aim_rows(
    planned: Aim, best: Sequence[Aim], voice: Voice, *, held: bool
) -> list[list[str]]:
    """Give a row to the rail as planned, and one to each of the best."""
    first = _aim_row(planned, held, voice)
    first[0] = voice.say("plan.as_planned", rail=first[0])
    head = [voice.say(f"plan.{key}") for key in _AIM_HEAD]
    return [head, first, *(_aim_row(aim, held, voice) for aim in best)]


def _aim_row(aim: Aim, held: bool, voice: Voice) -> list[str]:
    stray, blocks = aim.trial.stray, aim.trial.blocks
    worst, margin = aim.worst_failure, aim.rail_margin
    over = (
        voice.say("plan.seen_over", area=name, share=voice.percent(share))
        for name, share in aim.over
    )
    return [
        rail_text(aim, voice),
        verdict_word(aim.trial.verdict, voice, conditional=held),
        "" if worst is None else sentence(worst, voice),
        voice.often(stray.estimate)
        if stray.estimate
        else voice.say("plan.under", share=voice.percent(stray.upper)),
        ""
        if margin is None or margin.interval is None
        else voice.say("plan.times", count=voice.number(f"{margin.interval[0]:.1f}")),
        ", ".join(over) or voice.say("plan.nobody"),
        sentence(blocks[0], voice) if blocks else aim.trial.problem,
    ]


def limits_plan(
    setup: Setup,
    supposition: Supposition,
    basis: Basis,
    found: Sequence[DirectionLimit],
    most: float,
    voice: Voice,
) -> PlanReport:
    """Tell the wind limits of directions evenly round; ``most``: speed tried [m s⁻¹]."""
    note = (
        f"each direction stands for {180 / len(found):.3g}° to either side; what is told as "
        "go was judged as a whole, so that no wind in it is judged milder than by itself; "
        "what is not told as go may still be go"
    )
    suns = supposition.told_by_any_sun(suppose(supposition, 90.0, most).assumed)
    head = heading(setup, [note, *suns, *basis.assumed], basis)
    share = 1 / supposition.over(METER_HEIGHT)
    data = limits_document(head, found, share)
    rows = limits_rows(found, share, head["conditions"], voice)
    goes, brief = any(x.go for x in found), limits_brief(found, share, voice)
    data["in_brief"] = answered(data, brief, voice, goes=goes)
    # Of too few flights that alone is to change.
    told = none_go((sketches.beyond(limit, voice) for limit in found), voice)
    change = [] if goes or data["too_few"] else [told]

    def page() -> str:
        how = voice.say("plan.limits_how")
        beyond = (sketches.beyond(limit, voice) for limit in found)
        drawn = (
            sketches.dial_svg(found, most, voice, share),
            *sketches.held_key(beyond, voice),
            f"<p>{printable(how)}</p>",
        )
        title = voice.say("plan.limits_title", flight=data["flight"], site=data["site"])
        blocks = [*drawn_of(data, voice, *drawn), table(rows, voice)]
        return plan_page(title, blocks, data, voice, about=change)

    count = sum(len(limit.tried) for limit in found)
    first = [] if goes else [voice.say("plan.no_wind_goes", count=str(count)), *change]
    return PlanReport("limits", data, page, partial(aligned, rows), first)


def limits_rows(
    found: Sequence[DirectionLimit], share: float, held: Sequence[str], voice: Voice
) -> list[list[str]]:
    """Give a row to each direction; the wind as a meter held by hand reads it comes first."""

    def speed(value: float, toward: Callable[..., float] = rounded_down) -> str:
        told = toward(value, voice.units, 0.1)  # never milder than what was judged
        return voice.number(show(told, "speed", voice.units, digits=1))

    below_all = "go_if_below" if held else "go_below"
    keys = ("wind_from", below_all, "at_head", "also_go", "held_by")
    height = voice.distance(MAST)
    rows = [[voice.say(f"plan.{key}", height=height) for key in keys]]
    for limit in found:
        below = limit.go_below
        head, mast = voice.say("plan.not_known"), ""
        if below is not None:
            head = speed(below * share) if below else voice.say("plan.not_go")
            mast = speed(below) if below else ""
        others = [span for span in limit.go if not limit.from_lightest(span)]
        also = ", ".join(
            voice.say(
                "figure.span", low=speed(a * share, rounded_up), high=speed(b * share)
            )
            for a, b in others
        )
        way = voice.bearing(math.radians(limit.from_deg))
        rows.append(
            [way, head, mast, also, limit.problem or subject(limit.held_by, voice)]
        )
    # A column of nothing would push what holds off a phone.
    kept = [i for i in range(len(keys)) if any(row[i] for row in rows[1:])]
    return [[row[i] for i in kept] for row in rows]


def season_plan(
    head: Mapping[str, Any],
    found: Sequence[SeasonHour],
    same: Agreement | None,
    offset: timedelta,
    voice: Voice,
) -> PlanReport:
    """Tell which share of a season's hours were go; as `season_document` takes them."""
    data = season_document(head, found, same, offset)
    brief = season_brief(data, sketches.months(voice), voice)
    goes = bool(data["all"]["go_share_of_known"])
    data["in_brief"] = answered(data, brief, voice, goes=goes)

    def page() -> str:
        zone = f"UTC{data['utc_offset_h']:+g} h" if data["utc_offset_h"] else "UTC"
        what = voice.say(f"plan.{data['counted']}")
        drawn = (
            sketches.season_svg(by_month_and_hour(found, offset=offset), voice),
            f"<p>{printable(voice.say('plan.season_how', what=what, zone=zone))}</p>",
        )
        title = voice.say("plan.season_title", flight=data["flight"], site=data["site"])
        blocks = [
            *drawn_of(data, voice, *drawn),
            table(_season_rows(data, voice), voice),
            *_season_held(data, voice),
        ]
        change = voice.say("plan.may_change")
        about = [] if goes or data["too_few"] else [change]
        return plan_page(title, blocks, data, voice, about=about)

    return PlanReport("season", data, page, partial(_season_told, data, voice))


def _season_held(data: Mapping[str, Any], voice: Voice) -> list[str]:
    """List what most often spoke against a go, in the words of the verdicts."""
    rows = "".join(
        f"<li>{printable(one['what'])} ({voice.count(one['hours'])}×)</li>"
        for one in data["blocked_by"][:_MOST_HELD]
    )
    title = printable(voice.say("plan.held_by"))
    return [f'<h2>{title}</h2><ul lang="en" dir="ltr">{rows}</ul>'] if rows else []


_MOST_HELD: Final = 5


def _season_told(data: dict[str, Any], voice: Voice) -> str:
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
        f"  {b['hours']:,} of the {what}  {b['what']}"
        for b in data["blocked_by"][:_MOST_HELD]
    ]
    return "\n".join(lines)


def _season_rows(data: dict[str, Any], voice: Voice) -> list[list[str]]:
    what = voice.say(f"plan.{data['counted']}")
    head = [
        voice.say("plan.month"),
        voice.say("plan.go_if_low" if data["conditions"] else "plan.go"),
        voice.say("plan.known_between"),
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
