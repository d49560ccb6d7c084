"""PRACTICE: physics, attempts, reports and the command line of the trajectory trainer."""

from importlib.metadata import version

__version__ = version("scs-lead-trainer")
