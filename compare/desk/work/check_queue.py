"""Checks that are to be done: those just brought, and those a stop left behind."""

import asyncio
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Final

from compare.desk.project.check_folder import CheckFolder, refuse
from compare.desk.work.worker_pool import WorkerPool, WorkFailed

FAILED: Final[Mapping[str, str]] = MappingProxyType(
    {
        "time": "measuring took too long and was stopped; try a smaller copy of the photo",
        "died": "measuring broke off, the photo may be damaged; copy it again from the camera",
        "MemoryError": "there is not enough memory for this photo; try a smaller copy",
    }
)
BUG: Final = "an error inside foldgauge ({kind}); please tell us, and send the photo if you may"


class CheckQueue:
    """Hands checks to the workers; what is finished is in the folders."""

    def __init__(self, pool: WorkerPool) -> None:
        self._pool = pool
        self._tasks: dict[Path, asyncio.Task[None]] = {}

    def add(self, check: CheckFolder) -> None:
        """Have a check done, if it is not in hand already."""
        if check.folder not in self._tasks:
            task = asyncio.create_task(self._do(check))
            self._tasks[check.folder] = task
            task.add_done_callback(lambda _: self._tasks.pop(check.folder, None))

    def __len__(self) -> int:
        """Return how many are waiting or being done."""
        return len(self._tasks)

    async def _do(self, check: CheckFolder) -> None:
        folder = check.folder
        try:
            await self._pool.run("do_check", str(folder), about=str(folder))
        except WorkFailed as err:
            line = err.line or FAILED.get(err.kind, BUG.format(kind=err.kind))
            if folder.is_dir() and check.state == "waiting":
                refuse(folder, line)

    async def stop(self) -> None:
        """Let go of what is in hand; it is done when the desk opens again."""
        tasks = list(self._tasks.values())
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
