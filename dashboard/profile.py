"""The rind by depth: how moist it is from the surface inwards, drawn as the twin has it now."""

from __future__ import annotations

from typing import Any

from dashboard.language import say
from dashboard.look import picture
from dashboard.plain import number, text

STONE, INK, QUIET = "#e6e2da", "#2b2a28", "#a59e92"


def rind_profile(profile: list[dict[str, Any]]) -> str:
    """Moisture over depth as HTML; ``profile`` runs from the surface inwards.  Nothing where there is none."""
    points = [(p["depth_mm"], p["moisture_pct"]) for p in profile if p.get("moisture_pct") is not None]
    if len(points) < 2:
        return ""
    deepest = max(depth for depth, _ in points) or 1.0
    low, high = min(m for _, m in points), max(m for _, m in points)
    margin = max(0.1 * (high - low), 0.5)
    bottom, top = low - margin, high + margin

    def place(point: tuple[float, float]) -> str:
        return f"{100 * point[0] / deepest:.2f},{100 * (top - point[1]) / (top - bottom):.2f}"

    line = " ".join(place(p) for p in points)
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100" preserveAspectRatio="none"><rect width="100" height="100" fill="{STONE}"/>'
        f'<polygon points="0,100 {line} 100,100" fill="{QUIET}" fill-opacity="0.35"/>'
        f'<polyline points="{line}" fill="none" stroke="{INK}" stroke-width="2" vector-effect="non-scaling-stroke"/></svg>'
    )
    first, last = points[0][1], points[-1][1]
    words = say("Moisture from {first} % at the surface to {last} % at {depth} mm", first=number(first), last=number(last), depth=number(deepest, 0))  # fmt: skip
    ups = "".join(
        f'<span class="tick up" style="top:{100 * (top - value) / (top - bottom):.1f}%">{number(value, 0)}{" %" if value == high else ""}</span>'
        for value in (high, low)
    )
    acrosses = "".join(
        f'<span class="tick {edge}" style="left:{share}%">{number(deepest * share / 100, 0)}{" mm" if share == 100 else ""}</span>'
        for share, edge in ((0, "first"), (50, ""), (100, "last"))
    )
    return (
        f'<figure style="margin:0"><figcaption><b>{text(say("Moisture by depth"))}</b> <span class="quiet">{text(say("left: the surface"))}</span></figcaption>'
        f'<div class="chart low"><div class="plot">{picture(svg, words)}</div>{ups}<div class="across">{acrosses}</div></div></figure>'
    )
