"""Fuzzing: input from outside, spoilt on purpose. `python3 bb.py fuzz`; not part of the ordinary tests."""
