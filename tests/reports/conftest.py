"""The readings made by hand are shared with the ledger's tests."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "ledger"))
