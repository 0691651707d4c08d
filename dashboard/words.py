"""Every word of the pages, for whoever translates them: ``python -m dashboard.words it > dashboard/languages/it.po``.

Words come from the calls of `say` in the pages' own code, and from the tables of words that pages read out.
What was translated before in the language's file is kept.
"""

from __future__ import annotations

import ast
import io
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po, write_po

from dashboard import language
from dashboard.look import STATE_WORDS
from dashboard.panels import KIND_WORDS
from dashboard.people import ROLES
from monitor.wheels.words import (
    AROMA_NOTES,
    DECISIONS,
    FLAVOUR_NOTES,
    IRON_SCALES,
    RIND_SCALES,
    WHERE_ON_WHEEL,
)

FOLDER = Path(__file__).parent
TABLES = (
    "PAGES",
    "PARTS",
    "KINDS",
    "SAVE",
    "SPANS",
    "SHELVE_FOR",
    "WORK_KINDS",
    "WORK_HOURS",
    "WEEKS",
    "FIGURES",
    "ACTS",
)
"""Names of tables in the pages whose sentences are said to the reader."""
OF_DOCUMENTS = (
    "high", "medium", "low", "critical", "drying", "mould", "warmth", "mites", "wetness", "humidity", "temperature",
    "make", "move", "inspection", "ironing", "grading", "weighing", "work", "undo", "remark", "sale", "loss", "promise",
    "{days} days too warm", "{days} days too cold", "{days} days too damp", "{days} days too dry",
    "broker", "store", "disk", "clock", "channel", "spool", "judge", "sealed", "not sealed", "where", "from", "days", "outside its band", "as now", "as the style wants", "as set",
    "raise", "return", "acknowledge", "answered with another", "reset", "re-alarm", "shelve", "unshelve", "suppress", "release",
    "shown", "not shown", "not enough wheels yet", "take out of service", "return to service", "changed", "note",
)  # fmt: skip
"""Words that documents of the monitor use and pages read out."""
Plural = tuple[str, str]


def all_words() -> list[str | Plural]:
    """Every word, each once, in a steady order; those that are counted as (one, many)."""
    found: list[str | Plural] = []
    for path in sorted(FOLDER.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        found += _said(tree)
        found += _in_tables(tree)
    found += [*STATE_WORDS.values(), *KIND_WORDS.values(), *ROLES, *OF_DOCUMENTS, *_of_scales()]
    return list(dict.fromkeys(found))


def _of_scales() -> Iterator[str]:
    for scale in (*RIND_SCALES.values(), *IRON_SCALES.values()):
        yield from (scale.label, scale.question, *scale.steps)
    yield from (*AROMA_NOTES, *FLAVOUR_NOTES, *WHERE_ON_WHEEL, *DECISIONS)


def _said(tree: ast.AST) -> Iterator[str | Plural]:
    for node in ast.walk(tree):
        name = _called(node)
        if isinstance(node, ast.Call) and name in ("say", "words"):
            yield from _texts(node.args[:1])
        elif isinstance(node, ast.Call) and name == "say_count":
            one, many = _texts(node.args[:2])
            yield one, many


def _called(node: ast.AST) -> str:
    return node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""


def _texts(nodes: Iterable[ast.AST]) -> Iterator[str]:
    for node in nodes:
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value
        elif isinstance(node, ast.IfExp):
            yield from _texts([node.body, node.orelse])


def _in_tables(tree: ast.Module) -> Iterator[str]:
    for node in tree.body:
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
            continue
        target = node.target if isinstance(node, ast.AnnAssign) else node.targets[0]
        if isinstance(target, ast.Name) and target.id in TABLES:
            yield from _sentences(node.value)


def _sentences(value: ast.AST) -> Iterator[str]:
    """The words of a table: the values of a dict (its keys where those are numbers' names), all of a tuple but keys."""
    if isinstance(value, ast.Dict):
        for key, said in zip(value.keys, value.values, strict=True):
            texts = list(_texts([said])) or (
                list(_texts([key])) if key and isinstance(said, ast.Constant) else []
            )
            yield from texts or _sentences(said)
        yield from _texts(k for k in value.keys if k is not None and " " in str(getattr(k, "value", "")))
    elif isinstance(value, ast.Tuple):
        rows = [part for part in value.elts if isinstance(part, ast.Tuple)]
        yield from _texts(row.elts[1] for row in rows) if rows else _texts(value.elts[:1])


def template(code: str) -> Catalog:
    """The catalogue of a language: every word, with what its file translates already."""
    catalogue = Catalog(
        locale=code, project="maturing-room-monitor", header_comment="# The pages' words.", charset="utf-8"
    )
    path = language.FOLDER / f"{code}.po"
    before = read_po(path.open("rb"), locale=code) if path.exists() else Catalog(locale=code)
    for words in all_words():
        known = before.get(words[0] if isinstance(words, tuple) else words)
        catalogue.add(words, known.string if known else None)
    return catalogue


def untranslated(code: str) -> list[str | Plural]:
    """The words for which a language's file has nothing."""
    catalogue = template(code)
    return [
        words
        for words in all_words()
        if not _all(catalogue.get(words[0] if isinstance(words, tuple) else words))
    ]


def _all(message: Message | None) -> bool:
    said = message.string if message else ""
    return bool(said) if isinstance(said, str) else all(said or [""])


def main() -> None:
    """Write a language's file, filled as far as it is, to standard output."""
    if len(sys.argv) != 2:
        sys.exit("say which language: python -m dashboard.words it")
    out = io.BytesIO()
    write_po(out, template(sys.argv[1]), width=110, omit_header=False)
    sys.stdout.write(out.getvalue().decode("utf-8"))


if __name__ == "__main__":
    main()
