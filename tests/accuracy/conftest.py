"""Lets the benchmark's modules be imported by the name that its command has, also in worker processes."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
