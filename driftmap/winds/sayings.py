"""What a wind is called otherwise: compass points, windsocks, breezes, kites."""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import Final

__all__ = ["COMPASS", "LONG", "POINTS", "SPEED", "plainly"]

POINTS: Final = (
    *("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE"),
    *("S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"),
)
LONG: Final = MappingProxyType(
    {
        "NORTH": "N",
        "NORTHEAST": "NE",
        "EAST": "E",
        "SOUTHEAST": "SE",
        "SOUTH": "S",
        "SOUTHWEST": "SW",
        "WEST": "W",
        "NORTHWEST": "NW",
        "NORTHNORTHEAST": "NNE",
        "EASTNORTHEAST": "ENE",
        "EASTSOUTHEAST": "ESE",
        "SOUTHSOUTHEAST": "SSE",
        "SOUTHSOUTHWEST": "SSW",
        "WESTSOUTHWEST": "WSW",
        "WESTNORTHWEST": "WNW",
        "NORTHNORTHWEST": "NNW",
    }
)
SPEED: Final = r"\d+(?:[.,]\d*)?|\.\d+"
COMPASS: Final = "|".join(sorted((*POINTS, *LONG), key=lambda name: (-len(name), name)))
_SOCK: Final = re.compile(
    r"^(?:wind\s?)?sock\s+(?:is\s+|at\s+)?(?P<out>limp|down|(?:a\s+)?quarter|half|"
    r"three[ -]quarters?|[13]/4|1/2|full(?:y)?|straight|[0-5]\s*(?:(?:of|/)\s*5|stripes?))(?:\s+(?:out|up|stripes))?\b",
    re.IGNORECASE,
)
_OUT: Final = MappingProxyType(
    {
        **dict.fromkeys(("limp", "down", "0"), (0.0, 3.0)),
        **dict.fromkeys(("quarter", "a quarter", "1/4"), (2.0, 6.0)),
        **dict.fromkeys(("half", "1/2"), (5.0, 10.0)),
        **dict.fromkeys(("three quarter", "three quarters", "3/4"), (8.0, 14.0)),
        **dict.fromkeys(("full", "fully", "straight", "5"), (15.0, 25.0)),
        **{str(i): (3.0 * i - 3.0, 3.0 * i + 3.0) for i in range(1, 5)},
    }
)
"""Wind for how far a windsock stands out [kt]: a fifth for each 3 kt, straight at 15 kt or
more (FAA AC 150/5345-27, from memory); how well an eye tells that, assumed."""

_BREEZES: Final = (
    *("calm", "light air", "light breeze", "gentle breeze", "moderate breeze"),
    *("fresh breeze", "strong breeze", "near gale", "gale"),
)
"""Names of the forces 0 to 8 (WMO code table 1100, from memory)."""

_UNIT: Final = r"mph|kts?|knots?|m/s|mps|km/h|kmh|kph"

_PLAIN: Final = (
    *(
        (re.compile(form, re.I), plain)
        for form, plain in (
            (r"^(?:surface\s+|current\s+)?winds?\s*[:=,]\s*", ""),
            (r"\bm\.p\.h\.?|\bmiles?\s+(?:per|an)\s+hour\b", "mph"),
            (r"\bmet(?:er|re)s?\s+(?:per|a)\s+second\b", "m/s"),
            (r"\bkilomet(?:er|re)s?\s+(?:per|an)\s+hour\b", "km/h"),
            (rf"\b({COMPASS})\s*@\s*(?={SPEED})", r"\1 "),
            (r"\s*\(\s*(gusts?[^()]*)\)", r", \1"),
            (r"\s*\|\s*(gusts?):?", r", \1"),
            (r"\bout\s+of\s+(?=(?:the\s+)?[a-z])", "from "),
            (r"(?<=\d)(\s*(?:m|ft))\s+(?:agl|above\s+(?:the\s+)?ground)\b", r"\1"),
            (rf"({SPEED})\s*({_UNIT})\s*@\s*(\d{{3}})\b", r"\1 \2 from \3"),
            (rf"({SPEED})\s*({_UNIT})\s+gusts?\s*$", r"gusting \1 \2"),
            (
                r"^(?:light|gentle|moderate|fresh|strong)(?:\s+(?:airs?|breeze|winds?))?[,:]?"
                rf"\s+(?=.*(?:{SPEED})\s*(?:{_UNIT})\b)",
                "",
            ),
            (
                rf"^(?:avg|average|mean)\s*({SPEED})\s*(?:{_UNIT})?,?\s*(?:max|peak|gusts?)"
                rf"\s*({SPEED})\s*({_UNIT})\b",
                r"\1 \3 gusting \2 \3",
            ),
            (
                r"\b(\d{1,2})\s*(?:-|–|to)\s*(\d{1,2})\s*(?:bft|beaufort)\b",
                r"force \1-\2",
            ),
            (r"\s*&\s*", " and "),
            (
                rf"(?:\b(?:about|around|approx(?:imately|\.)?|roughly)\s+|~\s*)(?={SPEED})",
                "",
            ),
            (r"\bas\s+(?:high|strong|much)\s+as\b", "to"),
            (r"\bhalf\s+an\s+hour\s+ago\b", "30 min ago"),
            (r"\ban?\s+hour\s+ago\b", "1 h ago"),
            (rf"({SPEED})\s*G\s*({SPEED})\s*({_UNIT})\b", r"\1 \3 gusting \2 \3"),
            (
                rf"^(?:vrb|variable)\s*(?:at\s+)?({SPEED})\s*({_UNIT})\b",
                r"\1 \2 variable",
            ),
            (
                r"^(?:(?:dead|flat|quite|completely)\s+calm|calm\s+(?:winds?|air)|still\s+air|"
                r"(?:no|zero)\s+winds?(?:\s+at\s+all)?)\b",
                "calm",
            ),
            (
                r"\b(?:(north|east|south|west)[\s-]+)?(north|south)[\s-]*(east|west)(?=erly\b|\b)",
                r"\1\2\3",
            ),
        )
    ),
    (
        re.compile(
            r"\b(?:by|from|with)\s+(?:a\s+)?(?:kite|drone|mast)\b|^(?:kite|drone|mast)\s*:?\s*",
            re.I,
        ),
        "",
    ),
    (
        re.compile(
            rf"^(?:winds?\s+)?(?:from\s+(?:the\s+)?)?({COMPASS})(?:erly)?\s+(?:winds?\s+)?"
            rf"(?:at\s+)?(?={SPEED})",
            re.I,
        ),
        r"\1 ",
    ),
    (re.compile(r"\b(\d{1,2})\s*(?:bft|beaufort)\b", re.I), r"force \1"),
    *(
        (re.compile(rf"\b{name}\b", re.I), f"force {force}")
        for force, name in enumerate(_BREEZES)
        if force > 1
    ),
)
"""What is said otherwise, and how it is read."""


def plainly(text: str) -> tuple[str, str]:
    """Say in plain words what was said of a sock, a breeze by its name, or a kite.

    The second text is what was said of a sock, if anything.
    """
    sock = _SOCK.match(text)
    if sock:
        out = re.sub(r"\s*(?:(?:of|/)\s*5|stripes?)$", "", sock["out"].lower())
        low, high = _OUT[" ".join(out.replace("-", " ").split())]
        return f"{low:g} to {high:g} kt {text[sock.end() :]}", sock[0]
    for form, plain in _PLAIN:
        text = form.sub(plain, text).strip(" ,")
    return text, ""
