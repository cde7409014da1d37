"""A batch over HTTP on the real daemon: loads on a simulated scale, everything else as a page would do it."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from daemon_process import Place, Refusal, Running

from scaled.simulator.pseudo_terminal import PtyScale

BOWL_G = 812.0


class Weighed:
    """A running daemon and the hands at its scale."""

    def __init__(self, running: Running, scale: PtyScale) -> None:
        self.running, self.scale = running, scale
        self.batch = ""

    def begin(self, formula: str = "oat-dough", factor: float | None = None) -> Weighed:
        body = {"formula": formula} if factor is None else {"formula": formula, "factor": factor}
        self.batch = self.running.ask("/api/v1/batch", body)["batch"]
        return self

    def put(self, mass_g: float) -> Weighed:
        """At once, as an egg falls in."""
        self.scale.act(lambda on, at: on.add(mass_g, at))
        return self

    def until(self, phase: str, ingredient: str) -> dict[str, Any]:
        """The Snapshot once this phase of that addition is shown."""
        return self.running.until(
            lambda s: s["addition"] and (s["addition"]["phase"], s["addition"]["ingredient"]) == (phase, ingredient),
            f"{ingredient}: {phase}",
        )

    def to_the_egg(self) -> Weighed:
        """Everything in but the egg."""
        self.begin().put(BOWL_G).until("waiting", "oat flour")
        self.put(240).until("waiting", "sea salt")
        self.put(3).until("waiting", "butter")
        self.put(220).until("waiting", "whole egg")
        return self

    def refused(self, path: str, body: object) -> int:
        """The status of a request that changes nothing."""
        with pytest.raises(Refusal) as error:
            self.running.ask(path, body)
        assert error.value.problem["status"] == error.value.status
        return error.value.status

    @property
    def record(self) -> dict[str, Any]:
        """As `scaled batch show` prints it."""
        show = [sys.executable, "-m", "scaled", "batch", "show", self.batch, "--json"]
        config = ["--config", str(self.running.place.settings)]
        done = subprocess.run([*show, *config], capture_output=True, text=True, timeout=20, check=True)
        record: dict[str, Any] = json.loads(done.stdout)
        return record


@pytest.fixture
def weighed(place: Place, scale: PtyScale) -> Iterator[Weighed]:
    with place.run() as running:
        running.until_ready()
        running.until(lambda s: s["weight"] and s["weight"]["settled"], "an empty plate")
        yield Weighed(running, scale)
        running.terminated()
        log = running.log.read_text()
        assert "mistake in the program" not in log
        assert "Traceback" not in log


def test_an_egg_of_57_g_is_offered_ways_out_and_the_one_chosen_is_walked(weighed: Weighed) -> None:
    weighed.to_the_egg().put(57)
    asked = weighed.until("asking", "whole egg")
    assert [offer["offer"] for offer in asked["offers"]] == [
        "scale up, least",
        "whole pieces",
        "scale up, exact",
        "keep",
    ]
    assert [offer["index"] for offer in asked["offers"]] == [0, 1, 2, 3]
    assert asked["offers"][0]["factor_exact"] == "19/17"
    assert weighed.refused("/api/v1/offer", {"offer": 0, "seq": asked["seq"] - 1000}) == 409
    assert weighed.refused("/api/v1/offer", {"offer": 0, "seq": asked["seq"] + 10**6}) == 409
    assert weighed.refused("/api/v1/offer", {"offer": 4, "seq": asked["seq"]}) == 400
    assert weighed.until("asking", "whole egg")["offers"] == asked["offers"], "a refusal changed something"
    seq = weighed.running.ask("/api/v1/offer", {"offer": 0, "seq": asked["seq"]})["seq"]
    status = weighed.until("waiting", "oat flour")
    assert status["seq"] >= seq
    assert status["addition"]["kind"] == "top-up"
    assert status["batch"]["factor"] == pytest.approx(19 / 17)
    assert status["addition"]["remaining_g"] == pytest.approx(28.2, abs=0.3)
    weighed.put(28.2).until("waiting", "sea salt")
    weighed.put(0.4).until("waiting", "butter")
    weighed.put(25.9)
    done = weighed.running.until(lambda s: s["batch"]["state"] == "complete", "complete")
    assert done["addition"] is None
    assert all(line["in_tolerance"] for line in done["done"])
    record = weighed.record
    assert record["state"] == "complete"
    assert [a["actual_g"] for a in record["additions"]] == pytest.approx([268.2, 3.4, 245.9, 57.0], abs=0.15)
    assert record["corrections"] == [{"after": "whole egg", "offer": "scale up, least", "factor": 19 / 17}]


def test_the_seq_of_an_answer_is_the_first_snapshot_that_shows_it(weighed: Weighed) -> None:
    """A viewer who is late misses some, and then gets the newest."""
    weighed.begin()
    with weighed.running.viewer() as stream:
        states = {}

        def seen_to(seq: int) -> int:
            while max(states, default=0) < seq:
                snapshot = next(stream)
                states[snapshot["seq"]] = snapshot["batch"]["state"]
            return seq

        held = seen_to(weighed.running.wish("hold"))
        resumed = seen_to(weighed.running.wish("resume"))
    assert {state for seq, state in states.items() if seq < held} <= {"running"}
    assert {state for seq, state in states.items() if held <= seq < resumed} == {"held"}
    assert {state for seq, state in states.items() if seq >= resumed} == {"running"}


def test_hold_resume_and_what_does_not_fit(weighed: Weighed) -> None:
    assert weighed.refused("/api/v1/intent", {"intent": "next"}) == 409
    assert weighed.refused("/api/v1/batch", {"formula": "no-such"}) == 404
    assert weighed.refused("/api/v1/batch", {"formula": "oat-dough", "factor": -1}) == 400
    weighed.begin()
    assert weighed.refused("/api/v1/batch", {"formula": "oat-dough"}) == 409
    assert weighed.refused("/api/v1/offer", {"offer": 0}) == 409
    assert weighed.refused("/api/v1/intent", {"intent": "dance"}) == 400
    weighed.running.wish("hold")
    weighed.put(BOWL_G)
    weighed.running.until(lambda s: s["weight"]["gross_g"] > 800 and s["weight"]["settled"], "the bowl")
    assert weighed.running.status["batch"]["state"] == "held"
    assert weighed.refused("/api/v1/intent", {"intent": "next"}) == 409
    weighed.running.wish("resume")
    weighed.until("waiting", "oat flour")
    weighed.running.wish("abort")
    assert weighed.running.status["batch"]["state"] == "aborted"
    assert weighed.record["state"] == "aborted"
    first = weighed.batch
    weighed.begin()
    assert weighed.batch != first


def test_later_and_that_is_all_there_is_and_back(weighed: Weighed) -> None:
    weighed.begin().put(BOWL_G).until("waiting", "oat flour")
    weighed.running.wish("later")
    weighed.until("waiting", "sea salt")
    weighed.put(3).until("waiting", "butter")
    weighed.put(180).until("under", "butter")
    seq = weighed.running.wish("next")
    asked = weighed.until("asking", "butter")
    assert asked["seq"] >= seq
    assert asked["offers"][-1]["offer"] == "keep"
    keep = asked["offers"][-1]["index"]
    weighed.running.ask("/api/v1/offer", {"offer": keep, "seq": asked["seq"]})
    weighed.until("waiting", "oat flour")
    weighed.running.wish("back")
    assert weighed.until("asking", "butter")["offers"] == asked["offers"]


def test_lots_are_in_the_record(weighed: Weighed) -> None:
    weighed.begin()
    assert weighed.refused("/api/v1/lot", {"ingredient": "saffron", "lot": "S-1"}) == 404
    weighed.running.ask("/api/v1/lot", {"ingredient": "BUTTER", "lot": "B-71"})
    weighed.running.ask("/api/v1/lot", {"ingredient": "egg", "lot": "E-4"})
    lots = {a["ingredient"]: a["lot"] for a in weighed.record["additions"]}
    assert lots == {"oat flour": None, "sea salt": None, "butter": "B-71", "whole egg": "E-4"}


def test_a_daemon_started_anew_goes_on_in_the_same_question(place: Place, scale: PtyScale) -> None:
    with place.run() as first:
        weighed = Weighed(first.until_ready(), scale).to_the_egg().put(57)
        asked = weighed.until("asking", "whole egg")
        first.kill()
    with place.run() as second:
        second.until_ready()
        status = second.status
        assert status["batch"]["id"] == weighed.batch, "the first Snapshot shows the batch already"
        assert status["seq"] > asked["seq"]
        weighed = Weighed(second, scale)
        assert weighed.until("asking", "whole egg")["offers"] == asked["offers"]
        assert weighed.refused("/api/v1/offer", {"offer": 0, "seq": asked["seq"]}) == 409
        second.ask("/api/v1/offer", {"offer": 3, "seq": second.status["seq"]})
        second.until(lambda s: s["batch"]["state"] == "complete", "complete")
        second.terminated()


def test_a_scale_unknown_to_the_settings_has_to_be_heard_before_a_batch(tmp_path: Path, scale: PtyScale) -> None:
    place = Place(tmp_path, scale.path)
    place.settings.write_text(place.settings.read_text().replace(", division: 0.1 g", ""))
    scale.unplug()
    with place.run() as running:
        weighed = Weighed(running.until_ready(), scale)
        assert weighed.refused("/api/v1/batch", {"formula": "oat-dough"}) == 409
        scale.replug()
        running.until(lambda s: s["weight"], "a weight")
        weighed.begin()
        running.terminated()


STIFF_DOUGH = """\
formula: Salty dough
stages:
  - stage: dry
    additions:
      - {ingredient: oat flour, weight: 240 g, tolerance: ±1 %, comes out: no, price: 1.20}
      - {ingredient: sea salt, weight: 3 g, tolerance: ±0.3 g, comes out: no, price: 1}
"""


def test_a_stage_is_started_again_and_goes_on_in_an_empty_bowl(weighed: Weighed) -> None:
    again = ("/api/v1/intent", {"intent": "start again"})
    (weighed.running.place.folder / "recipes" / "salty-dough.yaml").write_text(STIFF_DOUGH)
    assert weighed.refused(*again) == 409
    weighed.begin("salty-dough").put(BOWL_G).until("waiting", "oat flour")
    assert weighed.refused(*again) == 409
    weighed.put(240).until("waiting", "sea salt")
    asked = weighed.put(5).until("asking", "sea salt")
    assert [offer["offer"] for offer in asked["offers"]] == ["keep"]
    assert "start again" in asked["takes"]
    seq = weighed.running.ask(*again)["seq"]
    assert seq > asked["seq"]
    shown = weighed.until("vessel off", "oat flour")
    assert (shown["cue"], shown["offers"], "start again" in shown["takes"]) == ("empty vessel", [], False)
    weighed.put(-BOWL_G - 245)
    weighed.running.until(lambda s: s["said"] == "Put the vessel back, empty.", "the bowl is off")
    weighed.put(BOWL_G + 100)
    weighed.running.until(lambda s: s["said"] == "Still 100 grams in it. Empty it.", "half emptied")
    assert weighed.refused("/api/v1/intent", {"intent": "back"}) == 409
    weighed.put(-100).until("waiting", "oat flour")
    weighed.put(240).until("waiting", "sea salt")
    weighed.put(3)
    weighed.running.until(lambda s: s["batch"]["state"] == "complete", "the end")
    record = weighed.record
    assert [addition["actual_g"] for addition in record["additions"]] == [240, 3]
    assert [thrown["grams"] for thrown in record["thrown_away"]] == [{"oat flour": 240.0, "sea salt": 5.0}]
