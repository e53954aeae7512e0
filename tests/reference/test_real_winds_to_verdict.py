"""Real soundings read whole and carried through the whole job.

Files of tests/data/winds (see SOURCES.md there). A canopy that falls slowly moves with
the air, so its drift is the integral of the wind over the time spent in each layer; that
integral is taken here straight from the printed rows, with none of the project's readers.
"""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.integrate import trapezoid

from driftmap.air.atmosphere import air_density
from driftmap.cli.assess import assess_command
from driftmap.cli.compare import drop_command

ROOT = Path(__file__).parents[2]
DATA = ROOT / "tests" / "data" / "winds"
KNOT = 1852 / 3600
NAMES = [
    "list_nashville_2014-02-20.txt",
    "list_melbourne_2010-03-06.txt",
    "list_hobart_2013-07-09.txt",
    "list_norman_1999-05-04.csv",
    "igra_barrow_2010-06.txt",
    "dropsonde_2019-05-16.csv",
]

TIMES = {
    "list_nashville_2014-02-20.txt": "2014-02-20T12:30Z",
    "list_melbourne_2010-03-06.txt": "2010-03-06T12:30Z",
    "list_hobart_2013-07-09.txt": "2013-07-09T00:30Z",
    "list_norman_1999-05-04.csv": "1999-05-03T23:30Z",
    "igra_barrow_2010-06.txt": "2010-06-01T12:00Z",
}
"""A time shortly after the soundings whose files tell theirs."""


def _printed_rows(name):
    """Height, direction and speed of a fixed-column list, by its characters."""
    rows = []
    for line in (DATA / name).read_text().splitlines():
        cells = [line[i : i + 7].strip() for i in range(0, 56, 7)]
        if len(line) > 56 and cells[1].isdigit() and cells[7].isdigit():
            rows.append([float(cells[1]), float(cells[6]), float(cells[7]) * KNOT])
    return np.array(rows)


@pytest.mark.parametrize("name", NAMES[:3])
def test_slow_canopy_drifts_by_the_integral_of_the_wind(name):
    rows = _printed_rows(name)
    ground, top, mass, drag_area = rows[0, 0], 1500.0, 1.0, 1.0
    mast = rows[0, 0] + 10.0  # where a station measures its surface wind
    rows = np.vstack([[mast, *rows[0, 1:]], rows[rows[:, 0] > mast]])
    z = np.linspace(0.0, top, 3001)
    fall = np.sqrt(2 * mass * 9.80665 / (air_density(z + ground) * drag_area))
    bearing = np.radians(rows[:, 1])
    drift = [
        trapezoid(
            np.interp(z + ground, rows[:, 0], -rows[:, 2] * turn(bearing)) / fall, z
        )
        for turn in (np.sin, np.cos)
    ]
    result = CliRunner().invoke(
        drop_command,
        [
            *("--from", f"{top} m", "--mass", "1 kg", "--drag-area", "1 m2"),
            *("--wind", str(DATA / name), "--site-elevation", f"{ground} m", "--json"),
        ],
    )
    landed = json.loads(result.stdout)
    # Starting at rest costs v/g = 0.4 s of some 340 s, twice; printed heights are
    # geopotential, 0.02 % more than geometric up here.
    miss = math.hypot(landed["east_m"] - drift[0], landed["north_m"] - drift[1])
    assert miss < 0.01 * math.hypot(*drift)


@pytest.mark.usefixtures("no_map")
@pytest.mark.parametrize("name", NAMES)
def test_every_real_sounding_comes_to_a_verdict(tmp_path, name):
    result = CliRunner().invoke(
        assess_command,
        [
            str(ROOT / "examples" / "dunlin.toml"),
            *("--site", str(ROOT / "sites" / "larkfold-farm.geojson")),
            *("--wind", str(DATA / name), "--samples", "200", "--json"),
            *(("--when", TIMES[name]) if name in TIMES else ()),
            *("--out", str(tmp_path)),
        ],
    )
    assert result.exit_code in {0, 3, 4}, result.output
    document = json.loads(result.stdout)
    assert document["verdict"] in {"go", "hold", "no-go"}
    # Where a file has no time, that is said beside its name.
    unknown = any("age at the flight not known" in n for n in document["assumed"])
    assert unknown == (name not in TIMES)
