"""The server: starts web, worker and listener, watches them, starts anew what died or fell silent, and ends all."""

import contextlib
import logging
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from types import FrameType

from django.conf import settings
from django.db import Error as DatabaseFault
from django.db import connection
from django.utils import timezone
from django_q.models import Schedule

from plant.background import heartbeat, keeper, sweep
from plant.background.clock_jumps import ClockWatch, follow
from plant.background.patience import Patience
from plant.background.process import end_group
from plant.background.queueing import put
from plant.models import Heartbeat, JobAttempt, ReadingSource

logger = logging.getLogger(__name__)

LOOK_EVERY_S = 1.0
SILENT_BEATS = 3
# Pages may be slow while many ask for them: they are given longer than the worker, which answers between two tasks.
WEB_SILENT_BEATS = 12
# A child that dies at once is not started more often than this.
START_PAUSE_S = 3.0
MOST_WEB_STARTS = 3
# The mill's hour may begin at a quarter of UTC's: some zones are 30 or 45 minutes off.
TICK_CRON = "*/15 * * * *"
LOOK_CRON = "* * * * *"


class Child:
    """A process with its descendants, in a group of its own so that nothing of it can be left over."""

    def __init__(self, *arguments: str) -> None:
        self.arguments = arguments
        self.process: subprocess.Popen[bytes] | None = None
        self.started = -START_PAUSE_S
        self.starts = 0

    @property
    def group(self) -> int:
        """Return the number of its group; 0 where it is not started."""
        return self.process.pid if self.process else 0

    def start(self) -> None:
        """Start it."""
        role, *rest = self.arguments
        command = [sys.executable, "-m", "plant.background.children", role, str(os.getpid()), *rest]
        self.process = subprocess.Popen(  # noqa: S603  our own module, no shell
            command, cwd=settings.BASE_DIR, stdin=subprocess.DEVNULL, start_new_session=True
        )
        self.started = time.monotonic()
        self.starts += 1

    def has_ended(self) -> bool:
        """Say whether its first process ended, without burying it: until then its group's number is not reused."""
        flags = os.WEXITED | os.WNOHANG | os.WNOWAIT
        return self.process is None or os.waitid(os.P_PID, self.process.pid, flags) is not None

    def ask_to_end(self) -> None:
        """Ask it to end what it is doing and go."""
        if self.process is not None and not self.has_ended():
            self.process.send_signal(signal.SIGTERM)

    def end(self) -> None:
        """End it and all its descendants at once."""
        if self.process is not None:
            end_group(self.process.pid)
            self.process.wait()
            self.process = None


class Knocking(threading.Thread):
    """Knocks at the pages again and again, beside the supervisor: a server that says nothing must not hold that up."""

    def __init__(self, knock: Callable[[], bool]) -> None:
        super().__init__(daemon=True)
        self.knock = knock
        self.answers = 0
        self.ending = threading.Event()

    def run(self) -> None:
        """Count the answers until told to end."""
        while not self.ending.wait(float(settings.HEARTBEAT_S)):
            self.answers += self.knock()


class Supervisor:
    """Keeps web and worker going until it is told to end, and a listener where there is a broker to listen to."""

    def __init__(
        self,
        web: Child | None,
        worker: Child | None,
        tell: Callable[[], bool],
        knock: Callable[[], bool],
        listener: Child | None = None,
    ) -> None:
        self.web = web
        self.worker = worker
        self.listener = listener
        # Called until it returns True: says that the pages answer.
        self.tell = tell
        self.has_told = False
        self.signals = 0
        self.exit_code = 0
        self.last_beat = Heartbeat()
        self.worker_patience = Patience(SILENT_BEATS * float(settings.HEARTBEAT_S))
        self.web_patience = Patience(WEB_SILENT_BEATS * float(settings.HEARTBEAT_S))
        self.knocking = Knocking(knock)
        self.answers = 0
        self.clock = ClockWatch()
        self.asked = -float(settings.HEARTBEAT_S)
        self.looked_for_brokers = -float(settings.HEARTBEAT_S)

    def run(self) -> int:
        """Serve until a signal comes; return the exit code."""
        with self._signals_noted():
            try:
                if self.worker:
                    self._prepare_work()
                if self.web:
                    self.knocking.start()
                while not self.signals and not self.exit_code:
                    self._look_at_web()
                    self._look_at_worker()
                    self._look_at_listener()
                    self._doze(LOOK_EVERY_S)
            finally:
                self._end()
        return self.exit_code

    @contextlib.contextmanager
    def _signals_noted(self) -> Iterator[None]:
        def note(number: int, frame: FrameType | None) -> None:
            self.signals += 1

        before = {number: signal.signal(number, note) for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)}
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    def _doze(self, seconds: float) -> None:
        """Sleep in short pieces: a signal does not cut Python's sleep short."""
        until = time.monotonic() + seconds
        while time.monotonic() < until and not self.signals:
            time.sleep(0.1)

    def _look_at_web(self) -> None:
        if self.web is None:
            return
        if self.knocking.answers != self.answers:
            self.answers = self.knocking.answers
            self.web_patience.sign()
        silent_s = 0.0 if self.web.has_ended() else self.web_patience.is_over()
        if silent_s:
            logger.warning("The web server was silent for %.0f s; it is started anew.", silent_s)
            self.web.end()
            self.web_patience.started()
            self.web.start()
        if self.web.has_ended() and time.monotonic() - self.web.started >= START_PAUSE_S:
            self.web.end()
            if not self.has_told and self.web.starts >= MOST_WEB_STARTS:
                logger.error("The web server ended at each of %d starts.", self.web.starts)
                self.exit_code = 1
                return
            if self.web.starts:
                logger.warning("The web server ended; it is started anew.")
            self.web_patience.started()
            self.web.start()
        if not self.has_told:
            self.has_told = self.tell()

    def _prepare_work(self) -> None:
        keeper.take_charge()
        for name, function, cron in (
            ("what is due today", "tick", TICK_CRON),
            ("look into watched folders", "look", LOOK_CRON),
        ):
            Schedule.objects.update_or_create(
                name=name,
                defaults={
                    "func": f"plant.tasks.{function}",
                    "schedule_type": Schedule.CRON,
                    "cron": cron,
                    "repeats": -1,
                    "kwargs": "{'q_options': {'save': False, 'ack_failure': True}}",
                },
            )
        # What came due while nothing was served is not left until the next quarter of an hour.
        put("tick")

    def _look_at_worker(self) -> None:
        if self.worker is None:
            return
        try:
            jump_s = self.clock.look()
            if jump_s:
                follow(jump_s)
            if self.worker.has_ended():
                if time.monotonic() - self.worker.started >= START_PAUSE_S:
                    self._start_worker("its first process ended")
                return
            if time.monotonic() - self.asked >= settings.HEARTBEAT_S:
                self.asked = time.monotonic()
                keeper.stay_in_charge()
                heartbeat.ask()
            sweep.sweep()
            trouble = self._trouble()
            if trouble:
                self._start_worker(trouble)
        except keeper.KeptElsewhereError as fault:
            logger.error("Another server took over the background work: %s.", fault)
            self.exit_code = 1
        except DatabaseFault as fault:
            # Without the database nothing can be judged: neither silence nor what is left to do.
            logger.warning("The database does not answer: %s", fault)
            connection.close()
            self.worker_patience.wait_anew()

    def _look_at_listener(self) -> None:
        """Let somebody listen as long as a source wants it; most mills have no broker, and need no process for it."""
        if self.listener is None or time.monotonic() - self.looked_for_brokers < settings.HEARTBEAT_S:
            return
        self.looked_for_brokers = time.monotonic()
        try:
            is_wanted = ReadingSource.objects.listening().exists()
        except DatabaseFault as fault:
            logger.warning("The database does not answer: %s", fault)
            connection.close()
            return
        if not is_wanted:
            self.listener.ask_to_end()
        if self.listener.has_ended():
            if self.listener.process is not None and is_wanted:
                logger.warning("The listener ended; it is started anew.")
            self.listener.end()
            if is_wanted and time.monotonic() - self.listener.started >= START_PAUSE_S:
                self.listener.start()

    def _trouble(self) -> str:
        """Say why the worker must be started anew; empty where it lives."""
        beat = Heartbeat.objects.get(name=heartbeat.NAME)
        if beat.at != self.last_beat.at:
            self.last_beat = beat
            self.worker_patience.sign()
        busy = sweep.attempts_of_group(self.worker.group if self.worker else 0)
        longest = timedelta(seconds=settings.TASK_TIMEOUT_S + sweep.OVERRUN_S)
        if any(timezone.now() - attempt.started_at > longest for attempt in busy):
            return "a task overran its time and could not be ended"
        # Workers that are all busy cannot answer; one that is idle must.
        silent_s = self.worker_patience.is_over()
        if len(busy) < settings.Q_CLUSTER["workers"] and silent_s:
            return f"silent for {silent_s:.0f} s"
        return ""

    def _start_worker(self, reason: str) -> None:
        """Start the worker with nothing of its forerunner left: neither a process, nor a claim, nor a lock."""
        assert self.worker is not None  # noqa: S101  for the type checker
        if self.worker.starts:
            logger.warning("The worker is started anew: %s.", reason)
            keeper.count_restart()
        self._end_worker()
        sweep.sweep()
        sweep.unlock_rows()
        self.worker.start()
        self.last_beat = Heartbeat.objects.get(name=heartbeat.NAME)
        self.worker_patience.started()

    def _end_worker(self) -> None:
        if self.worker is not None and self.worker.process is not None:
            interrupted = sweep.attempts_of_group(self.worker.group)
            self.worker.end()
            sweep.release(interrupted, JobAttempt.Outcome.INTERRUPTED)

    def _end(self) -> None:
        """Let running pages and tasks come to an end for a while, then end everything."""
        children = [child for child in (self.web, self.worker, self.listener) if child]
        self.knocking.ending.set()
        noted = self.signals
        for child in children:
            child.ask_to_end()
        until = time.monotonic() + settings.STOP_S
        # A second signal means: now.
        while time.monotonic() < until and self.signals == noted and not all(child.has_ended() for child in children):
            time.sleep(0.05)
        try:
            self._end_worker()
            if self.worker:
                keeper.leave()
        except DatabaseFault as fault:
            # The next start finds the claims of vanished workers by itself.
            logger.warning("The database did not answer at the end: %s", fault)
        finally:
            for child in children:
                child.end()
