"""Damaged files meet every reader: a small part of the campaign of `hostile.py`."""

import pytest
from hostile import READERS, attempt

SEEDS = range(1000, 1003)


@pytest.mark.parametrize("reader", READERS)
def test_damaged_input_is_read_or_refused_in_one_line(reader):
    ended = {seed: attempt(reader, seed) for seed in SEEDS}
    assert not {
        seed: why for seed, (how, why) in ended.items() if how in {"fault", "late"}
    }
    assert {how for how, _ in ended.values()} & {"read", "refused", "hold", "no-go"}
