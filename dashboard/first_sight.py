"""The glance within the page's own HTML, so that the rooms are read before any script has run.

A browser takes a second or more to load and start the scripts of a page. Until they have drawn the rooms, what the
server knew when it was asked stands there: the same panels, and links that work. It goes when the page is drawn.
"""

from __future__ import annotations

import logging
from collections.abc import Callable

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard.language import COOKIE, SPOKEN, languages, say
from dashboard.look import sheet
from dashboard.plain import text
from dashboard.screens.rooms_now import glance
from dashboard.source import Source

log = logging.getLogger(__name__)
BEFORE = b'<div id="root">'
LAID_OVER = """
body { margin: 0; background: var(--page); }
#first-sight { position: absolute; inset: 0; z-index: 5; min-height: 100vh; background: var(--page); font-size: 17px; }
#first-sight .inside { padding: .6rem clamp(.7rem, 2.2vw, 2.2rem) 3rem; max-width: 1720px; margin: auto; }
#first-sight nav { display: flex; flex-wrap: wrap; min-height: 3rem; align-items: center; border-bottom: 1px solid var(--line); margin-bottom: 1rem; }
#first-sight nav a { color: var(--ink); padding: .7rem 1rem; text-decoration: none; }
#first-sight nav a:first-child { background: var(--ink); color: #fff; font-weight: 700; border-radius: .5rem; }
"""
GOES = """
new MutationObserver((seen, watch) => {
  if (!document.querySelector('#root main.rooms, #root .notice, #root [data-page-whole]')) return;
  document.getElementById('first-sight').remove();
  watch.disconnect();
}).observe(document.getElementById('root'), {subtree: true, childList: true});
"""
"""Takes the first sight away once the page itself says something."""

Links = Callable[[], list[tuple[str, str]]]


class FirstSight:
    """Middleware: puts the glance into the HTML of the first page, for whoever may read it.

    Parameters
    ----------
    source : gives the source of the documents, where they can be opened
    links : the other pages, address and English name
    """

    def __init__(self, app: ASGIApp, source: Callable[[], Source], links: Links) -> None:
        self._app, self._source, self._links = app, source, links

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer for the first page, pass on everything else."""
        if scope["type"] == "http" and scope["method"] == "GET" and scope["path"] == "/":
            await self._app(_plainly(scope), receive, _Laid(self, scope, send))
        else:
            await self._app(scope, receive, send)

    def html(self, request: Request) -> str:
        """What is laid over the page; nothing where the rooms cannot be told."""
        try:
            source = self._source()
            asked = request.cookies.get(COOKIE, source.site.pages.language)
            SPOKEN.set(asked if asked in languages() else "en")
            wall = "wall" in request.query_params
            bar = "" if wall else _bar(self._links())
            return (
                f'<div id="first-sight" class="stHtml"><style>{sheet(wall)}{LAID_OVER}</style>'
                f'<div class="inside">{bar}{glance(source)}</div></div>'
            )
        except Exception:  # the page itself will say what is wrong
            log.warning("the rooms are not in the first page's own HTML", exc_info=True)
            return ""


def _bar(links: list[tuple[str, str]]) -> str:
    return (
        "<nav>"
        + "".join(f'<a href="{address or "/"}">{text(say(name))}</a>' for address, name in links)
        + "</nav>"
    )


def _plainly(scope: Scope) -> Scope:
    """The same question for an answer that is whole and not compressed."""
    left_out = (b"accept-encoding", b"if-none-match", b"if-modified-since", b"range")
    return {**scope, "headers": [(name, value) for name, value in scope["headers"] if name not in left_out]}


class _Laid:
    """Sends an answer on with the first sight in it, where it is a page."""

    def __init__(self, middleware: FirstSight, scope: Scope, send: Send) -> None:
        self._middleware, self._scope, self._send = middleware, scope, send
        self._start: Message | None = None
        self._body = b""

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start" and _is_page(message):
            self._start = message
        elif self._start is None or message["type"] != "http.response.body":
            await self._send(message)
        else:
            self._body += message.get("body", b"")
            if not message.get("more_body"):
                await self._finish(self._start)

    async def _finish(self, start: Message) -> None:
        laid = await run_in_threadpool(self._middleware.html, Request(self._scope))
        if laid and BEFORE in self._body:
            before, after = self._body.split(BEFORE, 1)
            script = f"<script>{GOES}</script></body>".encode()
            self._body = before + laid.encode() + BEFORE + after.replace(b"</body>", script, 1)
        headers = MutableHeaders(raw=list(start["headers"]))
        headers["content-length"], headers["cache-control"] = str(len(self._body)), "no-store"
        for name in ("etag", "last-modified"):
            del headers[name]
        await self._send({**start, "headers": headers.raw})
        await self._send({"type": "http.response.body", "body": self._body})


def _is_page(start: Message) -> bool:
    kind = Headers(raw=start["headers"]).get("content-type", "")
    return bool(start["status"] == 200 and kind.startswith("text/html"))
