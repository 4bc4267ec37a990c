"""Commissioning on the page: one session for all phones, in a thread of this process, fed from the broker.

What is done is kept beside the schedule after each answer, as at the terminal: a locked phone, a lost connection, a door
that was ended and a terminal that goes on lose nothing. The lock file keeps it one at a time.
"""

from __future__ import annotations

import queue
import sys
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from panelward import sealed
from panelward.clock import Pace
from panelward.door.plan import Plan
from panelward.errors import BadInput, EnvironmentFault, PanelwardError
from panelward.records import Presence, Reading

if TYPE_CHECKING:  # the page at rest carries none of it: it is small
    from panelward.commission import Session
    from panelward.commission.keys import Asked
    from panelward.commission.progress import Progress
    from panelward.handover import Hearing, Kept

BY = "the door page"
TOLD, ANSWERED = 12, 40  # lines shown, answers remembered
TURN_S, SHOW_S, ANSWER_S = 0.25, 0.2, 8.0
EDGE, LEVEL, QUESTION = 1, 2, 3  # what a phone buzzes for


@dataclass(frozen=True, slots=True)
class View:
    """What the page shows; the same for every phone."""

    running: bool = False
    unfinished: bool = False  # one is kept, and can be gone on with
    fault: str = ""  # why it does not run
    phase: str = ""
    asked: Asked | None = None
    told: tuple[str, ...] = ()  # the last lines, the newest last
    ways: tuple[Progress, ...] = ()
    differs: tuple[str, ...] = ()
    broker: str = ""
    now_ms: int = 0
    until_ms: int | None = None
    answers: int = 0
    numbers: int = 0
    minutes: int = 0
    sealed: tuple[int, str, int] | None = None  # version, seal, how much differs: of the one just written
    version: int = 0  # another whenever the page would read otherwise
    buzz: tuple[int, int] = (0, 0)  # how often a phone was to buzz, and for what the last time


@dataclass(frozen=True, slots=True)
class Taken:
    """One answer that was taken."""

    number: str
    text: str
    phone: str


@dataclass(slots=True)
class _Ask:
    number: str
    text: str
    phone: str
    done: Future[Taken | None] = field(default_factory=Future)


class Fitting:
    """Runs at most one session. Its methods may be called from any thread."""

    def __init__(self, schedule_path: str) -> None:
        self._path = schedule_path
        self._lock = threading.RLock()
        self._session: Session | None = None
        self._kept: Kept | None = None
        self._hearing: Hearing | None = None
        self._thread: threading.Thread | None = None
        self._told: deque[str] = deque(maxlen=TOLD)
        self._taken: deque[Taken] = deque(maxlen=ANSWERED)
        self._view = View()
        self._seen: tuple[Any, ...] = ()
        self._begin: tuple[str, str, tuple[str, ...], bool] | None = None
        self._asks: queue.SimpleQueue[_Ask] = queue.SimpleQueue()
        self._shown_s = 0.0
        self._going_on = False
        self._heard = threading.Condition(self._lock)
        self.changed: Callable[[], None] = lambda: None

    @property
    def view(self) -> View:
        return self._view

    # Beginning and ending.

    def look(self, plan: Plan, pace: Pace | None = None) -> None:
        """Whether one is kept; one that was ended by force under this page goes on by itself."""
        with self._lock:
            if self._thread is not None:
                return
            if not sealed.unfinished_path_of(self._path).exists():
                self._view = replace(self._view, unfinished=False)
                return
            from panelward.handover import Kept

            try:
                kept = Kept(self._path, plan.schedule, plan.text)
            except PanelwardError as error:
                self._view = replace(self._view, fault=str(error))
                return
            unfinished = kept.unfinished
            again = unfinished and kept.left_by() == BY and not self._view.fault
            if unfinished != self._view.unfinished:
                self._view = replace(self._view, unfinished=unfinished)
        if again:
            try:
                self.start(plan, pace=pace)
            except PanelwardError as error:
                with self._lock:
                    self._view = replace(self._view, fault=str(error))

    def start(
        self, plan: Plan, *, who: str = "", instrument: str = "", redo: tuple[str, ...] = (), anew: bool = False,
        pace: Pace | None = None,
    ) -> None:  # fmt: skip
        """Begin, or go on with what is kept. PanelwardError says why it can't be."""
        with self._lock:
            if self._thread is not None:
                return  # another phone was first
            from panelward.handover import Hearing, Kept

            kept = Kept(self._path, plan.schedule, plan.text)
            kept.begun(0, redo)
            kept.lock(BY)
            try:
                hearing = Hearing(plan.schedule, self._path, simulated=pace, say=self._of_broker, turn_s=TURN_S)
            except PanelwardError:
                kept.unlock()
                raise
            self._kept, self._hearing, self._session = kept, hearing, None
            self._begin = (who, instrument, redo, anew)
            self._told.clear()
            self._taken.clear()
            self._view = View(running=True, version=self._view.version + 1, buzz=self._view.buzz)
            self._going_on = False
            self._thread = threading.Thread(target=self._run, args=(hearing,), name="fitting", daemon=True)
            self._thread.start()
        self.changed()

    def stop(self, *, going_on: bool = False) -> None:
        """End here; what is done is kept, and goes on here or at a terminal. `going_on`: by itself, with the next process."""
        with self._lock:
            self._going_on = going_on
            thread, hearing = self._thread, self._hearing
        if hearing is not None:
            hearing.end()
        if thread is not None and thread is not threading.current_thread():
            thread.join(10)

    def _of_broker(self, text: str) -> None:
        with self._lock:
            self._view = replace(self._view, broker="" if text.endswith("connected") else text, version=self._view.version + 1)
        self.changed()

    def _run(self, hearing: Hearing) -> None:
        fault = ""
        try:
            for item, now_ms in hearing.items():
                if self._turn(item, now_ms):
                    break
        except PanelwardError as error:
            fault = str(error)
        except Exception as error:  # a page that says so is worth more than a thread that is gone unheard
            fault = f"{type(error).__name__}: {error}"
            print(f"door: commissioning ended: {fault}", file=sys.stderr, flush=True)
        self._close(hearing, fault)

    def _close(self, hearing: Hearing, fault: str) -> None:
        with self._lock:
            kept, session = self._kept, self._session
            if kept is not None:
                try:
                    if session is not None:
                        kept.keep(session, at_once=True)
                except EnvironmentFault as error:
                    fault = fault or str(error)
                kept.unlock(going_on=self._going_on)
            self._view = replace(
                self._view, running=False, asked=None, fault=fault, unfinished=bool(kept and kept.unfinished),
                version=self._view.version + 1,
            )  # fmt: skip
            self._thread = self._hearing = self._session = self._kept = None
            while not self._asks.empty():
                self._asks.get().done.set_exception(BadInput("nothing is asked now"))
            self._heard.notify_all()
        hearing.end()
        self.changed()

    # What happens.

    def _turn(self, item: Reading | Presence | None, now_ms: int) -> bool:
        """One reading, or time going on; then what was answered. True: it is over.

        The session is this thread's alone: no phone waits for a lock that readings keep taking.
        """
        session = self._session or self._first(now_ms)
        if isinstance(item, Reading):
            self._told.extend(session.reading(item))
        elif isinstance(item, Presence):
            self._told.extend(session.presence(item))
        else:
            self._told.extend(session.advance(now_ms))
        answered = False
        while not self._asks.empty():
            ask = self._asks.get()
            answered = True
            try:
                ask.done.set_result(self._take(session, ask))
            except PanelwardError as error:
                ask.done.set_exception(error)
        if session.made is not None or session.over or answered or time.monotonic() - self._shown_s >= SHOW_S:
            self._after(session)
        return session.over

    def _first(self, now_ms: int) -> Session:
        assert self._kept is not None
        assert self._begin is not None
        who, instrument, redo, anew = self._begin
        if self._kept.unfinished and not anew:
            session = self._kept.taken_up(now_ms)
        else:
            session = self._kept.begun(now_ms, redo)
            for text in (who, instrument):
                self._told.extend(session.answer(text or "don't know"))
        self._kept.keep(session, at_once=True)
        with self._lock:
            self._session = session
            self._heard.notify_all()
        return session

    def _after(self, session: Session) -> None:
        assert self._kept is not None
        self._shown_s = time.monotonic()
        newest = self._kept.keep(session)
        if newest is not None:
            self._view = replace(self._view, sealed=(newest.version, newest.seal, len(newest.differs)))
        self._show(session)

    def _show(self, session: Session) -> None:
        """A new view, where it would read otherwise."""
        state, old = session.state, self._view
        edges, levels, number = session.lap.known_edges, len(state.accepted), session.number if session.prompt else ""
        missing = tuple(session.missing()) if state.phase == "lap" else ()
        known = (tuple(state.found.items()), tuple(state.skipped), missing, state.phase, tuple(self._told))
        seen = (number, known, levels, edges)
        if seen == self._seen:
            return
        before, self._seen = self._seen, seen
        count, what = old.buzz
        if before:
            if number != before[0] and number.partition("-")[2].startswith(("which", "order", "uncovered")):
                count, what = count + 1, QUESTION
            elif levels > before[2]:
                count, what = count + 1, LEVEL
            elif edges > before[3]:
                count, what = count + 1, EDGE
        lap = state.match_from_ms is not None
        self._view = replace(
            old, running=True, unfinished=True, fault="", phase=state.phase, asked=session.asked, told=tuple(self._told),
            ways=session.ways if lap else (), differs=session.so_far.differs if state.phase in ("summary", "overnight") else (),
            now_ms=state.now_ms, until_ms=state.until_ms, answers=state.taps, numbers=state.numbers,
            minutes=round((state.now_ms - state.begun_ms) / 60_000), version=old.version + 1, buzz=(count, what),
        )  # fmt: skip
        self.changed()

    def ready(self, seconds: float = 5.0) -> bool:
        """Wait a little until the first question stands."""
        with self._lock:
            self._heard.wait_for(lambda: self._session is not None or self._thread is None, seconds)
            return self._session is not None

    def answer(self, number: str, text: str, phone: str) -> Taken | None:
        """Take an answer to that question. Not None: it was answered before, so.

        BadInput where nothing runs, or another question came up meanwhile.
        """
        ask = _Ask(number, text, phone)
        with self._lock:
            hearing = self._hearing
            if hearing is None or self._session is None:
                raise BadInput("nothing is asked now")
            self._asks.put(ask)
        hearing.nudge()
        try:
            return ask.done.result(ANSWER_S)
        except TimeoutError:
            raise BadInput("nothing is asked now") from None

    def _take(self, session: Session, ask: _Ask) -> Taken | None:
        assert self._kept is not None
        if ask.number != session.number:
            before = next((each for each in reversed(self._taken) if each.number == ask.number), None)
            if before is None:
                raise BadInput("another question")
            return before
        self._told.extend([*([f"> {ask.text}"] if ask.text else []), *session.answer(ask.text, ask.number)])
        self._taken.append(Taken(ask.number, ask.text, ask.phone))
        self._after(session)  # kept before it is said to be taken
        return None
