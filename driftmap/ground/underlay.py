"""The club's picture of a site laid north up under a map, small enough to be sent."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import ArrayLike

from driftmap.core.checks import FloatArray
from driftmap.ground.areas import Site
from driftmap.ground.georeference import Picture, open_picture

if TYPE_CHECKING:
    from PIL.Image import Image


def lonlat(
    site: Site, east: ArrayLike, north: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return longitude and latitude, the longitude unwrapped about the pad.

    Near the 180th meridian a map would else draw a line across the whole world.

    ``east`` and ``north``, shape (...): points from the pad [m].

    Result: in degrees, shape (...).
    """
    lon, lat = site.to_lonlat(np.asarray(east, float), np.asarray(north, float))
    turn = (lon - site.longitude + 180.0) % 360.0 - 180.0
    return site.longitude + turn, lat


_LARGEST: Final = 1500  # pixels along a side
_MOST_BYTES: Final = 400_000
_QUALITIES: Final = (75, 55, 35, 15)


def underlay(site: Site) -> dict[str, Any] | None:
    """Shrink a site's picture and lay it north up; None for a site without one.

    Result: ``data``, an address that holds the picture itself, and ``bounds``, latitude and
    longitude of two corners.
    """
    if site.picture is None:
        return None
    with open_picture(site.picture.path) as shot:
        corners = _corners(site.picture, shot.size)
        lon, lat = lonlat(site, corners[:, 0], corners[:, 1])
        west, east, south, north = lon.min(), lon.max(), lat.min(), lat.max()
        laid = _laid(shot, site, (west, east, south, north))
    bounds = [[round(float(v), 6) for v in p] for p in ((south, west), (north, east))]
    return {"data": _packed(laid), "bounds": bounds}


def underlay_in_metres(site: Site) -> dict[str, Any] | None:
    """Lay a site's picture as `underlay` does; ``bounds``: two corners north and east of the pad [m].

    Over a field the way north turns by less than a picture may lie amiss.
    """
    if (laid := underlay(site)) is None:
        return None
    lat, lon = np.array(laid["bounds"]).T
    east, north = site.to_local((lon + 180.0) % 360.0 - 180.0, lat)
    bounds = np.column_stack([north, east]).round(1).tolist()
    return {"data": laid["data"], "bounds": bounds}


def _corners(picture: Picture, size: tuple[int, int]) -> np.ndarray[Any, Any]:
    columns = np.array([0, size[0], size[0], 0])
    rows = np.array([0, 0, size[1], size[1]])
    e, n = picture.east, picture.north
    east = e[0] * columns + e[1] * rows + e[2]
    north = n[0] * columns + n[1] * rows + n[2]
    return np.column_stack([east, north])


def _laid(shot: Image, site: Site, box: tuple[float, float, float, float]) -> Image:
    """Draw it anew so that longitude runs across and latitude up; clear where it ends."""
    from PIL import Image  # noqa: PLC0415

    west, east, south, north = box
    lons, lats = np.array([west, east, west]), np.array([north, north, south])
    turn = (lons + 180.0) % 360.0 - 180.0
    e, n = site.to_local(turn, lats)
    across, down = (
        np.hypot(e[1] - e[0], n[1] - n[0]),
        np.hypot(e[2] - e[0], n[2] - n[0]),
    )
    scale = _LARGEST / max(across, down)
    size = max(1, round(across * scale)), max(1, round(down * scale))
    matrix = np.array([site.picture.east[:2], site.picture.north[:2]])  # type: ignore[union-attr]
    shift = np.array([site.picture.east[2], site.picture.north[2]])  # type: ignore[union-attr]
    at = np.linalg.solve(matrix, np.array([e, n]) - shift[:, None])  # columns and rows
    steps = (at[:, 1] - at[:, 0]) / size[0], (at[:, 2] - at[:, 0]) / size[1]
    data = (
        *(float(v) for v in (steps[0][0], steps[1][0], at[0, 0])),
        *(float(v) for v in (steps[0][1], steps[1][1], at[1, 0])),
    )
    return shot.convert("RGBA").transform(
        size, Image.Transform.AFFINE, data, resample=Image.Resampling.BILINEAR
    )


def _packed(picture: Image) -> str:
    """Write it as small as it must be, and not smaller."""
    for quality in _QUALITIES:
        held = io.BytesIO()
        picture.save(held, "WEBP", quality=quality)
        if held.tell() <= _MOST_BYTES:
            break
    return f"data:image/webp;base64,{base64.b64encode(held.getvalue()).decode()}"
