"""How every test runs, and what a run says at its end."""

import os
import shutil

from hypothesis import HealthCheck, settings

# Matrices are small here, and tests run side by side: more threads only wait for
# each other. Read when numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# What goes by the clock tells, on a busy machine, of the machine.
settings.register_profile(
    "busy", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("busy")


def pytest_terminal_summary(terminalreporter):
    """Say what was not tried, so that a green run hides no lack."""
    if shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin") is None:
        terminalreporter.write_line(
            "mosquitto is not installed: the MQTT adapter was tried on the embedded"
            " broker only (apt-get install mosquitto)",
            yellow=True,
        )
