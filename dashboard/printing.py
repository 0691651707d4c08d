"""A wheel's review as a page to print, at an address of its own: ``/sheet?wheel=NAME``."""

from __future__ import annotations

from collections.abc import Callable
from html import escape

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from dashboard.source import Source
from monitor.review.sheet import review_sheet

SHEET = "/sheet"
HEADERS = {"Cache-Control": "no-store", "Referrer-Policy": "same-origin"}


def printed(source: Source, wheel: str, address: str) -> tuple[str, int]:
    """The sheet of a wheel as HTML and 200; or what is wrong in words, and 404 or 503."""
    answer = source.review(wheel)
    if answer.document is None:
        said = f'<!doctype html><meta charset="utf-8"><title>No sheet</title><p>{escape(answer.fault[:1000])}</p>'
        return said, 404 if answer.unknown else 503
    return review_sheet([answer.document], source.site.site.zone, address=address), 200


class Sheet:
    """Answers for the sheets of a site's wheels."""

    def __init__(self, source: Callable[[], Source]) -> None:
        self._source = source

    async def answer(self, request: Request) -> Response:
        """The sheet of the wheel that is asked for, with a code that leads back to its page here."""
        scheme = request.headers.get("x-forwarded-proto", request.url.scheme)
        address = f"{'https' if scheme == 'https' else 'http'}://{request.url.netloc}"
        wheel = request.query_params.get("wheel", "")
        page, status = await run_in_threadpool(lambda: printed(self._source(), wheel, address))
        return HTMLResponse(page, status, HEADERS)
