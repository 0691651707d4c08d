"""What the simulator refuses, and why.

SimulationError
├── ScenarioError     a scenario has a fault; the message names the key
└── BrokerRefused     a broker was reached and said no (wrong name, password or certificate)
"""

from __future__ import annotations


class SimulationError(Exception):
    """Base of the simulator's errors; its text is fit to show a person."""


class ScenarioError(SimulationError):
    """A scenario cannot be run; the message names the key and what would be right."""


class BrokerRefused(SimulationError):
    """The broker answered, and refused."""
