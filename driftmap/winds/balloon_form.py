"""A sheet to fill in while a pilot balloon rises."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from driftmap.winds.pilot_balloon import COLUMNS, ascent_rate, check_rate

_STEP: Final = 30  # s between two readings
_GUESS: Final = 2.5  # m/s, to tell how long two observers will take


def balloon_form(
    mass: float,
    top: float,
    *,
    free_lift: float | None = None,
    ascent: float | None = None,
    observers: int = 1,
    written: Callable[[float], str],
) -> list[str]:
    """Lay out a table to fill in while a balloon rises, which `read_balloon` then reads.

    ``mass``: the balloon's own [kg]; ``top``: height to follow it to [m]; ``free_lift``:
    what it lifts besides itself [kg]; ``ascent``: its rate of ascent where that is known
    [m s⁻¹]; ``observers``: one or two; ``written``: how a height is written.

    Result: its lines. Raises `ValueError` if it would rise too slowly or too fast.
    """
    rate, told = _GUESS if ascent is None else ascent, []
    if ascent is not None:
        told = [f"# ascent {rate:.2f} m/s"]
    elif free_lift is not None:
        rate = float(ascent_rate(mass, free_lift))
        told = [f"# balloon {1000 * mass:g} g", f"# free lift {1000 * free_lift:g} g"]
        told.append(f"# which makes {rate:.2f} m/s")
    check_rate(rate)
    second = observers == 2
    if second:
        told = ["# second observer  (write how far and where: 400 m toward 90)"]
    count = int(top / (rate * _STEP)) + 2
    return [
        *told,
        "# released  (write date, time, zone: 2026-05-09 08:10-07:00)",
        f"# to {written(top)} in {count * _STEP / 60:.1f} min;",
        "# azimuth is from true north; azimuth_magnetic_deg where by the needle",
        ",".join([*COLUMNS[:3], *COLUMNS[4:6] * second]),
        *(f"{i * _STEP},{',' * (1 + 2 * second)}" for i in range(1, count + 1)),
    ]
