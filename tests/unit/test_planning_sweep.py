"""Sweeps: in order, the same on any executor, and a lost worker costs its own part."""

import multiprocessing
from concurrent.futures import (
    BrokenExecutor,
    Executor,
    Future,
    ProcessPoolExecutor,
    ThreadPoolExecutor,
)

import pytest

from driftmap.planning.sweep import _LOST, LostPart, Workers, sweep

# Work of a process must be importable there: `eval` is, a function of a test is not.
DIES = "__import__('os')._exit(1)"


def processes():
    return ProcessPoolExecutor(1, multiprocessing.get_context("spawn"))


def test_results_stand_in_the_order_of_the_parts_whichever_ends_first():
    slow_first = [
        f"(__import__('time').sleep({0.03 * (5 - i)}), {i})[1]" for i in range(5)
    ]
    assert sweep(eval, slow_first) == list(range(5))


def test_every_end_is_told_once_with_what_is_left():
    ended, told = [], []
    workers = Workers(progress=lambda done, left: told.append((done, left)))
    sweep(abs, [-1, -2, -3], workers, done=lambda i, result: ended.append((i, result)))
    assert sorted(ended) == [(0, 1), (1, 2), (2, 3)]
    assert told == [(1, 2), (1, 1), (1, 0)]


def test_an_error_of_the_work_is_raised_and_nothing_more_begun():
    begun = []

    def work(i):
        begun.append(i)
        if i == 1:
            raise ZeroDivisionError("part 1")
        return i

    with (
        ThreadPoolExecutor(1) as pool,
        pytest.raises(ZeroDivisionError, match="part 1"),
    ):
        sweep(work, range(50), Workers(pool, ahead=2))
    assert len(begun) < 10


def test_an_executor_that_is_given_stays_open():
    with ThreadPoolExecutor(1) as pool:
        sweep(abs, [-1], Workers(pool))
        assert pool.submit(abs, -5).result() == 5


class Forgetful(Executor):
    """Loses chosen parts, a number of times each, as a cluster that lost a worker."""

    def __init__(self, lost):
        self.lost = dict(lost)

    def submit(self, fn, part):  # noqa: D102
        future = Future()
        if self.lost.get(part, 0):
            self.lost[part] -= 1
            future.set_exception(RuntimeError("worker gone"))
        else:
            future.set_result(fn(part))
        return future


def test_a_part_lost_once_is_tried_again():
    assert sweep(abs, [-1, -2, -3], Workers(Forgetful({-2: 1}))) == [1, 2, 3]


def test_a_part_lost_every_time_costs_only_itself():
    found = sweep(abs, [-1, -2, -3], Workers(Forgetful({-2: 99})))
    assert found[::2] == [1, 3]
    assert isinstance(found[1], LostPart)
    assert "worker gone" in found[1].reason


@pytest.mark.slow
def test_a_part_that_kills_its_process_costs_only_itself():
    parts = ["1", "2", DIES, "4", "5", "6"]
    found = sweep(eval, parts, Workers(processes(), processes, ahead=4))
    assert [r for r in found if not isinstance(r, LostPart)] == [1, 2, 4, 5, 6]
    assert isinstance(found[2], LostPart)


def test_without_a_new_executor_a_broken_one_loses_what_is_open_but_ends():
    class Broken(Executor):
        def submit(self, fn, part):
            raise BrokenExecutor

    found = sweep(abs, [-1, -2], Workers(Broken()))
    assert all(isinstance(result, LostPart) for result in found)
    assert {result.reason for result in found} == {_LOST}  # no name of an exception
