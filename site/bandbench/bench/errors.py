"""What the bench says when it refuses."""

from sim.errors import BandbenchError

__all__ = ["BenchError"]


class BenchError(BandbenchError):
    """Something was asked that the bench does not allow now; says why and what to do."""
