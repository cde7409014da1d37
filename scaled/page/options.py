"""How the page is served: where it listens, by which names it may be called, how many may look at once."""

from __future__ import annotations

from dataclasses import dataclass

MOST_VIEWERS = 500


@dataclass(frozen=True)
class PageOptions:
    """`address` an IP literal or a name of this machine, `port` 0 for any free one.

    `hosts` are further names that a browser may call the page by (`bench.local`); the name `localhost`, the loopback
    addresses and `address` itself are always among them. `viewers` is the most streams open at once.
    """

    address: str = "127.0.0.1"
    port: int = 8080
    hosts: tuple[str, ...] = ()
    viewers: int = 50

    def __post_init__(self) -> None:
        if not self.address:
            raise ValueError("the page needs an address to listen on, such as 127.0.0.1")
        if not 0 <= self.port <= 65535:
            raise ValueError(f"a port lies in 0 to 65535, not {self.port}")
        if not 1 <= self.viewers <= MOST_VIEWERS:
            raise ValueError(f"viewers lie in 1 to {MOST_VIEWERS}, not {self.viewers}")
