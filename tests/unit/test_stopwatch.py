"""The stopwatch: the same seconds as the flights, and never later than what it warns of."""

from importlib.resources import files

import numpy as np
import pytest

from driftmap.report.instruct import moments
from driftmap.report.map import map_html
from driftmap.report.voice import Voice, english, languages, read_catalogue


def test_moments_come_in_order_and_agree_with_the_flights(demo):
    told = moments(demo, english("us"))
    seconds = [moment.second for moment in told]
    assert seconds == sorted(seconds)
    assert seconds[0] == 0
    top = demo.cloud.apogee.time
    (highest,) = (m for m in told if m.should.startswith("Highest"))
    assert np.mean(top < highest.second) == pytest.approx(0.05, abs=0.01)
    part = next(p for p in demo.cloud.parts if p.case == "nothing deploys")
    (hits,) = (m for m in told if "hit the ground" in m.should)
    assert np.mean(demo.cloud.time[part.rows] < hits.second) <= 0.051
    assert seconds[-1] >= np.quantile(demo.cloud.time[part.rows], 0.95)


def test_the_call_comes_before_the_fall_and_says_what_is_left(demo):
    told = moments(demo, english("us"))
    (opening,) = (m for m in told if "must be open" in m.should)
    (hits,) = (m for m in told if "hit the ground" in m.should)
    left = int(hits.second - opening.second)
    assert left > 0
    assert f"{left}\u00a0s left" in opening.otherwise
    assert "HEADS UP" in opening.otherwise


@pytest.mark.parametrize("language", languages())
def test_every_language_counts_the_same(demo, language):
    told = moments(demo, Voice(read_catalogue(language), "si"))
    assert [m.second for m in told] == [m.second for m in moments(demo, english("us"))]
    assert all(m.should for m in told)


def test_it_is_light_and_its_table_stands_in_the_page(demo):
    page = map_html(demo, units="us")
    script = files("driftmap.report").joinpath("stopwatch.js").read_text("utf-8")
    assert len(script.encode()) < 20_000
    for moment in moments(demo, english("us")):
        assert moment.should in page
