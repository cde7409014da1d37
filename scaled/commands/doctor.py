"""`scaled doctor`: what would stop this bench from working."""

from __future__ import annotations

from dataclasses import asdict

import click

from scaled.commands.options import config_option, json_option
from scaled.commands.printing import print_json, print_text


@click.command()
@config_option
@json_option
def doctor(config: str | None, *, as_json: bool) -> int:
    """Say what would stop this bench from working, and what to do; 1 where there is trouble.

    It only looks. What it says of permissions holds for the user who asks: ask as the user of the service.
    """
    from scaled.clock import RealClock
    from scaled.doctor import examined

    findings = examined(config, RealClock())
    is_fine = all(finding.state != "trouble" for finding in findings)
    if as_json:
        document = {"ok": is_fine, "findings": [asdict(finding) for finding in findings]}
        print_json(document)
        return 0 if is_fine else 1
    for finding in findings:
        print_text(f"{finding.state:<8} {finding.what}: {finding.says}")
        if finding.do:
            print_text(f"         {finding.do}")
    return 0 if is_fine else 1
