"""Which phase the machine is in: one word from the batch and the bench, the row of the table that applies."""

from __future__ import annotations

from scaled.batch.acceptance import verdict
from scaled.batch.batch import Batch
from scaled.batch.bench import Bench, MachinePhase, noticed_mg

ADDING_G_S = 0.5


def phase_of(batch: Batch | None, bench: Bench) -> MachinePhase:
    """The phase now; while the scale is lost it stays what it was."""
    if batch is None or not batch.is_open:
        return "idle"
    if batch.state == "held":
        return "held"
    if batch.doubted is not None:
        return "doubt"
    if batch.reference_mg is None or batch.emptying is not None or bench.is_vessel_off:
        return "vessel off"
    if bench.must_check is not None and (batch.question is not None or not bench.is_scale_lost):
        return "settling"  # nothing is said of a weight that has not been compared yet, and no answer is taken
    if batch.question is not None:
        return "asking"
    if bench.is_scale_lost or bench.weight is None:
        return bench.phase if bench.phase not in ("idle", "held", "doubt", "asking", "vessel off") else "waiting"
    return _weighing_phase(batch, bench)


def _weighing_phase(batch: Batch, bench: Bench) -> MachinePhase:
    addition, weighing, weight = batch.addition, batch.weighing, bench.weight
    if addition is None or weighing is None or weight is None:
        return "waiting"
    rest = bench.rest
    if rest is None:
        is_flowing = abs(weight.rate_g_s) > max(ADDING_G_S, 5 * batch.facts.division_mg / 1000)
        return "adding" if is_flowing else "settling"
    if weighing.kind == "pour in":
        return "waiting" if batch.net_mg(rest.mass_mg) < noticed_mg(batch) else "under"
    total = batch.total_mg(rest.mass_mg)
    where = verdict(batch, addition, total, batch.content(weighing.key).weighings + 1)
    net = batch.net_mg(rest.mass_mg)
    has_begun = net >= (batch.facts.division_mg if where == "in band" else noticed_mg(batch))
    if weighing.kind != "take out" and not has_begun:
        return "waiting"
    return where
