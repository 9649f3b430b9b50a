"""The stage a learner is in with a lesson, in words: shown, guided, on one's own.

Contents: `stage_words` (in a few words, for a list), `stage_sentence` (with what it means for the work at hand).
"""

from __future__ import annotations

from bandbench.bench.words import say
from sim.training.stages import Stage

__all__ = ["stage_sentence", "stage_words"]


def stage_words(stage: Stage) -> str:
    """Return a stage in a few words, such as "guided: the last step is yours"."""
    if stage.name != "guided":
        return say(f"stage.{stage.name}")
    count = len(stage.yours)
    return say("stage.guided_last") if count == 1 else say("stage.guided", count=count)


def stage_sentence(stage: Stage) -> str:
    """Return a stage with what the lesson does in it."""
    if stage.name != "guided":
        return say(f"stage.{stage.name}_about")
    which = ", ".join(map(str, stage.yours))
    key = "stage.guided_last_about" if len(stage.yours) == 1 else "stage.guided_about"
    return say(key, worked=stage.worked, steps=which)
