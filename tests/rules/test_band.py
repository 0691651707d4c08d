"""Out of band: only for what is in the room, only after the delay, and over only past the deadband."""

from __future__ import annotations

from monitor.rules.band import BandRule
from monitor.rules.finding import Finding, Priority
from monitor.site import Site
from tests.rules.samples import OLD, START, make_site, moment, record

MINUTE = 60_000


def rule(site: Site) -> BandRule:
    return BandRule(site, site.rooms[0])


def after(site: Site, air: list[tuple[float, float, float]], **more: object) -> list[Finding]:
    """The findings after the room had each (minute, temperature [degC], humidity [%])."""
    band = rule(site)
    for minute, temperature_c, rh_pct in air:
        band.update(moment(site, minute, record(minute, temperature_c, rh_pct), **more))
    return band.findings()


def test_air_in_the_band_is_no_finding() -> None:
    """10.5 degC and 84 % is what old cloth-bound wheels want."""
    assert after(make_site(), [(m, 10.5, 84.0) for m in range(0, 120, 10)]) == []


def test_a_short_excursion_is_no_finding() -> None:
    """Three minutes at 70 % while a door stands open stay under the delay of five minutes."""
    assert after(make_site(), [(0, 10.5, 84.0), (10, 10.5, 70.0), (13, 10.5, 70.0), (16, 10.5, 84.0)]) == []


def test_air_too_dry_for_longer_than_the_delay_is_a_finding() -> None:
    """Ten minutes at 70 % name the humidity, the band, the wheels, and what to check first."""
    (finding,) = after(make_site(), [(0, 10.5, 70.0), (5, 10.5, 70.0), (10, 10.5, 70.0)])
    assert finding.rule == "band"
    assert finding.aspect == "humidity-low"
    assert finding.since_ms == START
    assert len(finding.wheels) == 41
    assert "Humidity 70.0 %" in finding.what
    assert "80-88 %" in finding.what
    assert "41 cloth-bound wheels drying at" in finding.effect
    assert "humidifier" in finding.check_first
    assert finding.priority is Priority.MEDIUM
    assert finding.numbers["rh_pct"] == 70.0


def test_it_ends_only_past_the_deadband() -> None:
    """At 80.5 % it stands on; at 81.5 %, past the deadband of 1 %, it is over after three hours, at 84 % at once."""
    site = make_site()
    dry = [(m, 10.5, 78.0) for m in (0, 10, 20)]
    assert len(after(site, [*dry, (30, 10.5, 80.5)])) == 1
    back = [(m, 10.5, 81.5) for m in range(40, 240, 10)]
    (standing,) = after(site, [*dry, *back[:18]])
    assert standing.what.startswith("Humidity 81.5 % at low-rack, back within the 80-88 %")
    assert after(site, [*dry, *back]) == []
    assert after(site, [*dry, (30, 10.5, 84.0)]) == []


def test_weather_that_wavers_about_a_limit_is_one_finding() -> None:
    """An hour and a half at 91 %, two hours at 86.5 %, and 91 % again: one finding from the first to the last."""
    site = make_site()
    band, standing = rule(site), []
    for minute in range(0, 400, 10):
        damp = minute < 90 or minute >= 210
        band.update(moment(site, minute, record(minute, 10.5, 91.0 if damp else 86.5)))
        standing.append(len(band.findings()))
    assert standing == [0, *[1] * 39]


def test_a_tenth_of_a_degree_has_to_last_for_hours() -> None:
    """12.1 degC where at most 12.0 are wanted is told after four hours; 12.5 degC after the five minutes of the site."""
    for temperature_c, least_min in ((12.1, 240), (12.5, 5)):
        site = make_site()
        band, told_at = rule(site), None
        for minute in range(0, 300, 5):
            band.update(moment(site, minute, record(minute, temperature_c, 84.0)))
            if told_at is None and band.findings():
                told_at = minute
        assert told_at == least_min


def test_once_told_as_far_out_it_stands_while_it_is_out_at_all() -> None:
    """12.5 degC for half an hour, then 12.1 for hours and 12.0 in between: it stands until 11.7 have lasted."""
    site = make_site()
    course = [(m, 12.5 if m < 30 else 12.1 if m % 60 else 12.0, 84.0) for m in range(0, 600, 10)]
    assert len(after(site, course)) == 1
    assert after(site, [*course, *((m, 11.6, 84.0) for m in range(600, 800, 10))]) == []


def test_an_empty_room_has_no_band() -> None:
    """Air for no wheels is nobody's concern."""
    assert after(make_site(), [(m, 25.0, 40.0) for m in (0, 10, 20)], contents=()) == []


def test_only_the_stages_that_are_there_count() -> None:
    """92 % suits young wheels and is too damp for old ones."""
    young = (OLD[0].__class__("vault", "low-rack", "clothed", "young", ("clothed-99",)),)
    air = [(m, 11.0, 91.0) for m in (0, 10, 20)]
    assert after(make_site(), air, contents=young) == []
    assert [f.aspect for f in after(make_site(), air)] == ["humidity-high"]


def test_too_warm_is_told_in_the_sites_own_unit() -> None:
    """A site that shows degF reads its bands in degF too."""
    site = make_site(**{"altitude_m = 120": 'altitude_m = 120\ndisplay_unit = "degF"'})
    (finding,) = after(site, [(m, 15.0, 84.0) for m in (0, 10, 20)])
    assert "59.0 °F" in finding.what


def test_no_reading_is_no_evidence() -> None:
    """Slots without a value neither raise nor end anything."""
    site = make_site()
    band = rule(site)
    for minute in (0, 10, 20):
        band.update(moment(site, minute, record(minute, 10.5, 70.0)))
    band.update(moment(site, 30, record(30, None, None)))
    band.update(moment(site, 40))
    assert len(band.findings()) == 1


def test_what_is_dry_every_afternoon_is_told_once_and_said_to_come_and_go() -> None:
    """Four days at 78 % from noon to six: told on the first and the second, then it stands till a whole day was good."""
    site = make_site()
    band, changes, before = rule(site), [], False
    for minute in range(0, 7 * 1440, 10):
        # The course begins at six in the morning.
        dry = minute < 4 * 1440 and 360 <= minute % 1440 < 720
        band.update(moment(site, minute, record(minute, 10.5, 78.0 if dry else 84.0)))
        found = band.findings()
        if bool(found) != before:
            changes.append(minute / 1440)
        before = bool(found)
        if 1.5 < minute / 1440 < 4.4:
            assert found[0].what.endswith("it comes and goes")
    assert len(changes) == 4
    raised_again, over = changes[2], changes[3]
    assert 1.2 < raised_again < 1.3
    assert 4.4 < over < 4.6
