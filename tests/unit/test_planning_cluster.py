"""Sweeps on a cluster engine's own executor, the optional extra ``dask``."""

from __future__ import annotations

import warnings

import pytest

from driftmap.planning.sweep import Hands, sweep


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # of the engine, not of this package
def test_a_local_cluster_gives_the_results_of_threads():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        distributed = pytest.importorskip("distributed")
    parts = [f"{i} ** 2" for i in range(12)]
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
        client.get_executor() as executor,
    ):
        assert sweep(eval, parts, Hands(executor)) == sweep(eval, parts)
