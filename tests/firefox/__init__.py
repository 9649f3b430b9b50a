"""The page in a real Firefox: ``python3 bb.py firefox``."""
