"""Watches the air of maturing rooms and relates it to the rind of every wheel."""

from importlib.metadata import PackageNotFoundError, version

try:
    __version__ = version("maturing-room-monitor")
except PackageNotFoundError:  # running from a bare checkout
    __version__ = "0+unknown"
