"""Anything may happen to a batch, in any order: what the events say is in was put in, and there is a way on.

SCALED_EXAMPLES sets how many stories, each of up to SCALED_STEPS things that happen, SCALED_STORY_SEED which (without
it they are the same every time).
"""

from __future__ import annotations

import os

from batch_hands import Hands
from batch_plate import DOUGH, FACTS, Plate, stiff
from hypothesis import HealthCheck, seed, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from scaled.weighing.keys import LEAST_D

EXAMPLES = int(os.environ.get("SCALED_EXAMPLES", "40"))
STEPS = int(os.environ.get("SCALED_STEPS", "20"))
SEED = os.environ.get("SCALED_STORY_SEED")
CLOSE_G = 0.15  # what is rounded to the division at either end of a weighing


class BatchStory(RuleBasedStateMachine):
    """One batch of the oat dough in one bowl."""

    formula = DOUGH

    def __init__(self) -> None:
        super().__init__()
        self.plate = Plate(self.formula)
        self.hands = Hands(self.formula, self.plate)
        self.doubts = 0

    # Hands.

    @precondition(lambda self: self.hands.standing is None and self.hands.shown is not None)
    @rule()
    def put_the_vessel_on(self) -> None:
        self.hands.put_vessel(self.hands.vessel_wanted())

    @precondition(lambda self: self.hands.standing is not None)
    @rule(away_s=st.sampled_from([0.3, 2.0, 6.0]))
    def lift_the_vessel_and_put_it_back(self, away_s: float) -> None:
        name = self.hands.standing
        self.hands.lift_vessel(away_s)
        self.hands.put_vessel(name)

    @precondition(lambda self: self.hands.standing is not None)
    @rule()
    def lift_the_vessel(self) -> None:
        self.hands.lift_vessel()

    @precondition(lambda self: self.hands.is_pouring_time)
    @rule(share=st.sampled_from([0.4, 0.9, 1.0, 1.0, 1.15, 1.4]))
    def pour(self, share: float) -> None:
        self.plate.rest(5.0)
        if self.hands.is_pouring_time and self.hands.missing_g > 0:
            self.hands.put_in(self.hands.shown.key, max(0.5, share * self.hands.missing_g))

    @precondition(lambda self: self.plate.batch.question is not None and self.hands.standing is not None)
    @rule(mass_g=st.sampled_from([-30.0, -5.0, 3.0, 20.0]))
    def spoon_at_a_question(self, mass_g: float) -> None:
        """Not until the scale shows just 0 with so much less that it may as well be its key: nothing can tell then."""
        key = self.hands.shown.key
        mass_g = max(mass_g, -self.hands.true_g.get(key, 0.0))
        left_mg = abs(self.plate.load_g + mass_g - self.plate.zero_g) * 1000
        if left_mg > 2 * FACTS.division_mg or abs(mass_g) * 1000 < LEAST_D * FACTS.division_mg:
            self.hands.put_in(key, mass_g)

    @precondition(lambda self: self.hands.word == "take out" and self.hands.standing is not None)
    @rule(share=st.sampled_from([0.5, 1.0]))
    def take_out(self, share: float) -> None:
        if self.hands.missing_g < 0:
            self.hands.put_in(self.hands.shown.key, share * self.hands.missing_g)

    @rule()
    def press(self) -> None:
        self.plate.press().rest(3)

    @rule(wish=st.sampled_from(["next", "back", "later", "hold", "resume", "close stage", "repeat", "start again"]))
    def wish(self, wish: str) -> None:
        if wish != "next" or self.hands.may_honestly_say_yes:
            self.plate.wish(wish).rest(2)

    @precondition(lambda self: self.plate.snapshot.start_again is not None)
    @rule()
    def start_again(self) -> None:
        self.plate.wish("start again").rest(2)
        assert self.plate.refused is None

    @precondition(lambda self: self.hands.word == "empty vessel" and self.hands.standing is not None)
    @rule(left=st.sampled_from([0.0, 0.0, 0.4, 1.0]), away_s=st.sampled_from([2.0, 6.0]))
    def lift_empty_and_put_back(self, left: float, away_s: float) -> None:
        name = self.hands.standing
        self.hands.lift_vessel(away_s)
        self.hands.empty_vessel(name, left)
        self.hands.put_vessel(name)

    @precondition(lambda self: self.hands.word == "empty vessel" and any(self.hands.true_g.values()))
    @rule()
    def empty_what_is_off(self) -> None:
        if self.hands.standing is None:
            self.hands.empty_vessel("bowl")

    @precondition(lambda self: self.plate.snapshot.offers)
    @rule(index=st.integers(0, 3))
    def choose(self, index: int) -> None:
        self.plate.choose(index).rest(2)

    # What befalls a bench.

    @rule(seconds=st.sampled_from([0.5, 5.0, 60.0]))
    def unplug(self, seconds: float) -> None:
        self.plate.silence(seconds).rest(4)

    @precondition(lambda self: self.hands.is_pouring_time and self.hands.missing_g > 0)
    @rule(share=st.sampled_from([0.3, 0.7]))
    def pour_while_it_is_unplugged(self, share: float) -> None:
        hands = self.hands
        mass_g = round(share * hands.missing_g, 1)
        hands.true_g[hands.shown.key] = round(hands.true_g.get(hands.shown.key, 0.0) + mass_g, 1)
        hands.vessels[hands.standing] += mass_g
        self.plate.load_g += mass_g
        self.plate.silence(3.0).rest(4)

    @rule()
    def kill_the_daemon(self) -> None:
        self.plate.restart().rest(4)

    @rule()
    def cut_the_power(self) -> None:
        """The scale calls what is on it nothing, and the machine's seconds begin again."""
        self.plate.zero_g = self.plate.load_g
        self.plate.reboot().rest(4)

    @precondition(lambda self: self.hands.standing is not None and not self.plate.bench.must_check)
    @rule()
    def press_the_tare_key(self) -> None:
        """Not with so little shown that it may as well have been spooned out: nothing can tell the key then."""
        self.plate.rest(2)
        shown_mg = abs(self.plate.load_g - self.plate.zero_g) * 1000
        if 0 < shown_mg < LEAST_D * FACTS.division_mg:
            return
        self.plate.zero_g = self.plate.load_g
        self.plate.rest(4)

    # What always holds.

    @invariant()
    def a_doubt_is_raised_once(self) -> None:
        """Whatever one thing that happens makes doubtful is asked about, not asked about again and again."""
        before, self.doubts = self.doubts, self.plate.named.count("DoubtRaised")
        assert self.doubts - before <= 3

    @invariant()
    def what_is_in_is_what_was_put_in(self) -> None:
        plate, batch = self.plate, self.plate.batch
        is_seen = plate.bench.rest is not None and not plate.bench.must_check and not plate.bench.is_vessel_off
        if batch.state == "held" or batch.doubted is not None or self.hands.standing is None or not is_seen:
            return
        if batch.reference_mg is None or not batch.is_open:
            return
        said_g = (batch.contents_mg + batch.net_mg(plate.bench.rest.mass_mg)) / 1000
        really_g = sum(self.hands.true_g.values())
        assert abs(said_g - really_g) < CLOSE_G * (1 + len(plate.events)), (said_g, self.hands.true_g)

    def teardown(self) -> None:
        """A cook who does what is shown brings it to its end, and the record is what was put in, each in its place."""
        self.hands.finish()
        self.plate.rest(6)
        batch = self.plate.batch
        assert batch.state == ("aborted" if self.hands.has_given_up else "complete")
        assert not self.hands.has_given_up or batch.plate_mg is None, "only where a lift cannot tell"
        for content in batch.contents:
            really_g = self.hands.true_g.get(content.key, 0.0)
            assert abs(content.in_mg / 1000 - really_g) < CLOSE_G * (1 + content.weighings), (
                content,
                self.hands.true_g,
            )


class StiffStory(BatchStory):
    """The same of a dough of which nothing comes out, with too much flour in: it is advised to be thrown away."""

    formula = stiff(DOUGH)

    @initialize(again=st.booleans())
    def too_much_flour(self, *, again: bool) -> None:
        self.hands.put_vessel("bowl")
        self.hands.put_in("oat flour", 276)
        assert self.plate.snapshot.start_again == "dry"
        if again:
            self.plate.wish("start again").rest(2)


HOW_MUCH = settings(
    max_examples=EXAMPLES,
    stateful_step_count=STEPS,
    deadline=None,
    derandomize=SEED is None,
    report_multiple_bugs=False,
    suppress_health_check=[HealthCheck.too_slow],
)
BatchStory.TestCase.settings = StiffStory.TestCase.settings = HOW_MUCH
TestBatchStory = seed(int(SEED))(BatchStory.TestCase) if SEED else BatchStory.TestCase
TestStiffStory = seed(int(SEED))(StiffStory.TestCase) if SEED else StiffStory.TestCase
