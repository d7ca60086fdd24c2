"""Lets the benchmark's modules be imported by the name that its command has."""

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
for folder in (ROOT, ROOT / "tests" / "fake_v4l2"):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))
