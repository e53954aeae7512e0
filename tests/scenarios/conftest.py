"""One teller of verdicts for all scenes."""

import pytest
from scene import speaker


@pytest.fixture(scope="session")
def speak(tmp_path_factory):
    """Say the verdict of a scene, and the checks that do not pass by their kind."""
    return speaker(tmp_path_factory.mktemp("scenes"))
