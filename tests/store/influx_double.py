"""A stand-in for InfluxDB 2 over HTTP, for tests where no real server is reachable.

It keeps points as InfluxDB does (a field written again replaces the one before, others stay) and answers the questions
of `monitor.store.flux`, which it takes apart by their text, with annotated CSV as the documentation shows it.  It is
ours, so it proves that the two ends of this project fit together, not that a real server agrees.
"""

from __future__ import annotations

import csv
import gzip
import io
import json
import re
import threading
from collections import defaultdict
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

from tests.system.parts import free_port

TOKEN = "let-me-in"
Point = dict[str, Any]
_ESCAPED = re.compile(r"\\(.)")


class InfluxDouble:
    """Serves on a port of its own; `stop` and `start` take it away and bring it back with what it held."""

    def __init__(self) -> None:
        self.port = free_port()
        self.points: dict[tuple[tuple[tuple[str, str], ...], int], Point] = defaultdict(dict)
        self.buckets: dict[str, dict[str, Any]] = {}
        self.lines = 0
        self.refuse = ""
        """Lines with this text in them are refused."""
        self.oldest_ms = -(2**62)
        """Points before this are beyond the bucket's retention: dropped, and told."""
        self.amid = ""
        """What comes after every answer, such as a table that tells an error."""
        self.server: ThreadingHTTPServer | None = None
        self.start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        double = self

        class Handler(_Handler):
            held = double

        self.server = ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        self.server.daemon_threads = True
        threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True).start()

    def stop(self) -> None:
        if self.server is not None:
            self.server.shutdown()
            self.server.server_close()
            self.server = None

    def take(self, body: str) -> None:
        """Line protocol in."""
        parsed = [_parsed(line) for line in body.splitlines() if line]
        if self.refuse and self.refuse in body:
            raise ValueError(f"partial write: field type conflict near {self.refuse}")
        kept = [one for one in parsed if one[2] >= self.oldest_ms]
        for tags, fields, time_ms in kept:
            self.points[tags, time_ms].update(fields)
        self.lines += len(kept)
        if len(kept) < len(parsed):
            raise ValueError(
                f"partial write: points beyond retention policy dropped={len(parsed) - len(kept)}"
            )

    def answer(self, question: str) -> str:
        """A question of ours, answered in annotated CSV."""
        start, stop = re.search(r"range\(start: (\S+), stop: (\S+)\)", question).groups()  # type: ignore[union-attr]
        if _ms(start) >= _ms(stop):
            raise ValueError("error in building plan: cannot query an empty range")
        literals = re.findall(r'r\.(\w+) == "((?:[^"\\]|\\.)*)"', question)
        wanted = {name: _ESCAPED.sub(r"\1", text) for name, text in literals}
        field = wanted.pop("_field", None)
        dropped = json.loads(re.search(r"drop\(columns: (\[.*?\])\)", question)[1])  # type: ignore[index]
        tables: dict[tuple[tuple[str, str], ...], list[dict[str, Any]]] = {}
        for (tags, time_ms), fields in sorted(self.points.copy().items(), key=lambda item: item[0][1]):
            named = dict(tags)
            shown = fields if field is None else {k: v for k, v in fields.items() if k == field}
            if (
                shown
                and all(named.get(k) == v for k, v in wanted.items())
                and _ms(start) <= time_ms < _ms(stop)
            ):
                row = {**named, "_time": time_ms, **shown}
                tables.setdefault(tags, []).append({k: v for k, v in row.items() if k not in dropped})
        chosen = (
            slice(0, 1) if "first()" in question else slice(-1, None) if "last()" in question else slice(None)
        )
        return "".join(_table(rows[chosen], number) for number, rows in enumerate(tables.values()))


class _Handler(BaseHTTPRequestHandler):
    held: InfluxDouble

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"] or 0))
        text = (gzip.decompress(body) if self.headers.get("Content-Encoding") == "gzip" else body).decode()
        if self.headers["Authorization"] != f"Token {TOKEN}":
            return self._send(401, json.dumps({"code": "unauthorized", "message": "unauthorized access"}))
        if self.path.startswith("/api/v2/write"):
            try:
                self.held.take(text)
            except ValueError as error:
                return self._send(422, json.dumps({"code": "unprocessable entity", "message": str(error)}))
            return self._send(204, "")
        if self.path.startswith("/api/v2/query"):
            try:
                answer = self.held.answer(json.loads(text)["query"]) + self.held.amid
            except ValueError as error:
                return self._send(400, json.dumps({"code": "invalid", "message": str(error)}))
            return self._send(200, answer, "text/csv")
        if self.path.startswith("/api/v2/buckets"):
            asked = json.loads(text)
            self.held.buckets[asked["name"]] = {"id": "b" * 16, **asked}
            return self._send(201, json.dumps(self.held.buckets[asked["name"]]))
        return self._send(404, "{}")

    def do_PATCH(self) -> None:
        asked = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        for bucket in self.held.buckets.values():
            bucket.update({k: v for k, v in asked.items() if v is not None})
        self._send(200, json.dumps(next(iter(self.held.buckets.values()))))

    def do_GET(self) -> None:
        asked = parse_qs(urlsplit(self.path).query)
        if self.path.startswith("/api/v2/orgs"):
            if asked.get("org") != ["dairy"]:
                return self._send(
                    404, json.dumps({"code": "not found", "message": "organization name not found"})
                )
            return self._send(200, json.dumps({"orgs": [{"id": "a" * 16, "name": "dairy"}]}))
        if self.path.startswith("/api/v2/buckets"):
            bucket = self.held.buckets.get(asked["name"][0]) if asked.get("org") == ["dairy"] else None
            if bucket is None:
                return self._send(404, json.dumps({"code": "not found", "message": "bucket not found"}))
            return self._send(200, json.dumps({"buckets": [bucket]}))
        return self._send(204, "")

    def _send(self, status: int, body: str, kind: str = "application/json") -> None:
        data = body.encode()
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(data)))
        self.end_headers()
        self.wfile.write(data)

    def log_message(self, *_: object) -> None:
        pass


def _parsed(line: str) -> tuple[tuple[tuple[str, str], ...], dict[str, Any], int]:
    head, fields, time_ms = re.fullmatch(
        r"((?:\\.|[^ \\])+) ((?:[^\" ]|\"(?:\\.|[^\"\\])*\")+) (-?\d+)", line
    ).groups()  # type: ignore[union-attr]
    measurement, *tags = re.split(r"(?<!\\),", head)
    named = {"_measurement": measurement}
    for one in tags:
        key, value = re.split(r"(?<!\\)=", one, maxsplit=1)
        named[key] = _ESCAPED.sub(r"\1", value)
    values: dict[str, Any] = {}
    for key, value in re.findall(r"(\w+)=(\"(?:\\.|[^\"\\])*\"|[^,]+)", fields):
        if value.startswith('"'):
            values[key] = _ESCAPED.sub(r"\1", value[1:-1])
        else:
            values[key] = int(value[:-1]) if value.endswith("i") else float(value)
    return tuple(sorted(named.items())), values, int(time_ms)


def _ms(text: str) -> int:
    return round(datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp() * 1000)


def _table(rows: list[dict[str, Any]], number: int) -> str:
    if not rows:
        return "\r\n"
    names = sorted({name for row in rows for name in row})
    kinds = {n: next(_kind(n, row[n]) for row in rows if n in row) for n in names}
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(["#datatype", "string", "long", *(kinds[n] for n in names)])
    writer.writerow(["#group", "false", "false", *("false" for _ in names)])
    writer.writerow(["#default", "_result", "", *("" for _ in names)])
    writer.writerow(["", "result", "table", *names])
    for row in rows:
        writer.writerow(["", "", number, *(_cell(n, row.get(n)) for n in names)])
    return stream.getvalue() + "\r\n"


def _kind(name: str, value: Any) -> str:
    if name == "_time":
        return "dateTime:RFC3339"
    return {int: "long", float: "double", str: "string"}[type(value)]


def _cell(name: str, value: Any) -> str:
    if name == "_time":
        return (
            datetime.fromtimestamp(value / 1000, UTC)
            .isoformat(timespec="milliseconds")
            .replace("+00:00", "Z")
        )
    return "" if value is None else repr(value) if isinstance(value, float) else str(value)
