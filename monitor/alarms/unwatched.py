"""Tells people that nobody watches the air, while the monitor cannot start: by the routes, as of any other alarm.

Where the journal cannot be opened either, what was told is kept in memory until it can be, and written into it then.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Collection

from sqlalchemy.exc import SQLAlchemyError

from monitor.alarms.alarms import Alarms, open_alarms
from monitor.alarms.carry_over import carry_over
from monitor.alarms.channels import Deliver, deliver
from monitor.alarms.journal import Journal
from monitor.alarms.sender import Sender
from monitor.clock import now_ms, steady_ms
from monitor.errors import AlarmError, MonitorError
from monitor.rules.finding import Finding
from monitor.rules.own_parts import WORDS, part_findings
from monitor.site import Site
from monitor.site.alarm_settings import ByPriority

logger = logging.getLogger(__name__)
TROUBLES = (MonitorError, OSError, SQLAlchemyError)
"""What a journal in a broken place may raise, when it is opened and when it is written."""


class Unwatched:
    """From when a start first failed until one succeeds.

    Parameters
    ----------
    parts : the parts of the monitor that this process runs: ``judge`` raises the alarm, ``send`` tells it
    passed : a clock [ms] that only runs on
    """

    def __init__(
        self,
        site: Site,
        parts: Collection[str],
        send: Deliver = deliver,
        clock: Callable[[], int] = now_ms,
        passed: Callable[[], int] = steady_ms,
    ) -> None:
        self._site, self._parts, self._send, self._clock, self._passed = site, parts, send, clock, passed
        self._since: tuple[int, int] | None = None
        self._alarms: Alarms | None = None
        self._sender: Sender | None = None
        self._kept: Alarms | None = None
        self._said = ""

    @property
    def waits(self) -> bool:
        """Whether a start has failed and none succeeded since."""
        return self._since is not None

    def failed(self, reason: str) -> None:
        """A start failed: after a few minutes of it tell people, once, and go on sending what waits."""
        moment_ms, passed_ms = self._clock(), self._passed()
        since_ms, since_passed_ms = self._since = self._since or (moment_ms, passed_ms)
        is_soon = passed_ms - since_passed_ms < WORDS["start"].after_ms
        if is_soon or not {"judge", "send"} & set(self._parts):
            return
        # By the steady clock it is long enough, however the other was set meanwhile.
        begun_ms = min(since_ms, moment_ms - WORDS["start"].after_ms)
        state = {"start": {"ok": False, "since_ms": begun_ms, "detail": reason}}
        try:
            self._tell(list(part_findings(state, moment_ms)), moment_ms)
        except Exception as error:
            if str(error) != self._said:
                logger.exception("people cannot be told that the monitor does not start; trying again")
            self._said = str(error)

    def hand_over(self) -> None:
        """Let go of the journal, with all in it that was told, for those who follow: the store can be opened.

        Raises
        ------
        AlarmError
            The journal cannot be opened or written; what was told is still kept.
        """
        self._let_go()
        if self._kept is not None:
            self._with_what_was_kept().close()

    def over(self) -> None:
        """The monitor has started; its alarms say so where people were told."""
        self._since = None

    def _tell(self, findings: list[Finding], moment_ms: int) -> None:
        try:
            self._open()
            self._raise(self._alarms, findings, moment_ms)
        except TROUBLES as error:
            self._let_go()
            if self._kept is None:
                logger.warning("there is no journal either (%s); what is told is kept in memory", error)
                self._kept = Alarms(Journal("sqlite://"), self._without_page(), self._passed)
            self._raise(self._kept, findings, moment_ms)
            self._send_kept()

    def _open(self) -> None:
        """Open the site's journal, write what was kept meanwhile into it, and begin to send from it."""
        if self._alarms is not None:
            return
        self._alarms = self._with_what_was_kept()
        if "send" in self._parts:
            self._sender = Sender(self._site, self._alarms, self._send, self._clock)
            self._sender.start()

    def _raise(self, alarms: Alarms | None, findings: list[Finding], moment_ms: int) -> None:
        if alarms is None or "judge" not in self._parts:
            return
        # What stood before stands on: nobody knows better.
        standing = (a.finding for a in alarms.standing() if a.active)
        stands_on = [f for f in standing if not f.aspect.startswith(("part-start", "route-"))]
        alarms.update([*findings, *stands_on], moment_ms)

    def _send_kept(self) -> None:
        if self._kept is None or "send" not in self._parts:
            return
        sender = Sender(self._without_page(), self._kept, self._send, self._clock)
        for route in self._site.routes:
            sender.send_waiting(route.name)

    def _with_what_was_kept(self) -> Alarms:
        """The alarms on the site's journal, with what was told while it could not be opened."""
        self._site.data_folder.mkdir(parents=True, exist_ok=True)
        alarms = open_alarms(self._site, self._passed)
        if self._kept is None:
            return alarms
        try:
            carry_over(self._kept.journal, alarms.journal)
        except SQLAlchemyError as error:
            alarms.close()
            reason = str(getattr(error, "orig", error)).splitlines()[0]
            raise AlarmError(f"the alarm journal cannot be written: {reason}") from error
        self._kept.close()
        self._kept = None
        return alarms

    def _let_go(self) -> None:
        if self._sender is not None:
            self._sender.stop()
        if self._alarms is not None:
            self._alarms.close()
        self._alarms = self._sender = None

    def _without_page(self) -> Site:
        """The site without what needs its journal: nobody can acknowledge, so nobody is reminded."""
        quiet = {"acknowledge": None, "remind_min": ByPriority(), "daily_at": None}
        return self._site.model_copy(update={"alarms": self._site.alarms.model_copy(update=quiet)}).at(
            self._site.path
        )
