"""Whatever a record holds, it is read or refused by name; nothing else happens."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from driftmap.core.errors import FlightError
from driftmap.rocket.flight import Flight
from driftmap.rocket.flightfile import read_flight

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("record")
    text = (EXAMPLES / "plover.toml").read_text()
    (path / "plover.toml").write_text(text)
    return path


def read(folder, record):
    (folder / "plover_flight.csv").write_bytes(record)
    told, flight = "", None
    try:
        flight = read_flight(folder / "plover.toml")
    except FlightError as problem:
        told = str(problem)
    if flight is None:
        assert told.startswith(str(folder / "plover_flight.csv"))
        assert "\n" not in told
        return None
    assert isinstance(flight, Flight)
    assert 0 < flight.airframe.drag_coefficient.value <= 5
    assert np.isfinite(flight.motor.total_impulse.spread)
    return flight


calm = settings(
    max_examples=25,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@calm
@given(st.binary(max_size=300), st.booleans())
def test_any_bytes(folder, data, header):
    read(folder, b"time_s,height_m\n" * header + data)


SHAPES = {
    "white": lambda t, rng: rng.standard_normal(t.size),
    "walk": lambda t, rng: np.cumsum(rng.standard_normal(t.size)) / 10,
    "arc": lambda t, rng: (
        t * (t[-1] - t) / t[-1] ** 2 + 0.01 * rng.standard_normal(t.size)
    ),
    "step": lambda t, rng: np.where((t > t[-1] / 3) & (t < t[-1] / 2), 1.0, 0.0),
    "cliff": lambda t, rng: np.where(t < t[-1] / 2, (t / t[-1]) ** 8, 0.0),
    "jumps": lambda t, rng: rng.standard_cauchy(t.size),
}


@calm
@given(
    shape=st.sampled_from(sorted(SHAPES)),
    seed=st.integers(0, 10_000),
    size=st.integers(2, 400),
    span=st.floats(0.01, 500.0),
    scale=st.floats(0.1, 20_000.0),
)
def test_any_heights(folder, shape, seed, size, span, scale):
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0, span, size)) if seed % 2 else np.linspace(0, span, size)
    height = np.clip(scale * SHAPES[shape](t + 1e-9, rng), -29_000, 29_000)
    lines = [f"{a:.6f},{b:.3f}" for a, b in zip(t, height, strict=True)]
    read(folder, "\n".join(["time_s,height_m", *lines]).encode())


def test_a_record_of_a_flight_is_read_though_it_is_noisy_and_thinned(folder):
    """The bounds above are held against something that is read."""
    given = EXAMPLES / "plover_flight.csv"
    record = np.loadtxt(given, delimiter=",", skiprows=1)[::5]
    record[:, 1] += np.random.default_rng(1).standard_normal(len(record))
    lines = [f"{time:.3f},{height:.2f}" for time, height in record]
    assert read(folder, "\n".join(["time_s,height_ft", *lines]).encode())
