"""Hands tasks to processes and gives their outcomes as they come.

One worker runs in this process, without dask; several run under dask.distributed on this machine; with
an address they run on a scheduler that somebody already runs, whose workers must have this program.
"""

from __future__ import annotations

import itertools
import logging
import os
import signal
from collections.abc import Iterator, Sequence
from types import TracebackType
from typing import Any

from steer import __version__
from steer.errors import CommandLineWrong, InputRefused
from steer.study.task import Outcome, Plan, Task, run_task

REACH_S = 10  # how long a scheduler may take to answer
AHEAD = 8  # tasks handed over per worker beyond those running


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class Spread:
    """A context manager: `for outcome in spread.run(plan, tasks)`. `workers` is how many there are."""

    def __init__(self, workers: int | None = None, scheduler: str | None = None) -> None:
        self.workers = workers or cores()
        self.scheduler = scheduler
        self._client: Any = None
        self._cluster: Any = None

    def __enter__(self) -> Spread:
        if self.scheduler is None and self.workers == 1:
            return self
        try:
            from distributed import Client, LocalCluster
        except ImportError:
            raise CommandLineWrong(
                "several processes need dask: pip install 'line-and-level-steering[study]', or --workers 1"
            ) from None
        if self.scheduler is None:
            # Workers must not hear Ctrl-C: this process ends them, after it has kept what is done.
            heard = signal.signal(signal.SIGINT, signal.SIG_IGN)
            try:
                self._cluster = LocalCluster(
                    n_workers=self.workers, threads_per_worker=1, processes=True, dashboard_address=None,
                    silence_logs=logging.CRITICAL,
                )  # fmt: skip
                self._client = Client(self._cluster)
            finally:
                signal.signal(signal.SIGINT, heard)
            return self
        # a lost connection is said once, by this program
        logging.getLogger("distributed.client").setLevel(logging.CRITICAL)
        try:
            self._client = Client(self.scheduler, timeout=REACH_S)
            versions = self._client.run(_version)
        except (OSError, ValueError, TimeoutError) as error:
            raise InputRefused(f"scheduler {self.scheduler}: cannot be reached: {error}") from None
        except Exception as error:
            self.__exit__(None, None, None)
            raise InputRefused(
                f"scheduler {self.scheduler}: its workers cannot run this program ({error}); "
                f"install version {__version__} there"
            ) from None
        self.workers = len(versions)
        if not versions:
            self.__exit__(None, None, None)
            raise InputRefused(f"scheduler {self.scheduler}: it has no workers")
        other = {v for v in versions.values() if v != __version__}
        if other:
            self.__exit__(None, None, None)
            raise InputRefused(
                f"scheduler {self.scheduler}: its workers run version {', '.join(sorted(other))}, "
                f"this is {__version__}"
            )
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._client is not None:
            self._client.close(timeout=2)
            self._client = None
        if self._cluster is not None:
            self._cluster.close(timeout=5)
            self._cluster = None

    def run(self, plan: Plan, tasks: Sequence[Task]) -> Iterator[Outcome]:
        """Outcomes in the order in which they are done. Raises InputRefused when the processes are lost."""
        if self._client is None:
            for task in tasks:
                yield run_task(plan, task)
            return
        from distributed import KilledWorker, as_completed
        from distributed.client import FutureCancelledError

        [shared] = self._client.scatter([plan], broadcast=True, hash=False)
        waiting = iter(tasks)
        first = itertools.islice(waiting, self.workers * AHEAD)
        begun = {self._client.submit(run_task, shared, task, pure=False): task for task in first}
        running = as_completed(begun)
        for future in running:
            task = begun.pop(future)
            try:
                outcome = future.result()
            except KilledWorker:
                outcome = Outcome(task, failed="the process that drove it ended, several times over")
            except FutureCancelledError as error:
                raise InputRefused(
                    f"{f'scheduler {self.scheduler}' if self.scheduler else 'processes'}: lost while the drives "
                    f"ran ({error.reason})"
                ) from None
            yield outcome
            for task in itertools.islice(waiting, 1):
                future = self._client.submit(run_task, shared, task, pure=False)
                begun[future] = task
                running.add(future)


def _version() -> str:
    from steer import __version__ as version

    return version
