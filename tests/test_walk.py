"""A walk at random through the bench without a page: whatever is done in whatever order, what must hold holds.

`python3 bb.py walk` does the same in the browser, ten thousand times.
"""

from __future__ import annotations

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from bandbench.bench.application import BenchApplication
from tests.test_records import Store
from tests.walk.walker import OPERATIONS, Walker

# What takes longest natively: proving a lesson, and scoring a class; the walk in the browser has them.
_WALKED = sorted(set(OPERATIONS) - {"report", "authoring", "reference"})


class BenchWalk(RuleBasedStateMachine):
    """A bench, its page's store and a clock."""

    @initialize()
    def open(self) -> None:
        self.now_s = 0.0
        self.application = BenchApplication(lambda: self.now_s)
        self.store = Store()
        self.store.rows["statements"] = {}
        self.store.send_all(self.application.learner.records, "")
        self.walker = Walker(self.application)

    @rule(name=st.sampled_from(_WALKED), seed=st.integers(0, 2**32 - 1), wait_s=st.sampled_from([0.0, 0.04, 0.5]))
    def walk(self, name: str, seed: int, wait_s: float) -> None:
        self.walker.do(name, seed)
        self.now_s += wait_s
        self.application.tick(self.now_s)
        self.store.serve(self.application.learner.records)

    @invariant()
    def everything_holds(self) -> None:
        assert self.walker.problems() == []


TestBenchWalk = BenchWalk.TestCase
TestBenchWalk.settings = settings(
    max_examples=1,
    stateful_step_count=12,
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate, Phase.shrink],
    suppress_health_check=list(HealthCheck),
)
