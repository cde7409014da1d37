"""Another product on the running bench: looked up among the kitchen's ingredients, then taken or asked about."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from daemon_bench import ANSWERED_S, FACTS, Bench, refused
from daemon_waiting import eventually

from scaled.batch.inputs import UseProduct
from scaled.batch.protocols import Accepted
from scaled.catalogue import FolderCatalogue
from scaled.daemon.sink import Sink


def sink_of(bench: Bench, folder: Path) -> Sink:
    return Sink(bench.clock, bench.inbox, lambda: FolderCatalogue(folder), lambda: FACTS, lambda _day: "b9")


def test_a_product_is_looked_up_and_what_it_brings_wants_a_yes(tmp_path: Path) -> None:
    with Bench() as bench:
        bench.begun()
        sink = sink_of(bench, tmp_path)
        first = bench.seen.addition
        assert first is not None
        asked = UseProduct(sink.now(), first.ingredient, "strong flour")
        no = sink.send(asked)
        assert refused(no) == "conflict"
        assert "bread flour contains gluten (wheat), which nothing else" in no.why  # type: ignore[union-attr]
        assert bench.seen.addition == first
        with ThreadPoolExecutor() as pool:
            taken = pool.submit(sink.send, UseProduct(sink.now(), first.ingredient, "strong flour", is_yes=True))
            eventually(lambda: "ProductSwapped" in bench.disk.named, "decided")
            bench.disk.write()
            assert isinstance(taken.result(ANSWERED_S), Accepted)
        seen = bench.until(lambda s: s.addition and s.addition.product, "the other product")
        assert seen.addition is not None
        assert seen.addition.product == "bread flour"
        assert refused(sink.send(UseProduct(sink.now(), "moon dust", "strong flour"))) == "unknown"


def test_a_table_with_mistakes_is_told_and_changes_nothing(tmp_path: Path) -> None:
    (tmp_path / "ingredients.yaml").write_text("ingredients:\n  - {ingredient: x, allergen: milk}\n", encoding="utf-8")
    with Bench() as bench:
        bench.begun()
        sink = sink_of(bench, tmp_path)
        no = sink.send(UseProduct(sink.now(), "flour", "x", is_yes=True))
        assert refused(no) == "invalid"
        assert "ingredients.yaml:2" in no.why  # type: ignore[union-attr]
        assert bench.disk.named == ["BatchStarted"]
