"""A wheel's history and what to check on it."""

from __future__ import annotations

from monitor.review.review import review_wheel

__all__ = ["review_wheel"]
