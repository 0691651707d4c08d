"""Air and rind: what the dairy's own entries say of how its air and its rinds belong together, with the doubt of it."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard.language import say, say_count
from dashboard.look import put
from dashboard.parts import cannot_be_read, cell, headline, section, table, wheel_link
from dashboard.plain import number, text
from dashboard.source import Source

STATES = {"shown": "link", "not shown": "open", "not enough wheels yet": "few"}
"""What a question came to, and the shape that stands for it; the first is drawn first."""
MOST_WHEELS = 30
NO_SKILL = 0.5


def show(source: Source) -> None:
    """Draw the page."""
    st.html(headline(say("Air and rind"), say("what this dairy's own entries say")))
    if not source.offers("link"):
        words = say("There is nothing here yet: this monitor does not offer it.")
        st.html(f'<p class="panel">{text(words)}</p>')
        return
    answer = source.offered("link", keep_s=300.0)
    document = answer.document
    if document is None:
        st.html(cannot_be_read(say("The evidence cannot be worked out."), answer))
        return
    if answer.fault:
        st.html(cannot_be_read(say("The evidence cannot be worked out anew."), answer))
    put(evidence(document))
    caution = say("What goes together need not cause the other. The fewer the entries, the wider the doubt.")
    cautions = [caution, *document.get("cautions", [])]
    st.html("".join(f'<p class="caution">{text(say(words))}</p>' for words in cautions))


def evidence(document: dict[str, Any]) -> str:
    """The ``evidence`` document as HTML."""
    styles = document.get("styles") or []
    if not any(style["wheels"] for style in styles):
        words = say(
            "No entries yet. Looks at rinds, weighings and ironings, once there are some, are counted here."
        )
        return f'<p class="panel">{text(words)}</p>'
    names = {fault["fault"]: fault["fault_name"] for style in styles for fault in style["faults"]}
    return "".join(_style(style) for style in styles) + _wheels(document.get("wheels") or [], names)


def _style(style: dict[str, Any]) -> str:
    counted = say_count("{count} wheel", "{count} wheels", style["wheels"])
    order = list(STATES)
    answers = sorted(style["answers"], key=lambda a: order.index(a["state"]) if a["state"] in order else 9)
    cards = "".join(_answer(answer) for answer in answers)
    return f'{section(style["style_name"] + ", " + counted)}<div class="answers">{cards}</div>' + _faults(
        style["faults"]
    )


def _answer(answer: dict[str, Any]) -> str:
    mark = STATES.get(answer["state"], "few")
    return (
        f'<section class="panel answer {mark}"><p class="state-word"><i class="shape {mark}" aria-hidden="true"></i>'
        f"<span>{text(say(answer['state']))}</span></p><p>{text(answer['sentence'], 800)}</p>{_counts(answer)}</section>"
    )


def _counts(answer: dict[str, Any]) -> str:
    counts = answer.get("counts")
    if not counts:
        return ""
    groups = [(say("with more of it"), counts["more"]), (say("the others"), counts["less"])]
    top = max(group["share"]["high"] for _, group in groups) or 1.0
    bars = "".join(_bar(name, group, top) for name, group in groups)
    chance = answer.get("p_corrected")
    words = (
        ""
        if chance is None
        else say("Chance alone would do as much in {share} of 100.", share=number(100 * chance, 1))
    )
    return f'<div class="shares">{bars}</div><p class="quiet">{text(words)}</p>'


def _bar(name: str, group: dict[str, Any], top: float) -> str:
    value, low, high = (100 * group["share"][key] / top for key in ("value", "low", "high"))
    figure = say("{found} of {of}", found=group["found"], of=group["of"])
    between = say("{low} to {high} in 100", low=number(100 * group["share"]["low"], 0), high=number(100 * group["share"]["high"], 0))  # fmt: skip
    return (
        f'<div class="share"><span>{text(name)}: <b>{text(figure)}</b> <span class="quiet">({text(between)})</span></span>'
        f'<div class="scale" aria-hidden="true"><span class="doubt" style="left:{low:.1f}%;width:{high - low:.1f}%"></span>'
        f'<span class="mark" style="left:{value:.1f}%"></span></div></div>'
    )


def _faults(faults: list[dict[str, Any]]) -> str:
    if not faults:
        return ""
    heads = [say("fault"), say("found"), say("how many by which age"), say("can it be foretold?")]
    rows = "".join(
        "<tr>"
        + cell(f"<b>{text(fault['fault_name'], 80)}</b>", sort="free")
        + cell(text(_found(fault)), heads[1], "free")
        + cell(text(_by_age(fault["by_age"])), heads[2], "free")
        + cell(text(_foretold(fault), 600) + _drivers(fault["drivers"]), heads[3], "free")
        + "</tr>"
        for fault in faults
    )
    return table(heads, rows)


def _found(fault: dict[str, Any]) -> str:
    wheels = say_count("{count} wheel followed", "{count} wheels followed", fault["followed"])
    makes = say_count("{count} make", "{count} makes", fault["makes"])
    return say("{found} of {wheels}, {makes}", found=fault["found"], wheels=wheels, makes=makes)


def _by_age(points: list[dict[str, float]]) -> str:
    """At most four ages of a course, the last always among them."""
    if not points:
        return "–"
    step = max(1, -(-len(points) // 4))
    told = [*points[step - 1 : -1 : step], points[-1]]
    return "; ".join(
        say("{share} in 100 by {days} days", share=number(100 * p["share"], 0), days=number(p["age_days"], 0)) for p in told
    )  # fmt: skip


def _foretold(fault: dict[str, Any]) -> str:
    skill, needs = fault.get("skill"), fault.get("needs") or ""
    needs = needs[:1].upper() + needs[1:]
    if skill is None:
        return " ".join([say("Not yet."), needs]).strip()
    auc, slope = skill["auc"], skill["calibration_slope"]
    between = {"value": number(auc["value"], 2), "low": number(auc["low"], 2), "high": number(auc["high"], 2)}
    sorts = (
        say(
            "Yes: wheels of makes it did not know are told apart, {value} ({low} to {high}; 0.5 is a coin).",
            **between,
        )
        if fault["state"] == "shown"
        else say("Not shown: {value} ({low} to {high}; 0.5 is a coin).", **between)
    )
    meant = say(
        "It expected {expected} and {found} were found; the slope of its calibration is {slope} (1 is right).",
        expected=number(skill["expected"], 0), found=skill["found"], slope=number(slope["value"], 2),
    )  # fmt: skip
    return " ".join(part for part in (sorts, meant, needs) if part)


def _drivers(drivers: list[dict[str, Any]]) -> str:
    if not drivers:
        return ""
    told = "".join(
        f"<li>{text(driver['words'], 200)}: {text(say('{times} times the odds', times=number(driver['odds_ratio'], 1)))}</li>"
        for driver in sorted(drivers, key=lambda d: -max(d["odds_ratio"], 1 / max(d["odds_ratio"], 1e-6)))[:4]
    )
    return f'<ul class="plain">{told}</ul>'


def _wheels(wheels: list[dict[str, Any]], names: dict[str, str]) -> str:
    """The wheels on which something would most likely be found now."""
    told = [
        (chance, wheel["wheel"], names.get(fault, fault))
        for wheel in wheels
        for fault, chance in wheel["chances"].items()
    ]
    if not told:
        return ""
    told.sort(key=lambda row: -row[0]["value"])
    heads = [say("wheel"), say("what"), say("how likely, in 100")]
    rows = "".join(
        "<tr>"
        + cell(f"<b>{wheel_link(wheel)}</b>", sort="free")
        + cell(text(fault, 80), heads[1], "free")
        + cell(f"<b>{number(100 * c['value'], 0)}</b> ({number(100 * c['low'], 0)}–{number(100 * c['high'], 0)})", heads[2], "n")
        + "</tr>"
        for c, wheel, fault in told[:MOST_WHEELS]
    )  # fmt: skip
    return section(say("Most likely found now")) + table(heads, rows)
