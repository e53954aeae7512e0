"""Damaged files meet every reader: a small part of the campaigns of `hostile.py` and `million.py`."""

import signal
import warnings

import million
import pytest
from hostile import READERS, attempt

SEEDS = range(1000, 1002)
NUMBERS = range(9_000_000, 9_000_400)
FEWEST = 40


@pytest.mark.parametrize("reader", READERS)
def test_damaged_input_is_read_or_refused_in_one_line(reader):
    ended = [attempt(reader, seed) for seed in SEEDS]
    assert [why for _, why in ended if why] == []
    assert {how for each, _ in ended for how in each} & {"read", "refused", "no-go"}


@pytest.mark.parametrize("reader", million.HEARERS)
def test_a_readers_own_function_reads_or_refuses(reader, tmp_path):
    before = signal.signal(signal.SIGPROF, million.late)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            ended = []
            for n in NUMBERS:  # until both ends were seen: most are refused
                ended.append(million.attempt(reader, n, tmp_path))
                if len(ended) >= FEWEST and len({how for how, _ in ended}) > 1:
                    break
    finally:
        signal.signal(signal.SIGPROF, before)
    assert [why for _, why in ended if why] == []
    assert {how for how, _ in ended} == {"read", "refused"}
