"""Sweeps on a cluster engine's own executor, the optional extra ``dask``."""

import os
import warnings
from contextlib import contextmanager
from pathlib import Path

import pytest

from driftmap.planning.sweep import Workers, sweep


@contextmanager
def executor_of(**options):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, **options
        ) as cluster,
        distributed.Client(cluster) as client,
        client.get_executor() as executor,
    ):
        yield executor


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # of the engine, not of this package
def test_a_local_cluster_gives_the_results_of_threads():
    parts = [f"{i} ** 2" for i in range(12)]
    with executor_of(processes=False) as executor:
        assert sweep(eval, parts, Workers(executor)) == sweep(eval, parts)


class Dies:
    """Work that ends its worker the first time it comes to some parts."""

    def __init__(self, folder):
        self.folder = str(folder)

    def __call__(self, part):
        """Square a number; leave a mark and die where there is none yet."""
        mark = Path(self.folder) / str(part)
        if part in {3, 8} and not mark.exists():
            mark.touch()
            os._exit(1)
        return part**2


@pytest.mark.long  # workers take their time to come back
@pytest.mark.filterwarnings("ignore")
def test_nothing_is_lost_with_two_workers_of_a_cluster(tmp_path):
    with executor_of(processes=True) as executor:
        found = sweep(Dies(tmp_path), list(range(12)), Workers(executor, ahead=4))
    assert found == [i**2 for i in range(12)]
    assert sorted(mark.name for mark in tmp_path.iterdir()) == ["3", "8"]
