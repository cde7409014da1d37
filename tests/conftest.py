"""What holds for the tests of every room: how long Hypothesis may take is no matter, a machine may be busy."""

from hypothesis import HealthCheck, settings

settings.register_profile("busy", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("busy")
