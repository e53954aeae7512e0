"""A club's own picture of the ground, tied to coordinates, and the error of that fit."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from driftmap.core.checks import FloatArray

if TYPE_CHECKING:
    from PIL.Image import Image


_WORST: Final = 20.0
"""Error of a fit beyond which a picture is refused [m]: the width of a flight line, assumed."""

_MOST_BYTES: Final = 40_000_000
_MOST_PIXELS: Final = 100_000_000
_FORMATS: Final = ("JPEG", "PNG", "WEBP")
_LEAST_POINTS: Final = 3
_FARTHEST: Final = 50_000.0  # m

_ToLocal = Callable[[float, float], tuple[FloatArray, FloatArray]]


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture and where it lies.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    east, north : (float, float, float)
        East and north from the pad of a pixel: times its column, times its row, and of
        the upper left corner [m].
    error : float
        How far the points are off after the fit, as one more point would be [m].
    """

    path: Path
    east: tuple[float, float, float]
    north: tuple[float, float, float]
    error: float


def fit_picture(
    pixels: FloatArray, places: FloatArray
) -> tuple[tuple[float, float, float], tuple[float, float, float], float]:
    """Lay a picture on the ground by least squares.

    ``pixels``, shape (n, 2): column and row of points in the picture, from its upper
    left corner; ``places``, shape (n, 2): their east and north from the pad [m].

    Result: `east`, `north` and `error` of a `Picture`; its error is the root of the summed
    squares over the degrees of freedom left, or the worst point where that is more. Raises `ValueError` if there are fewer than three
    points, or they lie on one line.

    Three points are fitted by a turn, a scale and a shift, so that they too show an
    error; four and more by any affine map, which also undoes a slanted view of flat
    ground.
    """
    n = len(pixels)
    if n < _LEAST_POINTS:
        raise ValueError(f"must tie {_LEAST_POINTS} points or more (got {n})")
    middle = pixels.mean(axis=0)
    x, y = (pixels - middle).T
    for spread in (pixels - middle, places - places.mean(axis=0)):
        sizes = np.linalg.svd(spread, compute_uv=False)
        if sizes[1] < 0.05 * sizes[0]:
            raise ValueError("must tie points that do not lie on one line")
    one, zero = np.ones(n), np.zeros(n)
    if n == _LEAST_POINTS:
        rows = np.vstack([np.c_[x, y, one, zero], np.c_[-y, x, zero, one]])
    else:
        flat = np.c_[x, y, one]
        rows = np.block([[flat, np.zeros_like(flat)], [np.zeros_like(flat), flat]])
    wanted = np.concatenate([places[:, 0], places[:, 1]])
    found = np.linalg.lstsq(rows, wanted, rcond=None)[0]
    off = (rows @ found - wanted).reshape(2, n)
    left = 2 * n - rows.shape[1]
    spread_left = math.sqrt(float((off**2).sum()) / left) if left else 0.0
    error = max(spread_left, float(np.hypot(*off).max()))
    if n == _LEAST_POINTS:
        a, b, east, north = found
        found = np.array([a, b, east, b, -a, north])
    return _cornered(found[:3], middle), _cornered(found[3:], middle), error


def _cornered(row: FloatArray, middle: FloatArray) -> tuple[float, float, float]:
    """Count from the upper left corner what was counted from the points' middle."""
    across, down, at = (float(v) for v in row)
    return across, down, at - across * float(middle[0]) - down * float(middle[1])


def read_picture(told: object, folder: Path, to_local: _ToLocal) -> Picture:
    """Read the member ``picture`` of a site file.

    ``told``: ``{"file": "field.jpg", "points": [{"pixel": [x, y], "at": [lon, lat]},
    …]}``; ``folder``: folder of the site file; the picture's path starts there;
    ``to_local``: longitude and latitude [deg] to metres from the pad.

    Raises `ValueError` if it is not understood, cannot be read, or fits worse than
    `_WORST`.
    """
    if not isinstance(told, dict) or set(told) != {"file", "points"}:
        raise ValueError(
            'must be an object with "file" and "points", such as {"file": "field.jpg", '
            '"points": [{"pixel": [120, 80], "at": [-117.95, 41.60]}, …]}'
        )
    if not isinstance(told["file"], str) or not isinstance(told["points"], list):
        raise ValueError('must have a text as "file" and a list as "points"')
    path = folder / told["file"]
    width, height = _size(path)
    pairs = [_point(i, point) for i, point in enumerate(told["points"], start=1)]
    pixels = np.array([pixel for pixel, _ in pairs]).reshape(-1, 2)
    outside = (pixels < 0).any(axis=1) | (pixels > (width, height)).any(axis=1)
    if outside.any():
        number = int(np.argmax(outside)) + 1
        raise ValueError(
            f"point {number} must lie in the picture, {width} x {height} pixels"
        )
    places = np.array([np.ravel(to_local(*at)) for _, at in pairs]).reshape(-1, 2)
    if len(places) and np.hypot(*places.T).max() > _FARTHEST:
        raise ValueError("points must lie within 50 km of the pad (longitude first)")
    east, north, error = fit_picture(pixels, places)
    if error > _WORST:
        raise ValueError(
            f"the points do not fit: {error:.0f} m off, at most {_WORST:.0f} m; is a pixel "
            "or a coordinate mistaken, or the view slanted?"
        )
    return Picture(path, east, north, error)


_Pair: TypeAlias = tuple[float, float]


def _point(number: int, told: object) -> tuple[_Pair, _Pair]:
    """Read column and row of a pixel, and its longitude and latitude [deg]."""
    if isinstance(told, Mapping) and set(told) == {"pixel", "at"}:
        both = [told["pixel"], told["at"]]
        if all(isinstance(v, list) and len(v) == 2 for v in both):
            values = [v for pair in both for v in pair]
            plain = all(
                isinstance(v, int | float) and not isinstance(v, bool) for v in values
            )
            if plain and all(math.isfinite(v) for v in values):
                x, y, lon, lat = map(float, values)
                return (x, y), (lon, lat)
    raise ValueError(
        f'point {number} must be {{"pixel": [x, y], "at": [longitude, latitude]}}'
    )


def _size(path: Path) -> tuple[int, int]:
    with open_picture(path) as picture:
        return picture.size


def open_picture(path: Path) -> Image:
    """Open a picture, turned as a viewer shows it.

    Raises
    ------
    ValueError
        If it is no JPEG, PNG or WebP, or too large.
    """
    # Pillow takes 40 ms to import, which only sites with a picture need pay.
    from PIL import Image, ImageOps, UnidentifiedImageError  # noqa: PLC0415

    try:
        if path.stat().st_size > _MOST_BYTES:
            raise ValueError(f"must be at most {_MOST_BYTES // 10**6} MB: {path.name}")
        picture = Image.open(path, formats=_FORMATS)
        if picture.width * picture.height > _MOST_PIXELS:
            raise ValueError(
                f"must have at most {_MOST_PIXELS // 10**6} million pixels: {path.name}"
            )
        return ImageOps.exif_transpose(picture)
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError) as problem:
        told = getattr(problem, "strerror", None) or "is no JPEG, PNG or WebP"
        raise ValueError(f"{path.name}: {told}") from None
