"""Opens the pages where the kernel has no way to any other machine: ``unshare --net python -m tests.system.no_way_out``.

Prints what it found as one JSON document.  Server and browser run in the same network namespace, with loopback alone.
"""

from __future__ import annotations

import fcntl
import json
import socket
import struct

from tests.system.browser import chromium, page_of, ready

SET_FLAGS, UP_AND_RUNNING = 0x8914, 0x41
"""Of Linux's netdevice(7): SIOCSIFFLAGS, IFF_UP | IFF_RUNNING."""
NOWHERE = ("192.0.2.1", 443)
"""An address kept for documentation (RFC 5737): nobody is there, and here there is not even a way to it."""
PAGES = ("", "wheel?wheel=K-114", "room?room=north", "setup")


def raise_loopback() -> None:
    """Switch the loopback device of this network namespace on."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as any_socket:
        fcntl.ioctl(any_socket, SET_FLAGS, struct.pack("16sH14x", b"lo", UP_AND_RUNNING))


def reached() -> str:
    """What trying to reach another machine comes to."""
    try:
        socket.create_connection(NOWHERE, timeout=3).close()
    except OSError as error:
        return str(error)
    return "reached"


def main() -> None:
    from tests.system.test_pages import sample_dashboard

    raise_loopback()
    found: dict[str, object] = {"outside": reached(), "devices": [name for _, name in socket.if_nameindex()]}
    with sample_dashboard("alarmed") as address, chromium() as browser, page_of(browser) as page:
        for name in PAGES:
            page.goto(f"{address}/{name}")
            ready(page)
            found[f"page {name}"] = page.locator('[data-testid="stMainBlockContainer"]').inner_text()[:200]
        faces = page.evaluate("[...document.fonts].filter(f => f.status == 'loaded').map(f => f.family)")
        found["faces"] = sorted(set(faces))
        found["asked outside"] = page.outside  # type: ignore[attr-defined]
    print(json.dumps(found))


if __name__ == "__main__":
    main()
