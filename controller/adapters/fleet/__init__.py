"""The same work over many items: here, in processes, or on machines elsewhere.

    with pool(workers=2) as mapper:
        results = mapper.map(function, items)

Every way gives the same results in the order of the items, whoever did the work
and however often a worker was killed meanwhile. The one on dask is imported by
its own name, `controller.adapters.fleet.on_dask`: it is an extra.
"""

from controller.adapters.fleet.journal import Journal, JournalError, begun, resumed
from controller.adapters.fleet.manners import NICE
from controller.adapters.fleet.mapping import Lost, Mapper, SchedulerError, nobody
from controller.adapters.fleet.pool import pool
from controller.adapters.fleet.same_process import Here

__all__ = [
    "NICE",
    "Here",
    "Journal",
    "JournalError",
    "Lost",
    "Mapper",
    "SchedulerError",
    "begun",
    "nobody",
    "pool",
    "resumed",
]
