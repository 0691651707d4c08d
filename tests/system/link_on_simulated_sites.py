"""The link and the list of wheels next to grade, on whole simulated dairies whose truth is known.

``python -m tests.system.link_on_simulated_sites`` runs fifty dairies of 200 wheels (the simulator's rooms, wheels, hazards
and an observer who misses and imagines), lets the monitor study each from what it would have known, and writes the
table in ``monitor/docs/link-against-truth.md``.  Every dairy is studied again with faults that have nothing to do with
its air.  ``--keep FOLDER`` keeps the runs for another time.  ``--ranges`` writes only the part on the ranges of single
wheels' chances anew, from further dairies.
"""

from __future__ import annotations

import argparse
import math
import pickle
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
from tqdm import tqdm

from monitor.link.exposure import Exposures
from monitor.link.features import courses_of
from monitor.link.life import Life
from monitor.link.questions import Answer, exposure_of
from monitor.link.sightings import sight_of
from monitor.link.skill import Ranged, area_under_roc
from monitor.link.study import Model, Study, study
from monitor.review.next_to_grade import rank
from monitor.review.next_to_grade_air import reasons_of
from sensors_sim.outcomes import DAY_S
from sensors_sim.randomness import generator
from tests.link import known
from tests.link.sites import DAYS, Counting, Simulated, add_chance, simulate, when

TABLE = Path(__file__).parents[2] / "monitor" / "docs" / "link-against-truth.md"
FIRST_SEED, SITES = 2001, 50
FALSE_SHARE = 0.03
"""Of looks at what is sound, in which the observer sees a fault (the scenario's default)."""
RANKED_ON_DAY = 220.0
RANGES = "## Ranges of single wheels' chances"
BAD_CRACKS = 3
FAULTS = {"cracks": "cracks", "blue_under_cloth": "blue under the cloth"}


@dataclass
class Outcome:
    """What one dairy came to; numbers by fault where there are two, NaN where something could not be told."""

    seed: int
    found: dict[str, int] = field(default_factory=dict)
    auc_found: dict[str, float] = field(default_factory=dict)
    auc_truth: dict[str, float] = field(default_factory=dict)
    auc_best: dict[str, float] = field(default_factory=dict)
    slope: dict[str, float] = field(default_factory=dict)
    held_rooms: dict[str, list[bool]] = field(default_factory=lambda: {"difference": [], "share": []})
    held_own: dict[str, list[bool]] = field(default_factory=lambda: {"difference": [], "share": []})
    held_wheel: list[float] = field(default_factory=list)
    held_wheel_risk: list[float] = field(default_factory=list)
    claims: int = 0
    claims_by_chance: int = 0
    here: int = 0
    troubled: int = 0
    in_first_fifth: int = 0
    in_first_fifth_by_ledger: int = 0


def outcome_of(seed: int, run: Simulated) -> Outcome:
    """Study one dairy in both its truths and rank its wheels on one day."""
    result = Outcome(seed)
    lives = known.lives(run, "linked", DAYS)
    exposures = known.exposures(run)
    link = study(lives, exposures)
    result.claims = link.claims
    _skill(result, run, link)
    _coverage(result, run, link, lives, exposures)
    add_chance(run, seed)
    result.claims_by_chance = study(known.lives(run, "chance", DAYS), known.exposures(run)).claims
    _ranking(result, run)
    return result


def _skill(result: Outcome, run: Simulated, link: Study) -> None:
    truth = run.outcomes["linked"]
    assert isinstance(truth, Counting)
    number = {wheel.id: index for index, wheel in enumerate(run.wheels)}
    steps = run.true_steps["linked"][DAYS]
    blue = np.array([float(max(s["blue_under_cloth"], s["blue_at_plug"]) > 0) for s in steps])
    cracked = (~np.isnan(truth.cracked_s)).astype(float)
    # The best that could be said: the truth's own risk of a crack; how long ago a wheel truly cracked, for blue.
    best = {"cracks": truth.crack_risk, "blue_under_cloth": np.nan_to_num(-truth.cracked_s, nan=-1e12)}
    for fault, true in (("cracks", cracked), ("blue_under_cloth", blue)):
        known_of = _model(link, fault)
        result.found[fault] = next(iter(link.styles.values())).faults[fault].found
        result.auc_best[fault] = area_under_roc(true, best[fault])
        if known_of is None:
            result.auc_found[fault] = result.auc_truth[fault] = result.slope[fault] = math.nan
            continue
        said = np.array(list(known_of.left_out.values()))
        those = [number[name] for name in known_of.left_out]
        result.auc_found[fault] = known_of.skill.auc.value
        result.slope[fault] = known_of.skill.slope.value
        result.auc_truth[fault] = area_under_roc(true[those], said)


def _model(link: Study, fault: str) -> Model | None:
    return next(iter(link.styles.values())).faults[fault].model


def _coverage(result: Outcome, run: Simulated, link: Study, lives: list[Life], exposures: Exposures) -> None:
    """Whether 90 % intervals about cracks hold the truth: of groups, of their difference, of single wheels.

    The truth of what is said is the chance that a crack is found: the simulator's own chance of no crack, of one and of
    more, with how often this observer found wheels with one and with more, or imagined one by the rule of two sightings.
    """
    truth = run.outcomes["linked"]
    assert isinstance(truth, Counting)
    hazard = {w.id: float(h) for w, h in zip(run.wheels, truth.crack_risk, strict=True)}
    cracks = {w.id: int(count) for w, count in zip(run.wheels, truth.cracks, strict=True)}
    courses = {course.life.name: course for course in courses_of("cracks", lives)}
    one = float(np.mean([c.found for name, c in courses.items() if cracks[name] == 1]))
    more_than_one = float(np.mean([c.found for name, c in courses.items() if cracks[name] > 1]))
    imagines = {name: imagined(len(course.looks)) for name, course in courses.items()}

    def to_be_found(expected: float, imagined: float) -> float:
        none = math.exp(-expected)
        return none * imagined + none * expected * one + (1.0 - none * (1.0 + expected)) * more_than_one

    own = {name: to_be_found(hazard[name], imagines[name]) for name in courses}
    risk = {name: 1.0 - math.exp(-hazard[name]) for name in courses}
    usual = float(np.mean(list(imagines.values())))
    rooms = {
        life.name: to_be_found(-math.log1p(-r), usual)
        for life, r in zip(known.onlookers(run), run.onlookers_risk, strict=True)
    }
    for answer in next(iter(link.styles.values())).answers:
        group = answer.contrast
        if group is None or answer.cut is None or answer.question.fault != "cracks":
            continue
        shares = (group.more.share, group.less.share)
        for chances, (more, less), held in (
            (rooms, _parted(answer, known.onlookers(run), exposures), result.held_rooms),
            (own, (answer.more, answer.less), result.held_own),
        ):
            if more and less:
                true = [float(np.mean([chances[name] for name in names])) for names in (more, less)]
                held["difference"].append(_holds(group.difference, true[0] - true[1]))
                held["share"] += [_holds(said, value) for said, value in zip(shares, true, strict=True)]
    model = _model(link, "cracks")
    if model is not None:
        ranges = {name: model.ranged(chance) for name, chance in model.left_out.items()}
        for chances, held_wheel in ((own, result.held_wheel), (risk, result.held_wheel_risk)):
            held_wheel.append(float(np.mean([_holds(said, chances[name]) for name, said in ranges.items()])))


def _parted(answer: Answer, lives: list[Life], exposures: Exposures) -> tuple[list[str], list[str]]:
    """Names of wheels with more and with less than an answer's cut, by the sensed air."""
    assert answer.cut is not None
    exposures.live_again(lives)
    value = {life.name: exposure_of(answer.question, life, exposures) for life in lives}
    return [n for n, v in value.items() if v > answer.cut], [n for n, v in value.items() if v <= answer.cut]


def _holds(said: Ranged, value: float) -> bool:
    return said.low <= value <= said.high


@cache
def imagined(looks: int, draws: int = 4000) -> float:
    """How often an observer of sound wheels finds a fault in so many looks, by the monitor's rule of sightings."""
    seen = generator(looks, "imagined").uniform(size=(draws, looks)) < FALSE_SHARE
    return float(np.mean([sight_of(list(enumerate(map(int, row)))).found_ms is not None for row in seen]))


def _ranking(result: Outcome, run: Simulated) -> None:
    """Rank the wheels that are there on one day, by the ledger alone and with their air."""
    lives = known.lives(run, "linked", RANKED_ON_DAY)
    exposures, at = known.exposures(run), when(run.scenario, RANKED_ON_DAY * DAY_S)
    link = study(lives, exposures)
    here = [life for life in lives if not life.gone]
    steps = dict(
        zip((wheel.id for wheel in run.wheels), run.true_steps["linked"][RANKED_ON_DAY], strict=True)
    )
    troubled = {life.name for life in here if _is_troubled(steps[life.name])}
    result.here, result.troubled = len(here), len(troubled)
    further = reasons_of(lives, exposures, link, at)
    fifth = math.ceil(len(here) / 5)
    result.in_first_fifth = len(troubled & set(_first(here, at, further)[:fifth]))
    result.in_first_fifth_by_ledger = len(troubled & set(_first(here, at, {})[:fifth]))


def _is_troubled(steps: dict[str, int]) -> bool:
    """Truly in trouble: any blue under the cloth or at a plug, or cracks of step 3 or more."""
    return max(steps["blue_under_cloth"], steps["blue_at_plug"]) >= 1 or steps["cracks"] >= BAD_CRACKS


def _first(here: Sequence[Life], at: object, further: object) -> list[str]:
    wheels = [known.wheel_of(life) for life in here]
    entries = {life.name: life.entries for life in here}
    return [r.wheel.name for r in rank(known.site(), wheels, entries, at, further=further)]  # type: ignore[arg-type]


def table(outcomes: Sequence[Outcome]) -> str:
    """The outcomes as a document."""
    claimed = sum(o.claims_by_chance > 0 for o in outcomes)
    lines = [
        "# The link against simulated dairies",
        "",
        "Written by `python -m tests.system.link_on_simulated_sites`; do not edit. Everything is invented. The dairies run on",
        "the simulator's rooms, wheels and hazards (200 cloth-bound wheels in 40 makes, a young room whose humidifier stands",
        "empty for a week or three now and then, a cave; sensors off by about 1 %RH; an observer who misses a fifth of faint",
        "faults and imagines some in 3 % of looks), none of which the monitor sees. Chances are said of wheels whose make the",
        "model did not know. The best possible is the truth's own risk of a crack, and how long ago a wheel truly cracked;",
        "what is left is luck. What chances and shares are held against is the truth's chance that a crack is found: its own",
        "risks, and what this observer finds of cracks that are there and imagines where there are none. What groups truly",
        "differ by is told by 240 further wheels in the same rooms, made one a day, that nobody looks at and no room feels.",
        "Features, cuts, weights and the ways to intervals were chosen on seeds 501 to 512 and 601 to 603; the seeds below were",
        "used for nothing else.",
        "",
        f"Dairies: {len(outcomes)}, seeds {outcomes[0].seed} to {outcomes[-1].seed}.",
        "",
        "| fault | wheels found, of 200 | AUC against what was found: mean (5 % to 95 % of dairies) | against the truth | best possible | dairies at 0.80 or more (found) | calibration slope: median (5 % to 95 %) | slope in 0.7 to 1.3 |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for fault, words in FAULTS.items():
        auc, slope = _of(outcomes, "auc_found", fault), _of(outcomes, "slope", fault)
        lines.append(
            f"| {words} | {np.mean(_of(outcomes, 'found', fault)):.0f} | {np.mean(auc):.3f} ({_spread(auc)}) "
            f"| {np.mean(_of(outcomes, 'auc_truth', fault)):.3f} | {np.mean(_of(outcomes, 'auc_best', fault)):.3f} "
            f"| {np.mean(auc >= 0.8):.0%} | {np.median(slope):.2f} ({_spread(slope)}) "
            f"| {np.mean((slope >= 0.7) & (slope <= 1.3)):.0%} |"
        )
    recall = np.array([o.in_first_fifth / o.troubled for o in outcomes if o.troubled])
    by_ledger = np.array([o.in_first_fifth_by_ledger / o.troubled for o in outcomes if o.troubled])
    most = np.array([min(1.0, math.ceil(o.here / 5) / o.troubled) for o in outcomes if o.troubled])
    troubled = sum(o.troubled for o in outcomes)
    lines += [
        "",
        "| what | figure |",
        "|---|---|",
        f"| 90 % intervals of the difference between two groups that hold what wheels of such air in these rooms truly differ by | {_held([o.held_rooms['difference'] for o in outcomes])} |",
        f"| the same, of each group's share | {_held([o.held_rooms['share'] for o in outcomes])} |",
        f"| the same two against the mean chances of the very wheels that were counted | {_held([o.held_own['difference'] for o in outcomes])}; {_held([o.held_own['share'] for o in outcomes])} |",
        f"| 90 % intervals of single wheels' chances that a crack is found that hold the truth's | {_wheels([o.held_wheel for o in outcomes])} |",
        f"| the same against the truth's risk of a crack alone, which knows nothing of cracks imagined | {_wheels([o.held_wheel_risk for o in outcomes])} |",
        f"| dairies with a link in which one is claimed | {np.mean([o.claims > 0 for o in outcomes]):.0%} |",
        f"| dairies without any link in which one is claimed all the same | {claimed} of {len(outcomes)} ({claimed / len(outcomes):.0%}) |",
        f"| next to grade: wheels truly in trouble in the first fifth of the list, all dairies | {sum(o.in_first_fifth for o in outcomes)} of {troubled} ({sum(o.in_first_fifth for o in outcomes) / troubled:.0%}) |",
        f"| the same by dairy: mean (5 % to 95 %) | {np.mean(recall):.0%} ({_spread(recall)}) |",
        f"| the same from the ledger alone, mean | {np.mean(by_ledger):.0%} |",
        f"| the most that a fifth can hold, mean (where more than a fifth are in trouble) | {np.mean(most):.0%} |",
        f"| wheels in trouble, share of those there | {troubled / sum(o.here for o in outcomes):.0%} |",
    ]
    return "\n".join(lines) + "\n"


def ranges_part(outcomes: Sequence[Outcome], why: str) -> str:
    """What further dairies say of the ranges of single wheels' chances, as the end of the document."""
    seeds = f"seeds {outcomes[0].seed} to {outcomes[-1].seed}"
    return "\n".join(
        [
            RANGES,
            "",
            why,
            f"{len(outcomes)} further dairies ({seeds}), used for nothing else:",
            "",
            "| what | figure |",
            "|---|---|",
            f"| 90 % intervals of single wheels' chances that a crack is found that hold the truth's | {_wheels([o.held_wheel for o in outcomes])} |",
            f"| the same against the truth's risk of a crack alone, which knows nothing of cracks imagined | {_wheels([o.held_wheel_risk for o in outcomes])} |",
            f"| AUC against the cracks found, mean (5 % to 95 % of dairies) | {np.mean(_of(outcomes, 'auc_found', 'cracks')):.3f} ({_spread(_of(outcomes, 'auc_found', 'cracks'))}) |",
            f"| AUC against the blue found under the cloth, mean (5 % to 95 % of dairies) | {np.mean(_of(outcomes, 'auc_found', 'blue_under_cloth')):.3f} ({_spread(_of(outcomes, 'auc_found', 'blue_under_cloth'))}) |",
            f"| intervals of the difference between two groups, and of each group's share, that hold the mean chances of the wheels counted | {_held([o.held_own['difference'] for o in outcomes])}; {_held([o.held_own['share'] for o in outcomes])} |",
        ]
    )


def _of(outcomes: Sequence[Outcome], name: str, fault: str) -> np.ndarray:
    values = np.array([getattr(o, name)[fault] for o in outcomes], dtype=float)
    return values[np.isfinite(values)]


def _spread(values: np.ndarray) -> str:
    low, high = np.quantile(values, [0.05, 0.95])
    return f"{low:.2f} to {high:.2f}"


def _held(by_dairy: Sequence[Sequence[bool]]) -> str:
    held = [value for values in by_dairy for value in values]
    return f"{np.mean(held):.0%} of {len(held)}" if held else "none"


def _wheels(by_dairy: Sequence[Sequence[float]]) -> str:
    held = np.array([value for values in by_dairy for value in values])
    return f"{held.mean():.0%} (mean of {len(held)} dairies; {_spread(held)})" if held.size else "none"


def run_of(seed: int, folder: Path | None) -> Simulated:
    """A dairy's run, from the folder where one is kept."""
    path = folder / f"{seed}.pkl" if folder else None
    if path is not None and path.exists():
        run: Simulated = pickle.loads(path.read_bytes())
        return run
    run = simulate(seed, looks=(RANKED_ON_DAY,), with_onlookers=True)
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pickle.dumps(run))
    return run


def ranges(first_seed: int, sites: int, path: Path, why: str) -> None:
    """Run further dairies, nothing but the link, and write what they say of ranges at the end of the document."""
    before = path.read_text(encoding="utf-8").split(RANGES)[0].rstrip()
    outcomes: list[Outcome] = []
    for seed in tqdm(range(first_seed, first_seed + sites), unit="dairy"):
        run = simulate(seed)
        lives, exposures = known.lives(run, "linked", DAYS), known.exposures(run)
        link, outcome = study(lives, exposures), Outcome(seed)
        _skill(outcome, run, link)
        _coverage(outcome, run, link, lives, exposures)
        outcomes.append(outcome)
        path.write_text(f"{before}\n\n{ranges_part(outcomes, why)}\n", encoding="utf-8")


def main() -> None:
    """Run the dairies and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sites", type=int, default=SITES)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--keep", type=Path, help="folder that keeps the runs")
    parser.add_argument("--table", type=Path, default=TABLE)
    parser.add_argument(
        "--ranges", metavar="WHY", help="only the part on ranges, and why it has seeds of its own"
    )
    chosen = parser.parse_args()
    if chosen.ranges:
        return ranges(chosen.first_seed, chosen.sites, chosen.table, chosen.ranges)
    outcomes = []
    for seed in tqdm(range(chosen.first_seed, chosen.first_seed + chosen.sites), unit="dairy"):
        outcomes.append(outcome_of(seed, run_of(seed, chosen.keep)))
        chosen.table.write_text(table(outcomes), encoding="utf-8")
    print(chosen.table.read_text("utf-8"))


if __name__ == "__main__":
    main()
