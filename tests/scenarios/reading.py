"""One source read to its one reading, as tests of readers ask."""

from driftmap import winds


def decode(text, setting):
    """Read a source that holds one reading."""
    (reading,) = winds.decode(text, setting)
    return reading
