"""The small web page behind the link in a message: GET shows what would be acknowledged, POST acknowledges it.

It is a server of its own in the monitor, not a page of the dashboard: it needs no sign-in (the token is the key),
can do nothing else, and may be put behind a reverse proxy alone.  Mail scanners fetch links, so GET changes nothing.
"""

from __future__ import annotations

import html
import logging
import threading
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, ClassVar
from urllib.parse import parse_qs, urlsplit

from sqlalchemy.exc import SQLAlchemyError

from monitor.alarms.alarms import Alarms
from monitor.alarms.lifecycle import State
from monitor.alarms.tokens import acknowledge_by, person_of, read_token, secret_of
from monitor.clock import now_ms
from monitor.errors import AlarmError
from monitor.site import Site

logger = logging.getLogger(__name__)

LARGEST_BODY = 4096
PATH = "/acknowledge"
WAITS = (State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED)
HEADERS = {
    "Content-Type": "text/html; charset=utf-8",
    "Cache-Control": "no-store",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "X-Robots-Tag": "noindex",
}
PAGE = """<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{title}</title><style>body{{font:1.25rem/1.5 sans-serif;max-width:34em;margin:2em auto;padding:0 1em;color:#222;
background:#f6f6f4}}button{{font:inherit;padding:.8em 1.6em;width:100%;border:2px solid #222;background:#fff}}
li{{margin:.4em 0}}</style><h1>{title}</h1>{body}</html>"""


class AcknowledgePage:
    """Serves the page in a thread of its own until `stop`.

    Raises
    ------
    AlarmError
        The secret is missing or too short, or the address cannot be listened on.
    """

    def __init__(self, site: Site, alarms: Alarms) -> None:
        link, secret = site.alarms.acknowledge, secret_of(site)
        if link is None or secret is None:
            raise AlarmError("the site file has no [alarms.acknowledge]; nothing to serve")
        handler = type("Handler", (_Handler,), {"site": site, "alarms": alarms, "secret": secret})
        try:
            self._server = ThreadingHTTPServer((link.bind, link.port), handler)
        except OSError as error:
            raise AlarmError(
                f"cannot listen on {link.bind}:{link.port} ({error.strerror or error}); see [alarms.acknowledge]"
            ) from error
        self._server.daemon_threads = True
        self._thread = threading.Thread(
            target=self._server.serve_forever, args=(0.1,), name="acknowledge", daemon=True
        )

    def start(self) -> None:
        """Begin to answer."""
        self._thread.start()

    def stop(self) -> None:
        """Stop answering."""
        if self._thread.is_alive():
            self._server.shutdown()
            self._thread.join(5)
        self._server.server_close()


class _Handler(BaseHTTPRequestHandler):
    site: ClassVar[Site]
    alarms: ClassVar[Alarms]
    secret: ClassVar[bytes]
    server_version, sys_version = "maturing-room", ""
    timeout = 10

    def do_GET(self) -> None:
        address = urlsplit(self.path)
        self._answer(address.path, parse_qs(address.query, max_num_fields=5).get("token", [""])[0], act=False)

    do_HEAD = do_GET

    def do_POST(self) -> None:
        length = self.headers.get("Content-Length", "")
        if not length.isdigit() or int(length) > LARGEST_BODY:
            self._say(HTTPStatus.BAD_REQUEST, "That is no request of this page", "")
            return
        form = parse_qs(self.rfile.read(int(length)).decode("utf-8", "replace"), max_num_fields=5)
        self._answer(urlsplit(self.path).path, form.get("token", [""])[0], act=True)

    def _answer(self, path: str, token: str, act: bool) -> None:
        if path != PATH:
            self._say(HTTPStatus.NOT_FOUND, "There is no such page here", "")
            return
        try:
            allowed = read_token(self.secret, token, now_ms())
            if act:
                done, past = acknowledge_by(self.site, self.alarms, allowed, now_ms())
                self._say(HTTPStatus.OK, *_done(done, past, person_of(self.site, allowed.route)))
            else:
                self._say(
                    HTTPStatus.OK, *_asked(self.site, self.alarms.of_message(allowed.message_id), token)
                )
        except AlarmError as error:
            self._say(HTTPStatus.FORBIDDEN, "Not acknowledged", f"<p>{html.escape(str(error))}.</p>")
        except SQLAlchemyError:
            logger.exception("the acknowledge page could not reach the journal")
            body = "<p>The journal of alarms cannot be reached now. Try again in a moment.</p>"
            self._say(HTTPStatus.SERVICE_UNAVAILABLE, "Not acknowledged", body)

    def _say(self, status: HTTPStatus, title: str, body: str) -> None:
        page = PAGE.format(title=html.escape(title), body=body).encode()
        self.send_response(status)
        for name, value in HEADERS.items():
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(page)))
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(page)

    def log_message(self, format: str, *args: Any) -> None:
        # The path holds the token, so it goes into no log.
        logger.debug("%s from %s", self.command, self.address_string())


def _asked(site: Site, alarms: list[Any], token: str) -> tuple[str, str]:
    waiting = [a for a in alarms if a.state in WAITS]
    shown = "".join(f"<li>{html.escape(a.finding.what)}</li>" for a in waiting[:12])
    more = f"<p>and {len(waiting) - 12} more</p>" if len(waiting) > 12 else ""
    if not waiting:
        return "Nothing left to acknowledge", "<p>It is over, or another has acknowledged it.</p>"
    form = (
        f'<form method="post" action="{PATH}"><input type="hidden" name="token" value="{html.escape(token)}">'
        "<button>I have seen it</button></form>"
    )
    name = html.escape(site.site.name)
    return f"{len(waiting)} to acknowledge" if len(waiting) > 1 else "Acknowledge?", (
        f"<p>{name}</p><ul>{shown}</ul>{more}{form}<p>Acknowledged is not mended: it stands until the air is right.</p>"
    )


def _done(done: int, past: int, person: str) -> tuple[str, str]:
    if not done:
        return "Nothing left to acknowledge", "<p>It is over, or another has acknowledged it.</p>"
    more = f" {past} needed none any more." if past else ""
    return (
        "Acknowledged",
        f"<p>{done} acknowledged as {html.escape(person)}.{more} You may close this page.</p>",
    )
