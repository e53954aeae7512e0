"""Landing zones and drift and debris hazard for high-power and home-built rockets.

The main job:

>>> from driftmap import assess, read_flight, read_site, read_wind
>>> site = read_site("sites/saltgrass-flat.geojson")
>>> wind = read_wind("8 mph from 240", site_altitude=site.elevation)
>>> result = assess(read_flight("examples/willet.toml"), site, wind, samples=500)
>>> result.verdict in ("go", "hold", "no-go")
True

The rest, by what it is for:

- In: `read_flight`, `read_site`, `read_wind`; `read_winds` merges several winds into one;
  `read_answers` reads what people answered to the rules (without answers, a site that names
  rules holds).
- The job: `assess` gives an `Assessment`. `Setup` is flight, site, samples, seed, day and
  answers as one record; `compare` judges other ways to bring the same rocket down.
- Out: `document` is the content of ``assessment.json``, `map_html` the map.
- Below a verdict: `fly` gives a `Cloud`, all landings; `margins` says how far its flights
  stay from what fails; `fall` carries bodies to the ground.

Input that cannot be used raises a `DriftmapError`, one line.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from driftmap.core.errors import DriftmapError
    from driftmap.ground.site import read_site
    from driftmap.montecarlo.cloud import Cloud, fly
    from driftmap.montecarlo.margins import margins
    from driftmap.report.map import map_html
    from driftmap.rocket.flightfile import read_flight
    from driftmap.rules.answers import read_answers
    from driftmap.trajectory.descent import fall
    from driftmap.verdict.assessment import Assessment, assess
    from driftmap.verdict.compared import compare
    from driftmap.verdict.document import document
    from driftmap.verdict.setup import Setup
    from driftmap.winds.profile import read_wind, read_winds

__all__ = [
    "Assessment",
    "Cloud",
    "DriftmapError",
    "Setup",
    "assess",
    "compare",
    "document",
    "fall",
    "fly",
    "map_html",
    "margins",
    "read_answers",
    "read_flight",
    "read_site",
    "read_wind",
    "read_winds",
]

_HOME = {
    "Assessment": "verdict.assessment",
    "Cloud": "montecarlo.cloud",
    "DriftmapError": "core.errors",
    "Setup": "verdict.setup",
    "assess": "verdict.assessment",
    "compare": "verdict.compared",
    "document": "verdict.document",
    "fall": "trajectory.descent",
    "fly": "montecarlo.cloud",
    "map_html": "report.map",
    "margins": "montecarlo.margins",
    "read_answers": "rules.answers",
    "read_flight": "rocket.flightfile",
    "read_site": "ground.site",
    "read_wind": "winds.profile",
    "read_winds": "winds.profile",
}


def __dir__() -> list[str]:
    """Name what is public, for the completion of names."""
    return [*__all__, "__version__"]


def __getattr__(name: str) -> object:
    """Import a public name when it is first used, so that the command starts at once."""
    if name == "__version__":
        return importlib.import_module("importlib.metadata").version("driftmap")
    if name not in _HOME:
        raise AttributeError(f"module 'driftmap' has no attribute {name!r}")
    return getattr(importlib.import_module(f"driftmap.{_HOME[name]}"), name)
