"""What stands in the corners of the field's picture: north, scale and wind."""

from __future__ import annotations

from html import escape

from shapely.geometry.base import BaseGeometry

from driftmap.report.frames import SHEET, Frame
from driftmap.report.marks import ring_step
from driftmap.report.plates import Room, widths
from driftmap.report.voice import Voice
from driftmap.report.wind_text import CALM, where_read, wind_as_read
from driftmap.report.windsketch import broad_arrow
from driftmap.verdict.assessment import Assessment


def north_sign(voice: Voice, room: Room, sent: BaseGeometry) -> str:
    """Draw where north is, in a corner; ``sent``: where people are sent."""
    left, top, *_ = room.corner((62.0, 76.0), sent, "tr tl br bl")
    return (
        f'<g transform="translate({left:g} {top:g})"><rect class="corner" width="62" height="76"/>'
        '<g class="north" transform="translate(28 34)"><path d="M0 -24L11 14L0 6L-11 14Z"/>'
        f'<text y="34">{escape(voice.say("picture.north"))}</text></g></g>'
    )


def scale_bar(frame: Frame, voice: Voice, room: Room, sent: BaseGeometry) -> str:
    """Draw a bar of a round length, in a corner; ``sent``: where people are sent."""
    length = ring_step(frame.size[0] / 2 / frame.scale, voice.units)
    width, told = length * frame.scale, voice.distance(length)
    wide = 22 + width + widths(told, 12.0)
    left, top, *_ = room.corner((wide, 36.0), sent, "bl br tl tr")
    return (
        f'<g transform="translate({left:.0f} {top:g})"><rect class="corner" width="{wide:.0f}" height="36"/>'
        f'<g class="scale" transform="translate(14 22)"><path d="M0 -8V0H{width:.1f}V-8"/>'
        f'<text x="{width + 8:.1f}" y="0">{escape(told)}</text></g></g>'
    )


def wind_sign(a: Assessment, voice: Voice, room: Room, sent: BaseGeometry) -> str:
    """Draw the wind as a broad arrow in a corner, blowing over the field.

    ``sent``: where people are sent. The poster's lines tell it above the picture.
    """
    read, mast = wind_as_read(a.wind)
    if read.speed <= CALM:
        return ""
    high = voice.say(
        "picture.mast",
        speed=voice.speed(mast.speed),
        height=voice.distance(mast.height),
    )
    first = " ".join([voice.say("picture.wind"), voice.speed(read.speed)])
    lines = [("say", 30, first), ("say small", 52, where_read(read, voice))]
    lines.append(("say small", 72, high))
    at, wide, deep = 94, 104.0 + max(widths(text, 11.5) for *_, text in lines), 88.0
    if room.size != SHEET:
        at, wide, deep = 22, 96.0, 108.0
        lines = [("say", 98, voice.say("picture.wind"))]
    left, top, *_ = room.corner((wide, deep), sent, "tl br tr bl")
    told = "".join(
        f'<text class="{kind}" x="{at}" y="{y}">{escape(text)}</text>'
        for kind, y, text in lines
    )
    arrow = broad_arrow(read)
    return (
        f'<g transform="translate({left:.0f} {top:.0f})"><rect class="corner" width="{wide:.0f}" height="{deep:.0f}"/>'
        f'<g class="wind" transform="translate(48 48)">{arrow}</g>{told}</g>'
    )
