"""Inspect, measure and grade the polished end faces of fibre-optic connectors.

This module imports nothing outside the standard library: the start-up script lives in this package and runs
before any dependency is installed.
"""

__version__ = "0.1.0"
