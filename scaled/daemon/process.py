"""The life of the daemon's process: signals, the service manager, the watchdog.

The main thread does nothing but wait for a signal and feed the watchdog while every vital loop moves.
"""

from __future__ import annotations

import gc
import logging
import os
import signal
import sys
from queue import Empty, SimpleQueue

from scaled.clock import Clock, RealClock
from scaled.config import load_settings
from scaled.daemon.daemon import Daemon
from scaled.errors import ScaledError
from scaled.notify import Notifier, Watchdog
from scaled.records.copies import CopyKeeper

log = logging.getLogger(__name__)

LONGEST_WAIT_S = 1.0


def serve(config: str | None) -> int:
    """Run the daemon until it is told to stop; returns the exit code.

    Raises:
        WrongSettings: the settings are wrong or absent, or the records are of a newer version.
        Busy: another process has the records, the scale's port or the page's.
    """
    logging.basicConfig(stream=sys.stderr, level=logging.INFO, format="%(levelname)s %(message)s")
    settings = load_settings(config)
    signals: SimpleQueue[int] = SimpleQueue()
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        signal.signal(number, lambda got, _frame: signals.put(got))
    clock = RealClock()
    notifier = Notifier.from_environment(os.environ)
    daemon = Daemon(settings, clock)
    daemon.start()
    copies = CopyKeeper(settings.records, clock)
    copies.start()
    if daemon.page is not None:
        log.info("the page is at %s", daemon.page.url)
    notifier.ready()
    gc.freeze()  # all that was imported stays for good: looking through it again held a weight up for milliseconds
    try:
        _until_told_to_stop(daemon, clock, notifier, signals, config)
    finally:
        notifier.stopping()
        copies.stop()
        left = daemon.stop()
        notifier.close()
    return 0 if left == 0 else 74


def _until_told_to_stop(
    daemon: Daemon, clock: Clock, notifier: Notifier, signals: SimpleQueue[int], config: str | None
) -> None:
    watchdog = Watchdog(notifier, daemon.late)
    wait_s = min(LONGEST_WAIT_S, (notifier.watchdog_s or LONGEST_WAIT_S) / 4)
    while True:
        try:
            got = signals.get(timeout=wait_s)
        except Empty:
            got = None
        watchdog.feed(clock.monotonic())
        if got in (signal.SIGTERM, signal.SIGINT):
            return
        if got == signal.SIGHUP:
            _reload(daemon, clock, notifier, config)


def _reload(daemon: Daemon, clock: Clock, notifier: Notifier, config: str | None) -> None:
    """Read the settings anew; where they are wrong, say so and keep the old ones."""
    notifier.reloading(clock.monotonic())
    try:
        later = daemon.renew(load_settings(config))
    except ScaledError as error:
        for line in str(error).splitlines():
            log.error("the settings stay as they were: %s", line)
        notifier.status(f"old settings kept: {str(error).splitlines()[0]}")
    except Exception:
        log.exception("a mistake in the program: the settings were not taken on whole; start the daemon anew")
        notifier.status("the settings were not taken on whole: start the daemon anew")
    else:
        log.info("settings read anew")
        if later:
            log.warning("a change of %s holds from the next start on", " and ".join(later))
        notifier.status("settings read anew")
    notifier.ready()
