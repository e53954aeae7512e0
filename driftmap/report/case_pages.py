"""What can go wrong, and which device to choose, in words for terminal and page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final

from driftmap.air.wind import WindProfile
from driftmap.core.errors import visible
from driftmap.core.units import DIMENSIONS
from driftmap.hazard.zones import grade
from driftmap.report.page import page, paragraphs, printable, table, verdict_word
from driftmap.report.reasons import worst_first
from driftmap.report.sentences import case_words, sentence
from driftmap.report.terminal import aligned
from driftmap.report.voice import Voice
from driftmap.report.wind_text import flown_in, wind_in_words
from driftmap.report.words import in_units_of, isolate
from driftmap.rocket.alternatives import Made, made_up
from driftmap.rocket.likelihood import BARE, WORKS
from driftmap.verdict.assessment import CAUTIONS
from driftmap.verdict.compared import Compared

_MOST_INPUTS: Final = 8
_MOST_CASES: Final = 9  # on a page, until the rest is asked for

_MADE_UP: Final = (
    "Made up from the plan; put [[alternative]] tables in the flight file."
)


def _case_rows(data: dict[str, Any], voice: Voice, *, by_key: bool) -> list[list[str]]:
    """Give a row a body; a page names each case in words, a terminal by its key."""
    keys = ("happens", "likely", "let_go", "comes_down", "speed", "energy")
    rows = [[voice.say(f"plan.{key}") for key in keys]]
    for case in sorted(data["cases"], key=_worst_case_first):
        told = (
            case["name"] if by_key else case_words(case["name"], voice, case["cause"])
        )
        for i, body in enumerate(case["bodies"]):
            name = voice.known("piece", body["name"])
            rows.append(
                [
                    "" if i else told,
                    "" if i else voice.often(case["probability"]),
                    "" if i else voice.say(f"plan.{case['let_go']}"),
                    f"{body['count']} × {name}" if body["count"] > 1 else name,
                    voice.shown(body["speed_mps"], "descent"),
                    voice.energy(body["energy_j"]),
                ]
            )
    return rows


def _worst_case_first(case: dict[str, Any]) -> tuple[bool, int, float]:
    """Order what happens: as planned, then what kills, what injures and the rest, the likeliest first."""
    hardest = max((body["energy_j"] for body in case["bodies"]), default=0.0)
    harm = ("danger", "caution", None).index(grade(hardest))
    return case["name"] not in {WORKS, BARE}, harm, -case["probability"]


def _margins(data: dict[str, Any], voice: Voice) -> Iterator[str]:
    for m in data["margins"]:
        ends = [_amount(m[k], m["unit"], voice) for k in ("p50", "p5", "p95")]
        text = f"{_margin(m, voice)}: {ends[0]} ({voice.span(ends[1], ends[2])})"
        if m["against"] is not None:
            least = _amount(m["against"], m["unit"], voice)
            text = voice.say("margin.least", told=text, value=least)
        yield text


def _margin(margin: dict[str, Any], voice: Voice) -> str:
    if margin["piece"]:
        piece = voice.known("piece", margin["piece"])
        return voice.say(f"margin.{margin['kind']}", piece=piece)
    return voice.known("margin", margin["name"])


def cases_page(data: dict[str, Any], wind: WindProfile, voice: Voice) -> str:
    """Write the page of what can happen."""

    def items(lines: Iterable[str]) -> str:
        return f"<ul>{''.join(f'<li>{printable(line)}</li>' for line in lines)}</ul>"

    def title(key: str) -> str:
        return f"<h2>{printable(voice.say(f'plan.{key}'))}</h2>"

    blows, high, _ = wind_in_words(wind, voice)
    windows = [_window_line(one, voice) for one in data["windows"]]
    return page(
        voice.say("plan.cases_title", flight=data["flight"]),
        [
            *paragraphs([f"{blows} ({high})"]),
            table(_case_rows(data, voice, by_key=False), voice, most=_MOST_CASES),
            title("margins"),
            items(_margins(data, voice)),
            title("openings"),
            table(_openings(data["openings"], voice), voice),
            items([*windows, *_size_lines(data["sizes"], voice)]),
        ],
        voice,
        assumed=data["assumed"],
        governs=[
            ("", voice.say("plan.missing", what=text)) for text in data["missing"]
        ],
        answer=data["in_brief"],
    )


def cases_text(data: dict[str, Any], voice: Voice) -> str:
    """Write for a terminal what can happen, with margins and assumptions."""
    rows = _case_rows(data, voice, by_key=True)
    lines = [
        f"{visible(data['flight'])}, wind {visible(data['wind'])}",
        "",
        aligned(rows),
        "",
    ]
    lines.append("Margins (middle, and 5 to 95 % of flights):")
    lines += [f"  {line}" for line in _margins(data, voice)]
    lines += [
        "",
        "Openings (middle, and 95 % of flights below), whatever comes of them:",
    ]
    lines += ["", aligned(_openings(data["openings"], voice)), ""]
    openings = [_window_line(one, voice) for one in data["windows"]]
    lines += [f"  {line}" for line in (*openings, *_size_lines(data["sizes"], voice))]
    if data["inputs"]:
        lines += [
            "",
            "What moves the landing most when all goes as planned (one sigma):",
        ]
        for i in data["inputs"][:_MOST_INPUTS]:
            far = voice.exact_distance(i["metres"])
            lines.append(
                f"  {visible(i['name'])}: {far}, {i['share']:.0%} of the spread"
            )
    lines += [
        "",
        "Assumed; what the flight file states takes the place of its default:",
    ]
    lines += [
        f"  {visible(in_units_of(text, voice.units))}" for text in data["assumed"]
    ]
    lines += [f"NOT FLOWN: {visible(text)}" for text in data["missing"]]
    told = "\n".join([*lines, "", *(f"* {text}" for text in CAUTIONS)])
    return told.replace("\u00a0", " ")  # a terminal is read by scripts too


def _window_line(one: dict[str, Any], voice: Voice) -> str:
    """Say how early and how late about apogee a device may open."""
    ends = [
        voice.say(f"plan.{word}", time=voice.number(f"{one[key]:.2f} s"))
        for key, word in (("before_s", "before_top"), ("after_s", "after_top"))
        if one[key] is not None
    ]
    if len(ends) > 1:
        ends = [voice.say("plan.and", one=ends[0], other=ends[1])]
    device = voice.known("piece", one["device"])
    return voice.say("plan.window", device=device, ends="".join(ends))


def _size_lines(sizes: list[dict[str, Any]], voice: Voice) -> Iterator[str]:
    """Say how large a canopy must be for a few speeds of landing."""
    for one in sizes:
        speed = voice.shown(one["speed_mps"], "descent")
        text = voice.say("plan.no_canopy", speed=speed)
        if one["diameter_m"] is not None:
            size = _across(one["diameter_m"], voice)
            text = voice.say("plan.canopy", speed=speed, size=size)
        yield text


def _across(metres: float, voice: Voice) -> str:
    if voice.units == "us":
        return voice.number(f"{metres / DIMENSIONS['length']['in']:.0f} in")
    return voice.number(f"{metres:.2f} m")


def _openings(found: list[dict[str, Any]], voice: Voice) -> list[list[str]]:
    keys = ("opens", "when", "speed", "load", "over_weight", "snatch", "holds")
    rows = [[voice.say(f"plan.{key}") for key in keys]]
    for one in found:
        cells = [
            " / ".join(_amount(one[key][p], unit, voice) for p in ("p50", "p95"))
            for key, unit in (("speed_mps", "m/s"), ("load_n", "N"))
        ]
        heavy = " / ".join(f"{one['load_over_weight'][p]:.0f}" for p in ("p50", "p95"))
        strength = one["strength_n"]
        when = one["cause"]
        if when == WORKS:
            when = voice.say("plan.planned")
        elif voice.catalogue.language != "en":
            when = voice.known("case", when)
        rows.append(
            [
                voice.known("piece", one["device"]),
                when,
                *cells,
                voice.say("plan.times", count=heavy),
                voice.say("plan.to", value=_amount(one["snatch_n"]["p95"], "N", voice)),
                voice.say("plan.not_stated")
                if strength is None
                else _amount(strength, "N", voice),
            ]
        )
    return rows


def _amount(value: float, unit: str, voice: Voice) -> str:
    us = voice.units == "us"
    if unit == "m":
        return voice.exact_distance(value)
    if unit == "m/s":
        return voice.shown(value, "descent")
    if unit == "times":
        return voice.say("plan.times", count=voice.number(f"{value:.2f}"))
    forms = {
        ("N", True): f"{value / DIMENSIONS['force']['lbf']:,.0f} lbf",
        ("N", False): f"{value:,.0f} N",
        ("Pa", True): f"{value / DIMENSIONS['pressure']['psi']:,.2f} psi",
        ("Pa", False): f"{value / 1000:,.1f} kPa",
    }
    return voice.number(forms.get((unit, us), f"{value:.2f} {unit}".rstrip()))


def compare_text(data: dict[str, Any], rows: list[list[str]], voice: Voice) -> str:
    """Write alternatives side by side for a terminal."""
    early = [
        f"{row['name']}: {_window_line(window, voice)}"
        for row in data["alternatives"]
        for window in row["windows"]
    ]
    sizes = [f"  {line}" for line in _size_lines(data["sizes"], voice)]
    told = "\n".join(
        [
            aligned(rows),
            *(["", _MADE_UP] if data["made_up"] else []),
            *["", *sizes, "", *early, ""],
            *(f"* {text}" for text in CAUTIONS),
        ]
    )
    return told.replace("\u00a0", " ")


def compare_rows(
    rows: Iterable[dict[str, Any]], found: Iterable[Compared], voice: Voice
) -> list[list[str]]:
    """Give a row to each alternative, with the worst of what speaks against it."""
    keys = ("if_planned", "verdict", "drift", "time", "landing_speed", "energy")
    head = [voice.say(f"plan.{key}") for key in (*keys, "worst_area", "held_by")]
    head.insert(3, voice.say("map.within"))
    told, ways = [head], list(found)
    made = made_up(ways[0].assessment.flight)
    for row, one in zip(rows, ways, strict=True):
        hit = voice.share(
            row["worst_area_hit"], row["worst_area_interval"], row["flights"]
        )
        word = row["verdict"]
        told.append(
            [
                _alternative(made[one.name], voice) if one.name in made else one.name,
                verdict_word(
                    word.removesuffix(" if"), voice, conditional=word == "go if"
                ),
                voice.toward(row["mean_east_m"], row["mean_north_m"]),
                voice.exact_away(row["radius_90_m"]),
                voice.shown(row["time_s"]["p50"], "time"),
                voice.shown(row["impact_speed_mps"]["p50"], "descent"),
                voice.energy(row["energy_j"]["p50"]),
                hit.rpartition(":")[2].strip(),
                _against(one, voice),
            ]
        )
    return told


def _alternative(made: Made, voice: Voice) -> str:
    """Name what is made up from the plan in the reader's language and units."""
    return voice.say(
        f"alternative.{made.way}",
        device=voice.known("piece", made.device),
        height=voice.exact_distance(made.size),
        width=_across(made.size, voice),
        speed=voice.shown(made.speed, "descent"),
    )


def _against(one: Compared, voice: Voice) -> str:
    areas = one.assessment.site.areas
    people = {area.name for area in areas if area.occupied}
    held = worst_first(one.assessment.checks, people)
    if held and held[0].question:
        return voice.say("plan.asked", question=isolate(held[0].name))
    return sentence(held[0], voice) if held else ""


def compare_page(
    data: dict[str, Any], rows: list[list[str]], found: Sequence[Compared], voice: Voice
) -> str:
    """Write the page of alternatives."""
    sizes = _size_lines(data["sizes"], voice)
    lines = "".join(f"<li>{printable(line)}</li>" for line in sizes)
    heading = printable(voice.say("plan.which_canopy"))
    sized = [f"<h2>{heading}</h2><ul>{lines}</ul>"] if lines else []
    a = found[0].assessment
    asked = any(one["verdict"] == "go if" for one in data["alternatives"])
    means = (voice.say("plan.go_if"), voice.say("plan.if_answered"))
    return page(
        voice.say("plan.compare_title", flight=data["flight"], site=a.site.name),
        [
            *paragraphs(flown_in(a.wind, a.answers.when, voice)),
            table(rows, voice),
            *sized,
        ],
        voice,
        assumed=data["assumed"],
        governs=[means] if asked else [],
        answer=data["in_brief"],
    )
