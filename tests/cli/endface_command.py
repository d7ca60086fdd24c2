"""Runs the real command in a process of its own, and reads what it writes."""

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_captures"
COMMAND = [sys.executable, "-m", "workstation"]
TIME_LIMIT_S = 120.0
VALIDATOR = Draft202012Validator(
    json.loads((ROOT / "resources/schemas/grading-record-1.json").read_text(encoding="utf-8"))
)


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"}


def endface(
    *words: str | Path, cwd: Path | None = None, stdout: Any = subprocess.PIPE
) -> subprocess.CompletedProcess[str]:
    """Run the command to its end; more than the time limit is an error."""
    return subprocess.run(
        [*COMMAND, *map(str, words)],
        stdin=subprocess.DEVNULL,
        stdout=stdout,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        timeout=TIME_LIMIT_S,
        check=False,
        cwd=cwd,
        env=environment(),
    )


def start(*words: str | Path) -> subprocess.Popen[bytes]:
    """Start the command, with workers and all in a process group of its own."""
    return subprocess.Popen(
        [*COMMAND, *map(str, words)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        env=environment(),
    )


def records(text: str) -> list[dict[str, Any]]:
    """Parse records, each proved by the schema."""
    values = [json.loads(line) for line in text.splitlines()]
    for one in values:
        VALIDATOR.validate(one)
    return values


def without_seconds(values: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    return [{name: value for name, value in one.items() if name != "seconds"} for one in values]
