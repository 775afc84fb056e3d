"""Where an archive's files are judged: in this process, in a pool of processes, or by a Dask scheduler's workers.

Only so many are under way as keep everybody busy, so memory stays flat whatever the archive's size.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from itertools import islice
from typing import Any

from coach.desk.archive import Task
from coach.desk.judge_file import judge_file
from coach.errors import BadInput

Judge = Callable[[Task], dict[str, Any]]
KILLED = "judging it ended the process (out of memory, or killed)"


class Here:
    """One after the other in this process."""

    def run(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, dict[str, Any]]]:
        """Each task with its result."""
        for task in tasks:
            yield task, judge_file(task)


class Pool:
    """Processes on this machine.

    Args:
        processes: how many; one a core if left out.
        judge: what judges a task; module-level, so that a process can be handed it.
    """

    def __init__(self, processes: int | None = None, judge: Judge = judge_file) -> None:
        self.processes = processes or cores()
        self.judge = judge

    def run(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, dict[str, Any]]]:
        """Each task with its result, as they come. When a file ends its process, those under way are tried alone."""
        todo = iter(tasks)
        suspects: list[Task] | None = None
        while suspects is None or suspects:
            suspects = yield from self._together(todo)
            yield from self._alone(suspects)

    def _together(self, todo: Iterator[Task]) -> Generator[tuple[Task, dict[str, Any]], None, list[Task]]:
        """Results until no task is left, or until a process dies; returns the tasks that have no result then."""
        under_way: dict[Future[dict[str, Any]], Task] = {}
        taken: list[Task] = []
        with self._pool(self.processes) as pool:
            try:
                while True:
                    for task in islice(todo, 2 * self.processes - len(under_way)):
                        taken.append(task)
                        under_way[pool.submit(self.judge, task)] = taken.pop()
                    if not under_way:
                        return []
                    for future in wait(under_way, return_when=FIRST_COMPLETED)[0]:
                        result = future.result()
                        yield under_way.pop(future), result
            except BrokenProcessPool:
                return [*under_way.values(), *taken]

    def _alone(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, dict[str, Any]]]:
        for task in tasks:
            with self._pool(1) as pool:
                try:
                    yield task, pool.submit(self.judge, task).result()
                except BrokenProcessPool:
                    yield task, {"file": task.path, "error": KILLED, "drives": []}

    @staticmethod
    def _pool(processes: int) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(processes, mp_context=multiprocessing.get_context("spawn"))


class Cluster:
    """Workers of a Dask scheduler (extra `cluster`), each of which has this program and sees the files.

    Args:
        scheduler: its address, as in `tcp://10.0.0.5:8786`.
    """

    def __init__(self, scheduler: str) -> None:
        self.scheduler = scheduler

    def run(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, dict[str, Any]]]:
        """Each task with its result, as they come. Raises BadInput when there is no scheduler, or no Dask."""
        try:
            import distributed
        except ImportError:
            raise BadInput("a scheduler needs Dask: install the extra, log-capture-coach[cluster]") from None
        try:
            make: Any = distributed.Client
            client = make(self.scheduler, timeout="10s")
        except (OSError, ValueError) as error:
            raise BadInput("no scheduler answers there", where=self.scheduler) from error
        with client:
            todo = iter(tasks)
            most = 2 * max(1, sum(client.nthreads().values()))
            by_future = {}
            for task in islice(todo, most):
                by_future[client.submit(judge_file, task, pure=False, retries=0)] = task
            as_completed: Any = distributed.as_completed
            finished = as_completed(list(by_future), loop=client.loop)
            for future in finished:
                task = by_future.pop(future)
                failed = future.exception()
                if failed is None:
                    yield task, future.result()
                else:
                    kind = type(failed).__name__
                    text = KILLED if kind == "KilledWorker" else f"it cannot be judged ({kind})"
                    yield task, {"file": task.path, "error": text, "drives": []}
                future.release()
                for more in islice(todo, 1):
                    new = client.submit(judge_file, more, pure=False, retries=0)
                    by_future[new] = more
                    finished.add(new)


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
