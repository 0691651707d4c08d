"""A penalised model of the chance that a fault is found between two looks: a discrete-time hazard.

The chance of a span is logistic in the features (Allison 1982, Sociological Methodology 13:61: time in spans, censored
where looking ends).  A ridge penalty, chosen by leaving out whole makes, keeps few wheels from making a law.  Where
there are several styles each has deviations of its own from what all share, under the same penalty: partial pooling.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from sklearn.impute import SimpleImputer
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold
from sklearn.preprocessing import StandardScaler

from monitor.link.skill import logistic_fit

Floats = npt.NDArray[np.float64]
STRENGTHS = (0.003, 0.03, 0.3, 3.0)
"""Inverse penalties to choose from (C of scikit-learn)."""
STYLE_SHARE = 0.5
"""A style's own deviation costs 1 / this squared as much as the same step of what all styles share."""
LEAST_CHANCE = 1e-6
FOLDS = 5
SLOPES = (0.3, 3.0)


@dataclass
class Scaling:
    """Features filled in (a style's median where nothing is known) and brought to one scale."""

    features: tuple[str, ...]
    imputer: SimpleImputer
    scaler: StandardScaler
    styles: tuple[str, ...]

    @classmethod
    def of(cls, rows: pd.DataFrame, features: tuple[str, ...]) -> Scaling:
        """The scaling that fits these rows."""
        imputer = SimpleImputer(strategy="median", keep_empty_features=True)
        scaler = StandardScaler().fit(imputer.fit_transform(rows[list(features)].to_numpy(float)))
        return cls(features, imputer, scaler, tuple(sorted(rows["style"].unique())))

    def design(self, rows: pd.DataFrame) -> Floats:
        """What the logistic model is given."""
        scaled = self.scaler.transform(self.imputer.transform(rows[list(self.features)].to_numpy(float)))
        return _design(scaled, rows["style"].to_numpy(), self.styles)


@dataclass
class Hazard:
    """A fitted model; `chance` gives the chance of a find in each row's span."""

    scaling: Scaling
    logistic: LogisticRegression
    strength: float
    level: float = 0.0
    slope: float = 1.0

    def by_wheel(self, table: pd.DataFrame) -> pd.Series:
        """Chance that each wheel's fault is found by its last row, by ``wheel``, calibrated on makes left out."""
        return self.calibrated(chance_by_wheel(table, self.chance(table)))

    def calibrated(self, chance: pd.Series) -> pd.Series:
        """Log odds moved by ``level`` and stretched by ``slope``, as left-out makes asked for."""
        odds = self.level + self.slope * np.log(chance / (1.0 - chance))
        return (1.0 / (1.0 + np.exp(-odds))).clip(LEAST_CHANCE, 1.0 - LEAST_CHANCE)

    def chance(self, table: pd.DataFrame) -> Floats:
        """Chance of a find in each row's span, for a wheel that was clear at its start [-]."""
        return _chance(self.logistic, self.scaling.design(table))

    def effects(self) -> dict[str, float]:
        """Odds ratio for one standard deviation more of each feature, over all styles."""
        names = self.scaling.features
        shared = self.logistic.coef_[0][: len(names)]
        return {name: float(np.exp(value)) for name, value in zip(names, shared, strict=True)}


def fit_hazard(table: pd.DataFrame, features: tuple[str, ...], strength: float | None = None) -> Hazard:
    """Fit the rows at risk; the penalty is chosen by leaving out makes unless ``strength`` is given.

    ``table`` as `monitor.link.features.table_of` makes it, with at least one find and one span without.
    """
    rows = table[table["at_risk"].astype(bool)]
    if strength is None:
        strength = _best_strength(rows, features)
    level, slope = _calibration(table, features, strength)
    return _fit(rows, features, strength, level, slope)


def _fit(
    rows: pd.DataFrame, features: tuple[str, ...], strength: float, level: float = 0.0, slope: float = 1.0
) -> Hazard:
    scaling = Scaling.of(rows, features)
    logistic = penalised_logistic(scaling.design(rows), rows["found"].to_numpy(bool), strength)
    return Hazard(scaling, logistic, strength, level, slope)


def _calibration(table: pd.DataFrame, features: tuple[str, ...], strength: float) -> tuple[float, float]:
    """Level and slope that left-out makes' log odds need (Cox 1958, Biometrika 45:562); (0, 1) where it cannot be told.

    Spans that are each a little too cautious make a wheel's whole chance too cautious, and the other way round.
    """
    said = []
    for known, left_out in _left_out(table):
        rows = known[known["at_risk"].astype(bool)]
        if rows["found"].nunique() == 2:
            model = _fit(rows, features, strength)
            said.append(chance_by_wheel(left_out, model.chance(left_out)))
    if not said:
        return 0.0, 1.0
    chance = pd.concat(said)
    found = table.groupby("wheel")["found"].max().loc[chance.index].to_numpy(dtype=float)
    odds = np.log(chance / (1.0 - chance)).to_numpy()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            level, slope = logistic_fit(found, odds[:, None])[0]
    except (Warning, np.linalg.LinAlgError, ValueError):
        return 0.0, 1.0
    low, high = SLOPES
    return (float(level), float(slope)) if low <= slope <= high else (0.0, 1.0)


def _left_out(table: pd.DataFrame) -> Iterator[tuple[pd.DataFrame, pd.DataFrame]]:
    """Rows of most makes, and those of the makes left out, in turn."""
    makes = table["make"].to_numpy()
    folds = min(FOLDS, len(set(makes)))
    if folds >= 2:
        for train, test in GroupKFold(folds).split(table, groups=makes):
            yield table.iloc[train], table.iloc[test]


def penalised_logistic(design: Floats, found: npt.NDArray[np.bool_], strength: float) -> LogisticRegression:
    """A logistic regression with a ridge penalty on all but the constant."""
    return LogisticRegression(C=strength, solver="newton-cholesky", tol=1e-6).fit(design, found)


def _chance(logistic: LogisticRegression, design: Floats) -> Floats:
    result: Floats = np.clip(logistic.predict_proba(design)[:, 1], LEAST_CHANCE, 1 - LEAST_CHANCE)
    return result


def _design(scaled: Floats, style: Any, styles: tuple[str, ...]) -> Floats:
    """Shared columns, then for each of several styles its level and its deviations."""
    if len(styles) < 2:
        return scaled
    parts = [scaled]
    for name in styles:
        mine = (style == name).astype(float)[:, None]
        parts += [mine, STYLE_SHARE * mine * scaled]
    return np.hstack(parts)


def _best_strength(rows: pd.DataFrame, features: tuple[str, ...]) -> float:
    """The penalty under which left-out makes' spans are the least surprising."""
    surprise = dict.fromkeys(STRENGTHS, 0.0)
    for train, test in _left_out(rows):
        if train["found"].nunique() < 2:
            continue
        scaling = Scaling.of(train, features)
        known, left_out, found = scaling.design(train), scaling.design(test), test["found"].to_numpy(bool)
        for strength in STRENGTHS:
            chance = _chance(penalised_logistic(known, train["found"].to_numpy(bool), strength), left_out)
            surprise[strength] -= np.log(np.where(found, chance, 1.0 - chance)).sum()
    return min(surprise, key=lambda strength: (surprise[strength], strength))


def chance_by_wheel(table: pd.DataFrame, chance: Floats) -> pd.Series:
    """Chance that a wheel's fault is found by its last row: 1 - the product of (1 - chance), by ``wheel``."""
    missed = pd.Series(np.log1p(-chance), index=table.index).groupby(table["wheel"]).sum()
    return (-np.expm1(missed)).clip(LEAST_CHANCE, 1.0 - LEAST_CHANCE)


def left_out_chance(table: pd.DataFrame, features: tuple[str, ...]) -> pd.Series:
    """The chance of every wheel from a model that knew none of its make: by ``wheel``, NaN where none could be fitted."""
    result = pd.Series(np.nan, index=pd.Index(sorted(table["wheel"].unique()), name="wheel"))
    for known, left_out in _left_out(table):
        if known.loc[known["at_risk"].astype(bool), "found"].nunique() == 2:
            wheel = fit_hazard(known, features).by_wheel(left_out)
            result.loc[wheel.index] = wheel
    return result
