"""Every fault of a site file at once: where it stands, what is wrong, and what would be right."""

from __future__ import annotations

import difflib
import itertools
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from monitor.errors import SiteFileError
from monitor.site.rule_settings import Rules
from monitor.site.settings import Broker, Sensor, Site

KeyPath = tuple[str | int, ...]
LARGEST_FILE_BYTES = 4_000_000


@dataclass(frozen=True)
class Fault:
    """One fault: file, line where it can be told (else None), key path, and what would be right."""

    file: str
    line: int | None
    key: str
    message: str

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}" if self.line else self.file
        return f"{where}: {self.key}: {self.message}" if self.key else f"{where}: {self.message}"


def load(path: str | Path) -> Site:
    """Read and validate a site file.

    Raises
    ------
    SiteFileError
        The file cannot be read or has faults; ``faults`` on the error lists every one.
    """
    site, faults = check_file(Path(path))
    if site is None:
        more = f" (and {len(faults) - 1} more faults)" if len(faults) > 1 else ""
        raise SiteFileError(f"{faults[0]}{more}; see them all with: maturing-room check {path}", list(faults))
    return site


def check_file(path: Path) -> tuple[Site | None, list[Fault]]:
    """The site a file describes (None where it has faults) and the list of its faults."""
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            return None, [Fault(str(path), None, "", "over 4 MB; a site file is a few kilobytes of text")]
        text = path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        return None, [
            Fault(str(path), None, "", "no such file; `maturing-room demo` writes one to start from")
        ]
    except (OSError, UnicodeDecodeError) as error:
        return None, [Fault(str(path), None, "", f"cannot be read as UTF-8 text: {error}")]
    return check_text(text, path)


def check_text(text: str, path: Path) -> tuple[Site | None, list[Fault]]:
    """As `check_file`, for text that is to stand in ``path``."""
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        line = re.search(r"line (\d+)", str(error))
        message = f"not TOML: {error}; later faults cannot be seen until this one is mended"
        return None, [Fault(str(path), int(line[1]) if line else None, "", message)]
    lines = line_index(text)
    site, faults = None, []
    try:
        site = Site.model_validate(data).at(path)
    except ValidationError as error:
        faults += [(_plain_key(e["loc"]), _message(e)) for e in error.errors(include_url=False)]
    faults += list(_between_parts(data))
    located = [
        Fault(str(path), _line_of(key, lines), key_text(key), message)
        for key, message in dict.fromkeys(faults)
    ]
    located.sort(key=lambda f: (f.line or 0, f.key))
    return (None, located) if located else (site, [])


def key_text(key: KeyPath) -> str:
    """A key path as a person reads it: ``sensor[2].place`` (counted from 1)."""
    text = ""
    for part in key:
        text += f"[{part + 1}]" if isinstance(part, int) else (f".{part}" if text else part)
    return text


_HEADER = re.compile(r"^\s*(\[\[|\[)\s*([A-Za-z0-9_.\"' -]+?)\s*\]{1,2}\s*(?:#.*)?$")
_ASSIGNMENT = re.compile(r"^\s*([A-Za-z0-9_.\"-]+)\s*=")


def line_index(text: str) -> dict[KeyPath, int]:
    """The line [from 1] on which each table or key of a TOML text stands, by key path.

    A light scan beside the real parser, for error messages only: keys inside multi-line values are not told apart.
    """
    index: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            table = _enter(header[2], header[1] == "[[", counts)
            index.setdefault(table, number)
        elif assignment := _ASSIGNMENT.match(line):
            index.setdefault((*table, *_parts(assignment[1])), number)
    return index


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _enter(dotted: str, is_array: bool, counts: dict[KeyPath, int]) -> KeyPath:
    path: KeyPath = ()
    parts = _parts(dotted)
    for position, part in enumerate(parts):
        path = (*path, part)
        if position == len(parts) - 1 and is_array:
            counts[path] = counts.get(path, -1) + 1
            for inner in [p for p in counts if len(p) > len(path) and p[: len(path)] == path]:
                if inner[len(path)] == counts[path]:
                    del counts[inner]
        if path in counts:
            path = (*path, counts[path])
    return path


def _line_of(key: KeyPath, lines: dict[KeyPath, int]) -> int | None:
    while key:
        if key in lines:
            return lines[key]
        key = key[:-1]
    return None


def _plain_key(location: KeyPath) -> KeyPath:
    return tuple(part for part in location if not (isinstance(part, str) and part.startswith("function-")))


def _message(error: Any) -> str:
    kind, location, given = error["type"], _plain_key(error["loc"]), error.get("input")
    if kind == "extra_forbidden":
        return _unknown_key(location)
    if kind == "missing":
        return "is missing; add it"
    text = str(error["msg"]).removeprefix("Value error, ")
    if kind == "string_pattern_mismatch":
        text = (
            "use letters, digits, dots, dashes and underscores, beginning with a letter or digit, at most 64"
        )
        if location and str(location[-1]).endswith("_env"):
            return "name an environment variable, for example MATURING_ROUTE_MAIL; never the secret itself"
    shown = "" if isinstance(given, dict | list) else f" (it is {_short(given)})"
    return f"{text[:1].lower()}{text[1:]}{shown}"


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _unknown_key(location: KeyPath) -> str:
    known = sorted(_keys_at(location[:-1]))
    near = difflib.get_close_matches(str(location[-1]), known, n=1, cutoff=0.6)
    hint = f"did you mean {near[0]!r}?" if near else f"the keys here are {', '.join(known)}"
    return f"unknown key; {hint}"


def _keys_at(location: KeyPath) -> set[str]:
    model: type[BaseModel] | None = Site
    for part in location:
        if isinstance(part, int) or model is None:
            continue
        model = _inner_model(model, part)
    if model is None:
        return set()
    return {field.alias or name for name, field in model.model_fields.items()}


def _inner_model(model: type[BaseModel], key: str) -> type[BaseModel] | None:
    for name, field in model.model_fields.items():
        if key in (name, field.alias):
            return _model_in(field.annotation)
    return None


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for inner in get_args(annotation) if (found := _model_in(inner))), None)


def _tables(data: Any, name: str) -> list[tuple[int, dict[str, Any]]]:
    values = data.get(name, []) if isinstance(data, dict) else []
    return [(i, v) for i, v in enumerate(values) if isinstance(v, dict)] if isinstance(values, list) else []


def _between_parts(data: dict[str, Any]) -> Iterator[tuple[KeyPath, str]]:
    """Faults between parts of the file, found on the raw data so that other faults do not hide them."""
    if data.get("room") == []:
        yield ("room",), "a site has at least one [[room]]"
    for kind, key in (("room", "id"), ("sensor", "id"), ("style", "id"), ("route", "name")):
        yield from _doubled((kind,), key, _tables(data, kind))
    yield from _doubled_topics(data)
    yield from _monitor_topic(data)
    rooms = {
        str(r.get("id")): {str(p.get("id")) for _, p in _tables(r, "place")} for _, r in _tables(data, "room")
    }
    for index, sensor in _tables(data, "sensor"):
        yield from _place_faults(index, sensor, rooms)
    for index, room in _tables(data, "room"):
        if room.get("place") == []:
            yield ("room", index, "place"), "a room has at least one [[room.place]]"
        yield from _doubled(("room", index, "place"), "id", _tables(room, "place"))
        yield from _own_rules(("room", index, "rules"), room, data.get("rules"))
    for index, style in _tables(data, "style"):
        yield from _stages(index, style)
        yield from _own_rules(("style", index, "rules"), style, data.get("rules"))
        yield from _rule_names(("style", index, "latching_rules"), style.get("latching_rules"))
    alarms = data.get("alarms")
    yield from _rule_names(
        ("alarms", "priorities"), alarms.get("priorities") if isinstance(alarms, dict) else None
    )
    for index, work in _tables(data, "planned_work"):
        if isinstance(given := work.get("room"), str) and given not in rooms:
            yield ("planned_work", index, "room"), f"no room {_short(given)}; {_choices(given, rooms)}"


def _doubled(
    prefix: KeyPath, key: str, tables: list[tuple[int, dict[str, Any]]]
) -> Iterator[tuple[KeyPath, str]]:
    seen: dict[str, int] = {}
    for index, table in tables:
        value = table.get(key)
        if not isinstance(value, str):
            continue
        if value in seen:
            yield (
                (*prefix, index, key),
                f"{_short(value)} is also number {seen[value] + 1}; give each its own",
            )
        seen.setdefault(value, index)


def _monitor_topic(data: dict[str, Any]) -> Iterator[tuple[KeyPath, str]]:
    """What the monitor says of itself must never come back as a reading."""
    broker = data.get("broker")
    own = broker.get("health_topic") if isinstance(broker, dict) else None
    own = own if isinstance(own, str) else Broker.model_fields["health_topic"].default
    for index, sensor in _tables(data, "sensor"):
        topic = sensor.get("topic")
        if own and isinstance(topic, str) and f"{topic}/".startswith(f"{own}/"):
            yield (
                ("sensor", index, "topic"),
                f"{_short(topic)} is where the monitor tells of itself; choose another",
            )


def _doubled_topics(data: dict[str, Any]) -> Iterator[tuple[KeyPath, str]]:
    """Sensors may share a topic only where each message says which sensor it is from (SenML names do)."""
    seen: dict[str, int] = {}
    for index, sensor in _tables(data, "sensor"):
        topic, payload = sensor.get("topic"), sensor.get("payload", Sensor.model_fields["payload"].default)
        if not isinstance(topic, str) or not topic or payload == "senml":
            continue
        if topic in seen:
            message = f"{_short(topic)} is also the topic of sensor number {seen[topic] + 1}; only senml may share one"
            yield ("sensor", index, "topic"), message
        seen.setdefault(topic, index)


def _place_faults(
    index: int, sensor: dict[str, Any], rooms: dict[str, set[str]]
) -> Iterator[tuple[KeyPath, str]]:
    room, place = sensor.get("room"), sensor.get("place")
    if not isinstance(room, str):
        return
    if room not in rooms:
        yield ("sensor", index, "room"), f"no room {_short(room)}; {_choices(room, rooms)}"
    elif isinstance(place, str) and place not in rooms[room]:
        yield (
            ("sensor", index, "place"),
            f"no place {_short(place)} in room {room}; {_choices(place, rooms[room])}",
        )


def _choices(given: str, known: Any) -> str:
    near = difflib.get_close_matches(given, known, n=1, cutoff=0.6)
    return f"did you mean {near[0]!r}?" if near else f"there are: {', '.join(sorted(known)) or 'none'}"


def _own_rules(prefix: KeyPath, owner: dict[str, Any], of_site: Any) -> Iterator[tuple[KeyPath, str]]:
    """Faults in the settings of rules that a room or a style lays over the site's."""
    rules, base = owner.get("rules"), of_site if isinstance(of_site, dict) else {}
    for name, settings in rules.items() if isinstance(rules, dict) else ():
        field = Rules.model_fields.get(name)
        if field is None:
            yield (*prefix, name), f"no such rule; {_choices(name, Rules.model_fields)}"
        elif isinstance(settings, dict) and (model := _model_in(field.annotation)):
            faults = list(_rule_faults((*prefix, name), model, settings))
            if not faults and isinstance(base.get(name), dict):
                together = {**base[name], **settings}
                own = set(settings)
                faults = [
                    f
                    for f in _rule_faults((*prefix, name), model, together)
                    if own & {*f[0]} or f[0][-1] == name
                ]
            yield from faults


def _rule_names(prefix: KeyPath, names: Any) -> Iterator[tuple[KeyPath, str]]:
    known = (*Rules.model_fields, "monitor")
    for name in names if isinstance(names, list | dict) else ():
        if name not in known:
            key = (*prefix, name) if isinstance(names, dict) else prefix
            yield key, f"no rule {_short(name)}; {_choices(str(name), known)}"


def _rule_faults(
    prefix: KeyPath, model: type[BaseModel], settings: dict[str, Any]
) -> Iterator[tuple[KeyPath, str]]:
    try:
        model.model_validate(settings)
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            key = (*prefix, *fault["loc"])
            if fault["type"] == "extra_forbidden":
                yield key, f"unknown key; {_choices(str(fault['loc'][-1]), model.model_fields)}"
            else:
                yield key, _message(fault)


def _stages(index: int, style: dict[str, Any]) -> Iterator[tuple[KeyPath, str]]:
    stages = _tables(style, "stage")
    if style.get("stage") == []:
        yield ("style", index, "stage"), "a style has at least one [[style.stage]]"
    for (_, earlier), (number, later) in itertools.pairwise(stages):
        if earlier.get("to_day") != later.get("from_day"):
            message = (
                f"each stage begins the day the one before ends; write from_day = {earlier.get('to_day')}"
            )
            if earlier.get("to_day") is None:
                message = "the stage before has no to_day; only the last stage may lack one"
            yield ("style", index, "stage", number, "from_day"), message
