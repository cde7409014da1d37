"""A bench with a simulated scale on a real pseudo-terminal, and a place where daemons can be run on it."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import pytest
from daemon_process import Place

from scaled.clock import RealClock
from scaled.simulator.parameters import ScaleParameters
from scaled.simulator.pseudo_terminal import PtyScale
from scaled.simulator.scale import SimulatedScale


@pytest.fixture
def scale(tmp_path):
    """A simulated scale that stands beside the test's daemon; `act` does something to it."""
    simulated = SimulatedScale(ScaleParameters(noise_d=0.1, creep_d=0.0, blips_per_min=0.0), seed=1)
    with PtyScale(simulated, RealClock(), tmp_path, "scale") as pty:
        yield pty


@pytest.fixture
def place(tmp_path, scale):
    """Settings that name the simulated scale."""
    return Place(tmp_path, scale.path)


@pytest.fixture
def bench_log(caplog):
    """What the bench logs."""
    caplog.set_level("ERROR", "scaled.daemon.bench_thread")
    return caplog
