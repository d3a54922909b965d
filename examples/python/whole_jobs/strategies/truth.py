"""What a job costs when there is nothing to find: the least that any way to work can come to."""

from __future__ import annotations

from whole_jobs.shop import Shop


class TruthKnown:
    """Repairs what is wrong as if told: the mark that ways to work are held against."""

    def visit(self, shop: Shop) -> None:
        """See Strategy."""
        shop.intake()
        for component in shop.needed():
            shop.repair(component)
        shop.verify()
        shop.hand_back()
