"""The one door to Dask (``ventcalc[cluster]``): parcels over many machines."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from ventcalc.errors import BadInput

__all__ = ["on_cluster"]

PATIENCE = "10s"
"""For a scheduler that does not answer."""
AHEAD = 3
"""Parcels sent out for each thread of a worker; more would only fill the scheduler."""


def on_cluster(
    work: Callable[[Any], Any], jobs: Sequence[Any], scheduler: str
) -> Iterator[tuple[int, Any]]:
    """
    Results as they come in, each with the place of its job; one whose worker dies goes to another.
    """
    try:
        from distributed import Client, KilledWorker, as_completed
    except ImportError:
        raise BadInput(
            '--scheduler needs Dask: python -m pip install "ventcalc[cluster]"'
        ) from None
    try:
        client = Client(scheduler, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError) as error:
        raise BadInput(
            f"scheduler {scheduler!r}: does not answer ({error}); start one with `dask scheduler`, "
            "and `dask worker ADDRESS` on each machine"
        ) from None
    with client:
        threads = sum(client.nthreads().values())
        if not threads:
            raise BadInput(
                f"scheduler {scheduler!r}: has no workers; start `dask worker {scheduler}`"
            )
        places: dict[Any, int] = {}
        ahead = iter(enumerate(jobs))

        def send() -> Any:
            place, one = next(ahead)
            future = client.submit(work, one, key=f"parcel-{place}-{one.key}")
            places[future.key] = place
            return future

        count = min(len(jobs), AHEAD * threads)
        coming = as_completed([send() for _ in range(count)], loop=client.loop)
        for future in coming:
            try:
                result = future.result()
            except KilledWorker:
                raise BadInput(
                    f"scheduler {scheduler!r}: several workers died over one parcel; is their "
                    "memory too small?"
                ) from None
            yield places.pop(future.key), result
            if count < len(jobs):
                count += 1
                coming.add(send())
