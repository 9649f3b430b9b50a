"""What the explaining drawings of the bench show, as numbers: one frozen dataclass for each drawing.

Contents: `tape_drawing` (tracks and the path of the heads), `guide_drawing` (guide and wheel in section),
`wheel_drawing` (four heads and their errors), `switch_drawing` (the changeover in line blanking), `spectrum_drawing`
(the FM signal with folded sidebands), `record_current_drawing` (level against record current), `wheel_loop_drawing` and
`capstan_loop_drawing` (the servos).

The drawings show what IS, hidden errors of the machine included: whoever shows them decides when that may be seen.
Every drawing says by how much it exaggerates what, and says what it shows in a sentence.
"""

from sim.drawings.guide import GuideDrawing, guide_drawing
from sim.drawings.loops import LoopBlock, LoopDrawing, capstan_loop_drawing, wheel_loop_drawing
from sim.drawings.recordcurrent import CurrentPoint, RecordCurrentDrawing, record_current_drawing
from sim.drawings.spectrum import SpectrumDrawing, SpectrumLine, spectrum_drawing
from sim.drawings.tape import TapeDrawing, TrackShape, tape_drawing
from sim.drawings.wheel import SwitchDrawing, WheelDrawing, WheelHead, switch_drawing, wheel_drawing

__all__ = [
    "CurrentPoint",
    "GuideDrawing",
    "LoopBlock",
    "LoopDrawing",
    "RecordCurrentDrawing",
    "SpectrumDrawing",
    "SpectrumLine",
    "SwitchDrawing",
    "TapeDrawing",
    "TrackShape",
    "WheelDrawing",
    "WheelHead",
    "capstan_loop_drawing",
    "guide_drawing",
    "record_current_drawing",
    "spectrum_drawing",
    "switch_drawing",
    "tape_drawing",
    "wheel_drawing",
    "wheel_loop_drawing",
]
