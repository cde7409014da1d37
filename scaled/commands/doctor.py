"""`scaled doctor`: what would stop this bench from working."""

from __future__ import annotations

import json
from dataclasses import asdict

import click

from scaled.commands.options import config_option, json_option


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
        click.echo(json.dumps(document, ensure_ascii=False, indent=2))
        return 0 if is_fine else 1
    for finding in findings:
        click.echo(_shown(f"{finding.state:<8} {finding.what}: {finding.says}"))
        if finding.do:
            click.echo(_shown(f"         {finding.do}"))
    return 0 if is_fine else 1


def _shown(text: str) -> str:
    """Text for a terminal, which what came from outside must not steer."""
    return "".join(c if c.isprintable() else "?" for c in text)
