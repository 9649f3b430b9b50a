"""The recorder as physics: NumPy and the standard library only, no browser, no file system.

Rooms in the order the signal visits them: ``standards`` (numbers), ``signals`` (test signals), ``fm``
(modulator, demodulator), ``tape``, ``headwheel``, ``tracking``, ``playback`` (channels, switcher), ``output``
(processing), ``recorder`` (the machine), ``instruments`` (what can be seen and measured), ``training``.
"""
