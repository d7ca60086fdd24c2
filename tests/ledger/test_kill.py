"""A killed program: what it had acknowledged is there and whole, nothing half is seen, and work goes on."""

import random
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hand_made import graded, picture

from workstation.ledger import Ledger

WRITER = """
import sys
sys.path.insert(0, sys.argv[2])
from hand_made import graded, picture
from workstation.ledger import Ledger
with Ledger.open(sys.argv[1]) as ledger:
    session = ledger.sessions()[0] if ledger.sessions() else ledger.start_session("s", "", "", "")
    port = ledger.find_port(session.id, "1") or ledger.add_port(session.id, "1")
    reading, verdict = graded()
    print("ready", flush=True)
    while True:
        seed = ledger.count_looks(session.id)
        look = ledger.keep_look(port.id, picture(seed, (200, 300)), reading, verdict, "", 0.1)
        print(look.id, seed, look.picture_sha256, flush=True)
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="kills by a signal of POSIX")
def test_a_killed_program_loses_nothing_that_it_had_acknowledged(tmp_path: Path):
    moments = random.Random(20260301)
    acknowledged: dict[int, tuple[int, str]] = {}
    for _ in range(20):
        command = [sys.executable, "-c", WRITER, str(tmp_path), str(Path(__file__).parent)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout is not None
            assert child.stdout.readline() == "ready\n"
            with pytest.raises(subprocess.TimeoutExpired):
                child.wait(moments.uniform(0.0, 0.25))
            child.send_signal(signal.SIGKILL)
            lines = child.stdout.read().splitlines(keepends=True)
        for line in lines:
            if line.endswith("\n"):
                look_id, seed, sha256 = line.split()
                acknowledged[int(look_id)] = (int(seed), sha256)
        with Ledger.open(tmp_path) as ledger:
            assert list((tmp_path / "pictures" / "aside").iterdir()) == []
            audit = ledger.verify()
            assert audit.whole, audit.fault
            (session,) = ledger.sessions()
            kept = {look.id: look for look in ledger.looks(session.id)}
            assert acknowledged.keys() <= kept.keys()
            # One look at most was kept without the word reaching us.
            assert [look.number for look in kept.values()] == list(range(1, len(kept) + 1))
            for look_id, (seed, sha256) in acknowledged.items():
                look = kept[look_id]
                assert (look.picture_sha256, look.reading, look.verdict) == (sha256, *graded())
                assert look.number == seed + 1
            for look in kept.values():
                np.testing.assert_array_equal(ledger.picture(look), picture(look.number - 1, (200, 300)))
    assert len(acknowledged) > 20
