"""`guide(batch, bench) -> bench`: what the cook is told this instant. Never waits, never journaled.

The word comes from the phase; while something is poured it comes from the forecast of the weight, with what was learned
of this ingredient's after-flow. The tone quickens towards the target, is silent in the band, and steady and slow when
over. A phrase is spoken once for each new thing there is to say: `spoken_for` remembers what the last one was about.
"""

from __future__ import annotations

from dataclasses import replace

from scaled.batch import telling
from scaled.batch.batch import Batch
from scaled.batch.bench import Bench, MachinePhase, but
from scaled.batch.cue import Cue, CueWord, Light, Spoken
from scaled.batch.phase import phase_of
from scaled.weighing.advice import Advice
from scaled.weighing.flow import forecast
from scaled.weighing.pours import Pours
from scaled.weighing.values import Weight

SLOWEST_BEATS, FASTEST_BEATS = 1.0, 8.0
OVER_BEATS = 2.0

_WORDS: dict[MachinePhase, CueWord] = {
    "held": "held",
    "doubt": "confirm",
    "asking": "choose",
    "waiting": "waiting",
    "settling": "wait",
    "under": "under",
    "in band": "in band",
    "over": "over",
}
_LIGHTS: dict[CueWord, Light] = {
    "waiting": "under",
    "pour": "under",
    "slow": "under",
    "a little, then wait": "under",
    "under": "under",
    "in band": "in",
    "complete": "in",
    "stop": "over",
    "over": "over",
    "take out": "over",
    "choose": "over",
    "confirm": "over",
    "lift vessel": "over",
    "empty vessel": "over",
}
_ADVISED: dict[Advice, CueWord] = {
    "pour freely": "pour",
    "slow": "slow",
    "a little, then wait": "a little, then wait",
    "stop": "stop",
}


def guide(batch: Batch | None, bench: Bench) -> Bench:
    """The bench with its phase, its cue, and what was learned of the pour that has ended."""
    phase = phase_of(batch, bench)
    bench = but(bench, pours=_pours(batch, bench, phase))
    word = _word(batch, bench, phase)
    about, spoken = telling.about(batch, bench, phase, word), bench.cue.spoken
    if about and about != bench.spoken_for:
        spoken = _next_spoken(bench.cue, telling.words(batch, bench, about))
    cue = Cue(word, _LIGHTS.get(word, "off"), _beats(batch, bench, word), spoken)
    return but(bench, phase=phase, cue=cue, spoken_for=about or bench.spoken_for)


def said_again(bench: Bench) -> Bench:
    """The newest phrase once more."""
    spoken = bench.cue.spoken
    if spoken is None:
        return bench
    return replace(bench, cue=replace(bench.cue, spoken=replace(spoken, serial=spoken.serial + 1)))


def _next_spoken(cue: Cue, told: telling.Told) -> Spoken:
    serial = cue.spoken.serial + 1 if cue.spoken else 1
    return Spoken(serial, told[0], told[1])


def _word(batch: Batch | None, bench: Bench, phase: MachinePhase) -> CueWord:
    if bench.is_scale_lost and phase != "idle":
        return "scale lost"
    if batch is None or phase == "idle":
        if batch is None or batch.state not in ("complete", "aborted"):
            return "idle"
        return "complete" if batch.state == "complete" else "aborted"
    if phase == "doubt" and batch.doubted is not None:
        can_be_found = batch.doubted.doubt == "zero lost" and batch.plate_mg is not None
        return "lift vessel" if can_be_found else "confirm"
    if phase == "vessel off" and batch.emptying is not None:
        return "empty vessel"
    if phase == "vessel off":
        return "put back" if batch.reference_mg is not None else "vessel on"
    weighing = batch.weighing
    if weighing is not None and weighing.kind == "take out" and phase in ("waiting", "over", "adding", "settling"):
        return "take out"
    if phase in ("adding", "settling") and bench.weight is not None and bench.must_check is None:
        return _poured_word(bench, bench.weight, phase)
    return _WORDS.get(phase, "waiting")


def _poured_word(bench: Bench, weight: Weight, phase: MachinePhase) -> CueWord:
    said = bench.pours.said
    word = "wait" if said is None else _ADVISED[said.word]
    if phase == "settling" and word in ("pour", "stop"):
        return "wait"
    swings = said is not None and bench.cue.word == "wait" and weight.rate_g_s < said.rate_g_s
    return "wait" if word == "stop" and swings else word  # a scale that comes to rest is not told to stop again


def _pours(batch: Batch | None, bench: Bench, phase: MachinePhase) -> Pours:
    """With what is to be said of the pour that goes on; at rest with what it has taught."""
    pours, weight = bench.pours, bench.weight
    if weight is None or batch is None or bench.is_scale_lost or bench.must_check is not None:
        return pours.broken_off()
    if bench.rest is not None:
        return pours.rested(weight)
    addition, weighing = batch.addition, batch.weighing
    if phase not in ("adding", "settling") or addition is None or weighing is None or weighing.kind == "take out":
        return pours.broken_off()
    base = (batch.reference_mg or 0) - batch.content(weighing.key).in_mg
    lo, hi = batch.band_mg(addition)
    target = float(batch.target_mg(addition)) + base
    return pours.pouring(batch.name_of(addition), weight, target, (base + lo, base + hi))


def _beats(batch: Batch | None, bench: Bench, word: CueWord) -> float | None:
    """Beats per second: quicker the less is missing, None (silent) where nothing is poured."""
    if word in ("over", "choose"):
        return OVER_BEATS
    addition = batch.addition if batch else None
    if word not in ("pour", "slow", "a little, then wait") or batch is None or addition is None or bench.weight is None:
        return None
    weight, tail = bench.weight, bench.pours.tail(batch.name_of(addition))
    expected_g = forecast(weight.estimate_g, weight.rate_g_s, tail.seconds)
    expected_mg = batch.total_mg(round(expected_g * 1000))
    share_in = min(1.0, max(0.0, expected_mg / float(batch.target_mg(addition))))
    return round(SLOWEST_BEATS + (FASTEST_BEATS - SLOWEST_BEATS) * share_in**3, 1)
