"""The search for receivers, globes and paper: GPX, KML, a sheet to print."""

from __future__ import annotations

from html import escape
from typing import Final
from xml.etree import ElementTree as ET

from driftmap.observations.chances import box_of
from driftmap.observations.search_page import (
    Search,
    planned,
    run_name,
    share_sentences,
    walk_cautions,
    whose,
)
from driftmap.observations.search_picture import picture
from driftmap.report.export_common import add, positions, xml_text
from driftmap.report.kml_gpx import (
    KML_NAMESPACE,
    add_shape,
    add_track,
    coordinates,
    lat_lon,
    new_gpx,
)
from driftmap.report.page import page, printable, table, text_of
from driftmap.report.voice import Voice

_MOST_ROWS: Final = 30  # squares on a sheet


def search_gpx(search: Search, voice: Voice) -> str:
    """Write the order of walking as GPX 1.1.

    Result: GPX text: where each sweep begins as waypoints, the sweeps and the least
    ground that holds 50, 80 and 95 % as tracks.
    """
    word = voice.say("search.sweep")
    root, head = new_gpx(_title(search, voice))
    add(head, "desc", "\n".join(_told_first(search, voice)))
    for number, sweep in enumerate(search.sweeps, 1):
        (spot,) = positions(search.site, [sweep.start[0]], [sweep.start[1]])
        point = add(root, "wpt", **lat_lon(spot))
        squares = run_name(sweep, voice)
        add(point, "name", f"{word} {number}: {squares}")
        mind = [voice.say("search.minded", text=text) for text in sweep.mind]
        left = voice.say("search.left_after", share=voice.percent(sweep.left))
        add(point, "cmt", ". ".join([left, *mind]))
    for number, sweep in enumerate(search.sweeps, 1):
        track = add(root, "trk")
        add(track, "name", f"{word} {number}")
        segment = add(track, "trkseg")
        ends = list(zip(sweep.start, sweep.end, strict=True))
        for spot in positions(search.site, *ends):
            add(segment, "trkpt", **lat_lon(spot))
    for line in search.chances.lines:
        add_track(root, search.site, line.shape, _inside(line.share, voice))
    return xml_text(root)


def _title(search: Search, voice: Voice) -> str:
    piece = voice.known("piece", search.chances.piece)
    text = voice.say("search.title", piece=piece)
    return f"{text}: {search.flight}, {search.site.name}"


def _told_first(search: Search, voice: Voice) -> list[str]:
    """Say what stands before all squares: what flew when, what is doubted, what to mind."""
    return [whose(search, voice), *search.doubts, *walk_cautions(voice)]


def _inside(share: float, voice: Voice) -> str:
    return voice.say("search.inside", share=voice.percent(share))


def search_kml(search: Search, voice: Voice) -> str:
    """Write squares, lines and sweeps as KML."""
    word = voice.say("search.sweep")
    root = ET.Element("kml", {"xmlns": KML_NAMESPACE})
    whole = add(root, "Document")
    add(whole, "name", _title(search, voice))
    # Shown as HTML (OGC 12-007r2, kml:description): what came from files is escaped.
    add(
        whole,
        "description",
        "<br/>".join(escape(text) for text in _told_first(search, voice)),
    )
    folder = add(whole, "Folder")
    add(folder, "name", voice.say("search.squares"))
    grid = search.chances.squares
    for square in search.chances.listed:
        box = box_of(grid, square.column, square.row)
        mark = _mark(
            folder,
            square.name,
            [voice.number(f"{square.chance:.2%}"), *square.cautions],
        )
        add_shape(mark, search.site, box)
    folder = add(whole, "Folder")
    add(folder, "name", voice.say("search.least"))
    for line in search.chances.lines:
        mark = _mark(folder, _inside(line.share, voice), [])
        add_shape(mark, search.site, line.shape)
    folder = add(whole, "Folder")
    add(folder, "name", voice.say("search.order"))
    for number, sweep in enumerate(search.sweeps, 1):
        mind = [voice.say("search.minded", text=text) for text in sweep.mind]
        mark = _mark(folder, f"{word} {number}", [" ".join(sweep.squares), *mind])
        ends = positions(search.site, *zip(sweep.start, sweep.end, strict=True))
        add(add(mark, "LineString"), "coordinates", coordinates(ends))
    return xml_text(root)


def _mark(parent: ET.Element, name: str, told: list[str]) -> ET.Element:
    mark = add(parent, "Placemark")
    add(mark, "name", name)
    if told:
        add(mark, "description", "<br/>".join(escape(text) for text in told))
    return mark


def search_sheet(search: Search, voice: Voice) -> str:
    """Write a sheet for helpers without a phone.

    Result: an HTML document to print; nothing in it runs or is fetched.
    """
    chances, who = search.chances, search.walkers
    rows = [[voice.say(f"search.{key}") for key in ("square", "chance", "mind")]]
    rows += [
        [s.name, voice.number(f"{100 * s.chance:.1f} %"), "; ".join(s.cautions)]
        for s in chances.listed[:_MOST_ROWS]
    ]
    # The last one stands in the head.
    warn = [
        f"<p><strong>{printable(t)}</strong></p>"
        for t in _told_first(search, voice)[:-1]
    ]
    lines = "".join(f"<li>{printable(t)}</li>" for t in share_sentences(chances, voice))
    how = voice.say(
        "search.order_how",
        count=voice.count(who.count),
        spacing=voice.exact_distance(who.spacing),
        cover=voice.say(f"cover.{who.cover}"),
        share=voice.percent(who.detection),
    )
    own = voice.say("search.own")
    blocks = [
        f"<style>{text_of('chart.css', __package__)}</style>",
        "".join(warn),
        picture(chances, search.site, voice, search.sweeps, search.found),
        f"<ul>{lines}</ul><p>{printable(f'{how} {own}')}</p>",
        f"<h2>{printable(voice.say('search.order'))}</h2>",
        table(planned(search.sweeps, voice), voice),
        f"<h2>{printable(voice.say('search.listed'))}</h2>",
        table(rows, voice),
    ]
    told = [voice.say("search.told_seen", text=text) for text in search.told]
    assumed = [*told, *search.notes]
    return page(_title(search, voice), blocks, voice, assumed=assumed, stands="walk.4")
