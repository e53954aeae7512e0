"""One source read to its one reading, as tests of readers ask."""

from driftmap.winds import formats


def decode(text, setting):
    """Read a source that holds one reading."""
    (reading,) = formats.decode(text, setting)
    return reading
