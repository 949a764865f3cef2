"""A few worker processes: jobs wait for a free one, run within a time limit, and never hurt the desk."""

import asyncio
import multiprocessing
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any, Final

from compare.desk.work.worker_process import Reply, serve

WORKERS: Final = 2
MOST_SECONDS: Final = 120.0
"""A check of twelve photos of 48 megapixels takes about one minute on a slow machine."""

JOBS_A_PROCESS: Final = 60
"""After so many a process gives way to a fresh one, so that no library's memory grows without end."""


class WorkFailed(Exception):
    """A job came to no result: `refused` holds the line for the user, else it broke, or ran out of time."""

    def __init__(self, kind: str, line: str = "") -> None:
        super().__init__(kind, line)
        self.kind, self.line = kind, line


@dataclass(slots=True, eq=False)
class _Worker:
    """One process and what it did last."""

    target: Callable[..., None]
    process: BaseProcess | None = None
    pipe: Connection | None = None
    jobs: int = 0
    last: str = ""

    def start(self) -> None:
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        self.process = context.Process(target=self.target, args=(theirs,), daemon=True)
        self.process.start()
        theirs.close()
        self.pipe, self.jobs, self.last = ours, 0, ""

    def stop(self) -> None:
        if self.pipe is not None:
            self.pipe.close()
        if self.process is not None:
            self.process.kill()
            self.process.join()
        self.process = self.pipe = None

    def call(self, name: str, args: tuple[Any, ...], seconds: float) -> Reply:
        """Run one job, here in a thread; a process that hangs or has died is replaced."""
        if self.process is None or not self.process.is_alive() or self.jobs >= JOBS_A_PROCESS:
            self.stop()
            self.start()
        assert self.pipe is not None
        self.jobs += 1
        try:
            self.pipe.send((name, args))
            until = time.monotonic() + seconds
            while not self.pipe.poll(min(0.5, max(until - time.monotonic(), 0.0))):
                if time.monotonic() >= until:
                    self.stop()
                    return "failed", "time"
            reply: Reply = self.pipe.recv()
        except (EOFError, OSError):
            self.stop()
            return "failed", "died"
        return reply


@dataclass(slots=True, eq=False)
class WorkerPool:
    """The processes; `target` is what runs in them."""

    count: int = WORKERS
    target: Callable[..., None] = serve
    _free: list[_Worker] = field(default_factory=list)
    _all: list[_Worker] = field(default_factory=list)
    _jobs: set["asyncio.Task[Reply]"] = field(default_factory=set)
    _turn: asyncio.Condition = field(default_factory=asyncio.Condition)

    def __post_init__(self) -> None:
        """Have workers; their processes start with their first job."""
        self._all = [_Worker(self.target) for _ in range(self.count)]
        self._free = list(self._all)

    async def warm(self, after: float) -> None:
        """Start the processes after so many seconds, so that all is loaded when the first photo comes."""
        await asyncio.sleep(after)
        await asyncio.gather(*(self.run("ready") for _ in self._all), return_exceptions=True)

    def close(self) -> None:
        """End the processes."""
        for worker in self._all:
            worker.stop()

    async def run(self, name: str, *args: Any, about: str = "", seconds: float = MOST_SECONDS) -> Any:
        """Run a function of `compare.desk.work.photo_work`.

        Parameters
        ----------
        about : what the job is about; one who did a job about the same last is preferred.

        Raises
        ------
        WorkFailed : it came to no result.
        """
        async with self._turn:
            await self._turn.wait_for(lambda: bool(self._free))
            worker = next((w for w in self._free if about and w.last == about), self._free[-1])
            self._free.remove(worker)
        # Whoever asked may go away; the worker is free again when its job is done, and not before.
        job = asyncio.create_task(self._call(worker, name, args, seconds, about))
        self._jobs.add(job)
        job.add_done_callback(self._jobs.discard)
        kind, result = await asyncio.shield(job)
        if kind == "done":
            return result
        raise WorkFailed(kind if kind == "refused" else result, result if kind == "refused" else "")

    async def _call(
        self, worker: _Worker, name: str, args: tuple[Any, ...], seconds: float, about: str
    ) -> Reply:
        """Let a worker do a job in a thread of ours, and set it free."""
        try:
            reply = await asyncio.to_thread(worker.call, name, args, seconds)
            worker.last = about
            return reply
        finally:
            async with self._turn:
                self._free.append(worker)
                self._turn.notify()
