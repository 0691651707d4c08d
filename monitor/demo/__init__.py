"""The demo: everything on embedded parts, on an invented site."""

from __future__ import annotations

from monitor.demo.run import Demo

__all__ = ["Demo"]
