"""A lot measured in a process of its own, so that it can be stopped at any moment and gone on with later."""

import multiprocessing
import signal
import sys
import time
from dataclasses import dataclass, field
from multiprocessing.process import BaseProcess
from pathlib import Path
from types import FrameType
from typing import Any, Final, NoReturn

from capture.errors import FoldgaugeError
from compare.desk.project.lot_folder import LEDGER, LotFolder
from compare.desk.project.project_file import Remembered
from compare.desk.words.desk_option_names import desk_line

EVERY_S: Final = 0.5  # how often progress is written
GOING_S: Final = 8.0  # how long a process may take to end when it is asked to


Plan = tuple[int, float] | None
"""Pieces in the whole lot and AQL (per cent), for a sampling plan; None = only the samples are judged."""


def measure_lot(root: str, lot: str, spec: str, remembered: Remembered, plan: Plan = None) -> None:
    """Measure and judge a lot; runs in the process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _stop)
    there = LotFolder(Path(lot))
    state: dict[str, Any] = {
        "spec": Path(spec).stem,
        "state": "measuring",
        "began": time.time(),
        "size": plan[0] if plan else None,
        "aql": plan[1] if plan else None,
    }
    try:
        _measure(Path(root), there, Path(spec), remembered, plan, state)
    except KeyboardInterrupt:
        there.write_state({**state, "state": "stopped"})
    except FoldgaugeError as err:
        there.write_state({**state, "state": "refused", "line": desk_line(err)})
    except Exception as err:
        there.write_state(
            {**state, "state": "refused", "line": f"an error inside foldgauge ({type(err).__name__})"}
        )

    finally:
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        _let_go()


def _let_go() -> None:
    """End the workers, who would wait for more."""
    if "joblib" in sys.modules:
        from joblib.externals.loky import get_reusable_executor

        get_reusable_executor().shutdown(wait=True)


def _stop(number: int, frame: FrameType | None) -> NoReturn:
    signal.signal(signal.SIGTERM, signal.SIG_IGN)  # once is enough
    raise KeyboardInterrupt


def _measure(
    root: Path, there: LotFolder, spec: Path, remembered: Remembered, plan: Plan, state: dict[str, Any]
) -> None:
    from capture.camera.camera_file import read_camera
    from capture.setup import Setup
    from compare.design.load_spec import load_spec
    from compare.lot.assess_lot import Sampling, assess
    from compare.lot.ledger.ledger import Ledger
    from compare.lot.plans.attribute_plans import plan as require_plan
    from compare.lot.run.checking import Checking
    from compare.lot.run.manifest import read_lot
    from compare.lot.run.runner import Tally, run_lot
    from compare.lot.worst_samples import look_again
    from compare.tell.lot.ledger_telling import TO_LEDGER
    from compare.tell.lot.lot_page import write_lot_report
    from compare.tell.words.lots.lot_decision_words import headline, sentences
    from compare.verdict.conformity import Rule

    setup = Setup(
        use=remembered.use,
        bars_mm=remembered.bars_mm or None,
        camera=read_camera(root / remembered.camera) if remembered.camera else None,
    )
    checking = Checking(setup=setup, telling=TO_LEDGER, rule=Rule(remembered.rule))
    design, found = load_spec(spec), read_lot(there.folder)
    sampling = None if plan is None else Sampling(size=plan[0], aql=plan[1])
    if plan is not None:
        require_plan(*plan, "II")  # refuse what the tables do not have before hours of work
    last = [0.0]

    def tell(tally: Tally) -> None:
        state.update(done=tally.done, known=tally.known, total=tally.total, bad=tally.bad)
        if time.monotonic() - last[0] > EVERY_S:
            last[0] = time.monotonic()
            there.write_state(state)

    with Ledger(str(root / LEDGER)) as book:
        run = run_lot(found, design, checking, book, tell=tell)
        assessment = assess(found.name, design, checking, run, book, sampling)
    write_lot_report(
        assessment, there.report, folder=there.folder, looked=look_again(assessment, run), replace=True
    )
    decision = assessment.decision
    there.write_state(
        {
            **state,
            "state": "done",
            "code": assessment.exit_code,
            "headline": headline(decision, assessment.samples),
            "sentences": sentences(decision, assessment.samples),
        }
    )


@dataclass(slots=True, eq=False)
class LotRuns:
    """The lots being measured; one at a time, for each takes all processors."""

    _running: dict[str, BaseProcess] = field(default_factory=dict)

    def running(self, lot: LotFolder) -> bool:
        """Return whether a lot is being measured now."""
        process = self._running.get(lot.name)
        return process is not None and process.is_alive()

    def any_running(self) -> bool:
        """Return whether any lot is being measured now."""
        return any(p.is_alive() for p in self._running.values())

    def begin(
        self, root: Path, lot: LotFolder, spec: Path, remembered: Remembered, plan: Plan = None
    ) -> None:
        """Begin, or go on: what the ledger holds already is not measured again."""
        lot.write_state({**lot.state(), "spec": spec.stem, "state": "measuring", "began": time.time()})
        process = multiprocessing.get_context("spawn").Process(
            target=measure_lot, args=(str(root), str(lot.folder), str(spec), remembered, plan)
        )
        process.start()
        self._running[lot.name] = process

    def stop(self, lot: LotFolder) -> None:
        """Stop a lot; what is finished is kept."""
        process = self._running.pop(lot.name, None)
        if process is None:
            return
        process.terminate()
        process.join(GOING_S)
        if process.is_alive():
            process.kill()
            process.join()
        if lot.state().get("state") == "measuring":
            lot.write_state({**lot.state(), "state": "stopped"})

    def close(self) -> None:
        """Stop all."""
        for process in self._running.values():
            if process.is_alive():
                process.terminate()
        for process in self._running.values():
            process.join(GOING_S)
            if process.is_alive():
                process.kill()
        self._running.clear()
