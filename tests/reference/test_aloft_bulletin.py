"""Winds-and-temperatures-aloft groups: worked examples of the published coding.

P-1246 and P-304 (US Navy training), pilots' texts and an encyclopaedia's example, as
secondary copies of FAA AC 00-45 and the Aeronautical Information Manual. Values are
exact.
"""

import pytest

from driftmap.winds.bulletin import decode_group


@pytest.mark.parametrize(
    ("text", "level", "direction", "speed", "temperature"),
    [
        ("731960", 39_000, 230.0, 119.0, -60.0),
        ("2728+01", 9_000, 270.0, 28.0, 1.0),
        ("2619", 3_000, 260.0, 19.0, None),
        ("3127", 3_000, 310.0, 27.0, None),
        ("274650", 30_000, 270.0, 46.0, -50.0),
        ("7345", 12_000, 230.0, 145.0, None),
        ("2654-21", 18_000, 260.0, 54.0, -21.0),
        ("265421", 30_000, 260.0, 54.0, -21.0),
        ("3601-05", 12_000, 360.0, 1.0, -5.0),
        ("5100-05", 12_000, 10.0, 100.0, -5.0),
        ("8650-05", 18_000, 360.0, 150.0, -5.0),
    ],
)
def test_group(text, level, direction, speed, temperature):
    group = decode_group(text, level)
    assert (group.direction, group.speed, group.temperature) == (
        direction,
        speed,
        temperature,
    )
    assert not group.at_least


def test_199_knots_or_more():
    group = decode_group("7799", 9_000)
    assert (group.direction, group.speed, group.at_least) == (270.0, 199.0, True)
    assert not decode_group("2799", 9_000).at_least  # plain 99 kt


@pytest.mark.parametrize("text", ["9900", "9900+08"])
def test_light_and_variable(text):
    group = decode_group(text, 9_000)
    assert group.direction is None
    assert group.speed == 5.0  # "less than 5 kt": the bound


@pytest.mark.parametrize("tens", ["00", *range(37, 51), *range(87, 99)])
def test_directions_that_do_not_exist(tens):
    with pytest.raises(ValueError, match="direction"):
        decode_group(f"{tens}15", 9_000)


@pytest.mark.parametrize(
    ("text", "level", "message"),
    [
        ("9915", 9_000, "direction 99"),
        ("2654", 30_000, "cut short"),
        ("265421", 12_000, "sign"),
        ("2654+21", 30_000, "above freezing"),
        ("265", 9_000, "not DDff"),
        ("2654-2", 9_000, "not DDff"),
        ("26/54", 9_000, "not DDff"),
        ("٢٦٥٤", 9_000, "not DDff"),
    ],
)
def test_malformed(text, level, message):
    with pytest.raises(ValueError, match=message):
        decode_group(text, level)
