"""Settings of alarms that cannot be: refused with file, line, key and what would be right."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.site import check_text
from tests.test_site import GOOD

WORK = '[[planned_work]]\nroom = "{room}"\nkind = "{kind}"\ndays = {days}\nbegin = "{begin}"\nend = "{end}"\n'
GOOD_WORK = {"room": "vault", "kind": "washing", "days": '["mon"]', "begin": "09:00", "end": "11:00"}


def work(**changes: str) -> str:
    return WORK.format(**{**GOOD_WORK, **changes})


def test_all_there_is_can_be_said() -> None:
    """Routes with quiet hours and a next person, reminders, the link, and work that comes again."""
    text = GOOD.replace(
        "[[route]]", '[[route]]\nquiet_hours = { begin = "22:00", end = "06:30" }\nafter_min = 20'
    )
    text += '[alarms]\ndaily_at = "07:30"\npriorities = { band = "low" }\n[alarms.remind_min]\nhigh = 20\n'
    text += '[alarms.acknowledge]\naddress = "https://ack.farm.example"\nsecret_env = "SECRET"\n' + work()
    site, faults = check_text(text, Path("site.toml"))
    assert site is not None, faults
    assert site.alarms.remind_min.high == 20
    assert site.planned_work[0].begin.hour == 9


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('[alarms]\ndaily_at = "half past"\n', "alarms.daily_at: not a time of day; write for example"),
        ("[alarms]\nhold_s = -1\n", "alarms.hold_s: input should be greater than or equal to 0"),
        ("[alarms]\nhold_s = 99999\n", "alarms.hold_s: input should be less than or equal to 1800"),
        ('[alarms]\npage = "javascript:alert(1)"\n', "alarms.page"),
        ('[alarms.priorities]\nbnad = "low"\n', "no rule 'bnad'; did you mean 'band'?"),
        ('[alarms.priorities]\nband = "urgent"\n', "alarms.priorities.band: input should be 'low'"),
        (
            "[alarms.remind_min]\nhigh = 0\n",
            "alarms.remind_min.high: input should be greater than or equal to 1",
        ),
        (
            '[alarms.acknowledge]\naddress = "ack.farm.example"\nsecret_env = "S"\n',
            "alarms.acknowledge.address",
        ),
        (
            '[alarms.acknowledge]\naddress = "https://a.example"\nsecret_env = "my secret!"\n',
            "never the secret",
        ),
        (work(room="attic"), "planned_work[1].room: no room 'attic'; there are: vault"),
        (work(kind="party"), "planned_work[1].kind"),
        (work(days="[]"), "planned_work[1].days"),
        (work(days='["mon", "mon"]'), "each weekday once"),
        (work(end="09:00"), "begins and ends at the same time"),
        (work(begin="25:00"), "not a time of day"),
        (
            '[[route]]\nname = "b"\naddress_env = "B"\nquiet_hours = { begin = "22:00", end = "22:00" }\n',
            "begin and end at the same time",
        ),
        ('[[route]]\nname = "b"\naddress_env = "B"\nleast_priority = "urgent"\n', "route[2].least_priority"),
        ('[[route]]\nname = "phone"\naddress_env = "B"\n', "'phone' is also number 1"),
        ('[[route]]\nname = "b"\naddress_env = "mailto://nora:pw@home.example"\n', "never the secret itself"),
    ],
)
def test_what_cannot_be_is_refused(more: str, words: str) -> None:
    """Each fault names its key and what would be right."""
    site, faults = check_text(GOOD + more, Path("site.toml"))
    assert site is None
    assert words in "\n".join(map(str, faults))


def test_a_style_cannot_ask_for_a_rule_that_is_not_there() -> None:
    """A misspelt rule would never latch; it is refused with the one that was meant."""
    text = GOOD.replace('rind = "cloth-bound"', 'rind = "cloth-bound"\nlatching_rules = ["dryng_pace"]')
    _, faults = check_text(text, Path("site.toml"))
    assert "no rule 'dryng_pace'; did you mean 'drying_pace'?" in str(faults[0])
