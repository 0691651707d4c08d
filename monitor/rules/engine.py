"""Runs every rule over every room, and keeps their state through a restart."""

from __future__ import annotations

import importlib
import inspect
import logging
import pkgutil
from typing import Any

from monitor.rules.base import Rule
from monitor.rules.finding import Finding, Priority
from monitor.rules.moment import Moment
from monitor.rules.own_parts import part_findings
from monitor.site import Rules, Site

logger = logging.getLogger(__name__)
STATE_VERSION = 1


def rule_classes() -> list[type[Rule]]:
    """Every rule there is, found in the package's own modules, in order of name."""
    package = importlib.import_module("monitor.rules")
    found: dict[str, type[Rule]] = {}
    for module in pkgutil.iter_modules(package.__path__):
        for _, candidate in inspect.getmembers(
            importlib.import_module(f"monitor.rules.{module.name}"), inspect.isclass
        ):
            if issubclass(candidate, Rule) and candidate.name in Rules.model_fields:
                found[candidate.name] = candidate
    return [found[name] for name in sorted(found)]


class Engine:
    """One instance of each rule in each room of a site.

    A rule that fails is reported as a finding about the monitor itself; what it last found stands on, so that its
    alarms do not look as if they were over, and the others go on.
    """

    def __init__(self, site: Site) -> None:
        self.site = site
        self.rules: dict[tuple[str, str], Rule] = {
            (kind.name, room.id): kind(site, room) for room in site.rooms for kind in rule_classes()
        }
        self._failed: dict[tuple[str, str], int] = {}
        self._found: dict[tuple[str, str], list[Finding]] = {}

    def update(self, moment: Moment) -> list[Finding]:
        """Every condition that holds at a moment, in a steady order."""
        findings = list(part_findings(moment.parts, moment.now_ms))
        for key, rule in self.rules.items():
            try:
                rule.update(moment)
                self._found[key] = rule.findings()
                self._failed.pop(key, None)
            except Exception:
                logger.exception("rule %s failed in room %s", *key)
                findings.append(self._failure(key, moment.now_ms))
            findings += self._found.get(key, [])
        return findings

    def _failure(self, key: tuple[str, str], now_ms: int) -> Finding:
        rule, room = key
        return Finding(
            rule="monitor",
            room=room,
            aspect=f"rule-{rule}",
            since_ms=self._failed.setdefault(key, now_ms),
            seen_ms=now_ms,
            what=f"The rule {rule} failed in room {room}; its alarms do not work",
            check_first="See the monitor's log; run: maturing-room check SITE.toml",
            priority=Priority.HIGH,
            effect="what this rule watches for goes unnoticed",
        )

    def state(self) -> dict[str, Any]:
        """The state of all rules, fit for JSON."""
        return {
            "version": STATE_VERSION,
            "rules": [{"rule": n, "room": r, "state": rule.state()} for (n, r), rule in self.rules.items()],
        }

    def restore(self, state: dict[str, Any] | None) -> None:
        """Go on from a `state`.

        Rules and rooms that are no longer there are passed over; a part that cannot be read starts afresh.
        """
        if not isinstance(state, dict) or state.get("version") != STATE_VERSION:
            return
        for saved in state.get("rules", []):
            rule = self.rules.get((saved.get("rule"), saved.get("room")))
            if rule is None:
                continue
            try:
                rule.restore(saved["state"])
                self._found[rule.name, rule.room.id] = rule.findings()
            except (KeyError, TypeError, ValueError, AttributeError):
                logger.warning("the saved state of rule %s cannot be read; it starts afresh", rule.name)
                rule.reset()
