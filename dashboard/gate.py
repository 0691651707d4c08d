"""Stands before the pages of a site where people sign in by password: without a sign-in nothing passes but the form."""

from __future__ import annotations

from functools import partial
from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from dashboard.language import COOKIE as COOKIE_OF_LANGUAGE
from dashboard.language import ENGLISH, SPOKEN, languages, words_of
from dashboard.signing import COOKIE, Door
from monitor.errors import SignInError

SIGN_IN, SIGN_OUT, LANGUAGE = "/sign-in", "/sign-out", "/language"
OPEN_PATHS = (SIGN_IN, SIGN_OUT, LANGUAGE, "/_stcore/health")
YEAR_S = 365 * 86400
OPEN_FOLDERS = ("/app/static/", "/static/")
"""The typeface, and Streamlit's own scripts: the same for everyone, and an open page fetches them piece by piece."""
LONGEST_FORM_BYTES = 20_000


class Gate:
    """Middleware: passes on what a signed-in browser asks, sends the rest to the sign-in form."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app, self._door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it."""
        if scope["type"] not in ("http", "websocket") or self._passes(HTTPConnection(scope)):
            await self._app(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 4401, "reason": "sign in first"})
        else:
            await _to_form(scope)(scope, receive, send)

    def _passes(self, asked: HTTPConnection) -> bool:
        path = asked.url.path
        if path in OPEN_PATHS or path.startswith(OPEN_FOLDERS):
            return True
        token, sessions = asked.cookies.get(COOKIE), self._door.sessions
        # A page whose sign-in ended keeps its line, on which it asks for the password again and tells nothing else.
        return sessions.who(token) is not None or (
            asked.scope["type"] == "websocket" and sessions.ended(token)
        )


def _to_form(scope: Scope) -> Response:
    path = scope["path"] + (f"?{scope['query_string'].decode('latin-1')}" if scope["query_string"] else "")
    if scope["method"] != "GET" or path.startswith("/_stcore"):
        return Response("sign in first", status_code=401)
    return RedirectResponse(f"{SIGN_IN}?next={quote(path, safe='')}", status_code=303)


def routes(door: Door) -> list[Route]:
    """The form, and the way out."""
    return [
        Route(SIGN_IN, partial(_form, door), methods=["GET"]),
        Route(SIGN_IN, partial(_sign_in, door), methods=["POST"]),
        Route(SIGN_OUT, partial(_sign_out, door), methods=["POST", "GET"]),
    ]


async def choose_language(request: Request) -> Response:
    """Keep the language asked for in the browser, and go back to the page."""
    code, goal = request.query_params.get("code", ""), urlsplit(request.query_params.get("next", "/"))
    answer = RedirectResponse(within(goal.path + (f"?{goal.query}" if goal.query else "")), status_code=303)
    if code in languages():
        answer.set_cookie(COOKIE_OF_LANGUAGE, code, max_age=YEAR_S, httponly=True, samesite="lax", path="/")
    return answer


async def _form(door: Door, request: Request) -> Response:
    return _page(door, request, within(request.query_params.get("next", "/")))


async def _sign_in(door: Door, request: Request) -> Response:
    if not _same_origin(request) or int(request.headers.get("content-length") or 0) > LONGEST_FORM_BYTES:
        return Response("refused", status_code=400)
    form = await request.form()
    name, password, goal = (str(form.get(key, "")) for key in ("name", "password", "next"))
    address = request.client.host if request.client else ""
    SPOKEN.set(_language(door, request))
    try:
        token = await run_in_threadpool(door.try_password, name, password, address)
    except SignInError as error:
        return _page(door, request, within(goal), name, str(error), 401)
    answer = RedirectResponse(within(goal), status_code=303)
    answer.set_cookie(COOKIE, token, httponly=True, samesite="lax", secure=_is_secure(request), path="/")
    return answer


async def _sign_out(door: Door, request: Request) -> Response:
    door.sessions.end(request.cookies.get(COOKIE))
    answer = RedirectResponse(SIGN_IN, status_code=303)
    answer.delete_cookie(COOKIE, path="/")
    return answer


def within(goal: str) -> str:
    """A place of these pages to go on to; the first page where something else was asked for."""
    parts = urlsplit(goal.replace("\\", "/"))
    inside = goal.startswith("/") and not goal.startswith("//") and not parts.netloc and not parts.scheme
    return goal if inside and goal.isprintable() and "\\" not in goal and len(goal) < 2000 else "/"


def _same_origin(request: Request) -> bool:
    origin = request.headers.get("origin")
    return origin in (None, "null") or urlsplit(origin or "").netloc == request.headers.get("host")


def _is_secure(request: Request) -> bool:
    return "https" in (request.url.scheme, request.headers.get("x-forwarded-proto", ""))


def _language(door: Door, request: Request) -> str:
    language = request.cookies.get(COOKIE_OF_LANGUAGE, door.site.pages.language)
    return language if language in languages() else ENGLISH


def _page(
    door: Door, request: Request, goal: str, name: str = "", said: str = "", status: int = 200
) -> Response:
    language = _language(door, request)
    words = words_of(language).gettext
    values: dict[str, Any] = {
        "language": escape(language.replace("_", "-")), "title": escape(words("Sign in")), "site": escape(door.site.site.name),
        "name_label": escape(words("Your name")), "password_label": escape(words("Password")), "next": escape(goal, quote=True),
        "name": escape(name[:100], quote=True), "said": f'<p role="alert"><i></i>{escape(said)}</p>' if said else "",
    }  # fmt: skip
    page = Path(__file__).with_name("sign_in.html").read_text(encoding="utf-8")
    for key, value in values.items():
        page = page.replace(f"[[{key}]]", value)
    headers = {
        "Cache-Control": "no-store",
        "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; font-src 'self'; form-action 'self'; frame-ancestors 'none'",
        "Referrer-Policy": "same-origin",
    }
    return HTMLResponse(page, status_code=status, headers=headers)
