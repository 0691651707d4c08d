"""Run benchmarks: ``python -m tests.benchmarks [NAME...] [--json FILE]``."""

from __future__ import annotations

import argparse
import dataclasses
import importlib
import json
import pkgutil
import platform
import sys
from datetime import UTC, datetime

import tests.benchmarks as package
from tests.benchmarks import Figure


def names() -> list[str]:
    return sorted(m.name for m in pkgutil.iter_modules(package.__path__) if not m.name.startswith("_"))


def table(figures: list[Figure]) -> str:
    rows = [("figure", "value", "baseline", "ratio", "goal")]
    for figure in figures:
        rows.append(
            (
                figure.name,
                f"{figure.value:,.4g} {figure.unit}",
                f"{figure.baseline:,.4g} ({figure.baseline_name})",
                f"{figure.ratio:.3g}",
                figure.goal,
            )
        )
    widths = [max(len(row[i]) for row in rows) for i in range(5)]
    return "\n".join(
        "  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows
    )


def main() -> int:
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks",
        description="Measure the project against named baselines and print ratios taken in one run.",
        epilog="example: python -m tests.benchmarks intake --json figures.json",
    )
    parser.add_argument("name", nargs="*", help=f"which to run (default: all): {', '.join(names())}")
    parser.add_argument("--json", metavar="FILE", help="also write the figures as JSON")
    arguments = parser.parse_args()
    unknown = sorted(set(arguments.name) - set(names()))
    if unknown:
        print(f"no benchmark named {', '.join(unknown)}; there are: {', '.join(names())}", file=sys.stderr)
        return 2
    figures: list[Figure] = []
    for name in arguments.name or names():
        print(f"{name} ...", file=sys.stderr, flush=True)
        figures += importlib.import_module(f"tests.benchmarks.{name}").run()
    print(table(figures))
    for figure in figures:
        if figure.note:
            print(f"{figure.name}: {figure.note}")
    if arguments.json:
        document = {
            "version": 1,
            "taken_at": datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
            "machine": f"{platform.machine()}, {platform.python_implementation()} {platform.python_version()}",
            "figures": [dataclasses.asdict(f) for f in figures],
        }
        with open(arguments.json, "w", encoding="utf-8") as stream:
            json.dump(document, stream, indent=2)
    return 0


if __name__ == "__main__":
    sys.exit(main())
