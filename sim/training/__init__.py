"""Lessons, attempts and scores: what is asked of a trainee and what was done, with no view and no file system.

Contents: ``reader`` (strict tables, errors with file and key), ``lesson`` (the lesson as data), ``references``
(whether its names exist), ``machine`` (settings in, readings out), ``solution`` (the right settings), ``checks``
(readings against tolerances), ``deal`` (the start from a seed), ``attempt`` (the event log), ``score`` and
``timeline`` (computed from the log), ``session`` (the lesson while it is done), ``follower`` and ``lint`` (proof that
it can be done).
"""
