"""Plain loads on a clean scale: a bowl, a pour, a lift."""

from scaled.weighing import Reading, Weigher, WeigherSettings


def grams_at(at):
    """A bowl of 812 g at 3 s, 300 g poured from 6 to 16 s, lifted within half a second at 20 s."""
    if at < 3:
        return 0.0
    if at < 16:
        return 812.0 + max(0.0, at - 6) * 30
    return max(0.0, 1112.0 - max(0.0, at - 20) * 2224)


def weights(weigher, until=24.0, step=0.1):
    return [weigher.see(Reading(n * step, round(grams_at(n * step) * 10) * 100)) for n in range(round(until / step))]


def test_a_bowl_a_pour_and_a_lift_are_told_apart_with_exact_changes():
    told = [h for w in weights(Weigher(WeigherSettings(division_mg=100))) for h in w.happened]
    assert [(h.what, h.change_mg) for h in told] == [
        ("vessel on", 812_000),
        ("addition", 300_000),
        ("vessel off", -1_112_000),
    ]


def test_each_rest_has_exactly_the_value_shown_and_none_stands_during_the_pour():
    seen = weights(Weigher(WeigherSettings(division_mg=100)))
    assert {w.rest.mass_mg for w in seen if w.rest} == {0, 812_000, 1_112_000}
    assert not [w for w in seen if 6.2 < w.at < 16 and w.rest]
