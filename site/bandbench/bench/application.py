"""The bench as the worker runs it: the model, its views, and when each of them looks again."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from bandbench.bench.assignment import AssignmentView
from bandbench.bench.authoring import AuthoringView
from bandbench.bench.bench import Bench
from bandbench.bench.classdesk import ClassDeskView
from bandbench.bench.console import ConsoleView
from bandbench.bench.controls import ControlsView
from bandbench.bench.course import CourseView
from bandbench.bench.demonstrations import read_demonstrations
from bandbench.bench.handling import HandlingView
from bandbench.bench.instructor import Instructor
from bandbench.bench.learner import LearnerView
from bandbench.bench.lesson import LessonView
from bandbench.bench.lessons import only_lesson, read_course, read_lessons
from bandbench.bench.log import LogView
from bandbench.bench.meters import MetersView
from bandbench.bench.monitor import MonitorView
from bandbench.bench.paperview import PaperView
from bandbench.bench.path import PathView
from bandbench.bench.readings import Readings, take_readings
from bandbench.bench.record import RecordView
from bandbench.bench.records import LearnerRecords
from bandbench.bench.reference import ReferenceView
from bandbench.bench.replay import ReplayView
from bandbench.bench.reporting import ReportingView
from bandbench.bench.result import ResultView
from bandbench.bench.scope import ScopeView
from bandbench.bench.scormvisit import ScormVisit
from bandbench.bench.services import ServicesView
from bandbench.bench.sound import SoundView
from bandbench.bench.transport import TransportView
from bandbench.bench.view import Action, View
from bandbench.bench.why import WhyView
from bandbench.bench.words import say
from bandbench.runtime.application import FrameImage, FrameOrder, PictureFile, SoundBlock
from bandbench.runtime.memory import free_caches
from sim.errors import BandbenchError
from sim.frame import PlaybackFrame
from sim.recorder import Recorder
from sim.training.stages import stage_of

if TYPE_CHECKING:
    from panel.viewable import Viewable

__all__ = ["BenchApplication"]

ROUND = ("scope", "read", "scope", "show", "watch", "score")
"""What one tick after the other does: a little at a time, so that a control never waits long for its picture. The
waveform monitor is drawn, the instruments are read, the waveform monitor is drawn, the readings are shown, the
running machine is looked at, and an attempt of the learner's list is scored if it has not been here."""

SHOW_S = 0.02
"""No view begins to show readings in a tick that has taken longer: a control waits for its picture meanwhile. [s]"""


class BenchApplication:
    """The bench for `bandbench.runtime` (its `Application`).

    Parameters
    ----------
    clock : Callable[[], float]
        Goes forward only [s].
    lesson : str, optional
        Id of the only lesson to be offered, as in a package of one; one that is not here leaves them all.
    recorder : Recorder, optional
        The machine whose picture is on screen already (see `bandbench.runtime.first`).
    """

    def __init__(
        self, clock: Callable[[], float] = time.monotonic, lesson: str = "", recorder: Recorder | None = None
    ) -> None:
        self._clock = clock
        lessons = read_lessons()
        course = read_course(lessons)
        single = lesson in lessons
        if single:
            lessons, course = only_lesson(lesson, lessons, course)
        self.bench = Bench(lessons, recorder=recorder)
        bench, act = self.bench, self.act
        self.views: list[View] = []
        self.result = ResultView(bench, act, clock, lambda session, score: self.course.advice(session, score))
        self.lesson = LessonView(bench, act, clock, self.result.show)
        self.learner = LearnerView(
            bench, act, clock, LearnerRecords(bench, say("learner.first_name")),
            self.result.show, self.result.show_and_print,
        )  # fmt: skip
        self.course = CourseView(bench, act, self.learner.records, course)
        of_course = [lessons[name] for name in self.course.course.lessons if name in lessons]
        self.visit = ScormVisit(bench, self.learner.records, of_course, single)
        self.learner.records.watchers.append(self.visit)
        self.course.elsewhere = self.visit.outcomes
        self.reporting = ReportingView(bench, act, self.learner.records)
        self.assignment = AssignmentView(bench, act, self.learner.records, self.course.course)
        self.paper = PaperView(bench, act, self.learner.records)
        bench.fading = lambda lesson: stage_of(lesson, self.course.outcomes()).worked
        self.reference = ReferenceView(bench, act)
        self.authoring = AuthoringView(bench, act)
        self.class_desk = ClassDeskView(
            bench, act, self.course.course, clock,
            version=lambda: self.learner.records.app_version if self.learner.records.loaded else "",
        )  # fmt: skip
        self.replay = ReplayView(bench, act, clock, self.result.show)
        self.monitor = MonitorView(bench, act)
        self.scope = ScopeView(bench, act)
        self.meters = MetersView(bench, act)
        self.path = PathView(bench, act)
        self.controls = ControlsView(bench, act, clock)
        self.sound = SoundView(bench, act)
        self.why = WhyView(bench, act)
        self.transport = TransportView(bench, act)
        self.record = RecordView(bench, act)
        self.handling = HandlingView(bench, act)
        self.services = ServicesView(bench, act)
        self.log = LogView(bench, act, clock)
        self.instructor = Instructor(bench, read_demonstrations())
        self.console = ConsoleView(bench, act, self.instructor)
        self.views = [
            self.controls, self.path, self.lesson, self.assignment, self.course, self.paper, self.reference,
            self.replay, self.authoring,
            self.learner, self.reporting, self.monitor, self.scope, self.meters, self.why, self.sound, self.transport,
            self.record, self.handling, self.services, self.log, self.result, self.class_desk, self.console,
        ]  # fmt: skip
        self._ticks = 0
        self._seen = self.bench.version
        self._read: PlaybackFrame | None = None
        # A frame whose video has just been worked out to be read, and the changes of the controls that it shows.
        self._reading: tuple[PlaybackFrame, int] | None = None
        # What was read and is not shown yet, and the views that have yet to show it.
        self._unseen: Readings | None = None
        self._unaware: list[View] = []
        if single:
            bench.choose_lesson(lesson)

    @property
    def revision(self) -> int:
        """How many changes of the controls there were."""
        return self.bench.revision

    def act(self, action: Action) -> str | None:
        """Do something to the bench; return why it could not be done, or None.

        The views look again at the next tick: the picture goes first.
        """
        try:
            action()
        except BandbenchError as error:
            return str(error)
        return None

    def roots(self) -> dict[str, Viewable]:
        """Return the views' parts by their places in the page."""
        parts: dict[str, Any] = {}
        for view in self.views:
            parts |= view.roots()
        return parts

    def next_frame(self) -> FrameImage | None:
        """Return the next picture, or None while nothing changes."""
        self.bench.advance(self._clock())
        picture = self.monitor.next_picture()
        return None if picture is None else FrameImage({"picture": picture}, self.bench.revision)

    def next_order(self) -> FrameImage | FrameOrder | None:
        """Return the next picture as an order, if it can be one, or None while nothing changes."""
        self.bench.advance(self._clock())
        order = self.monitor.next_order()
        return self.next_frame() if order is None else FrameOrder(order, self.bench.revision)

    def lose_frame(self) -> None:
        """Show the picture once more: what was ordered last never came."""
        self.monitor.lose_picture()

    def tick(self, now_s: float) -> None:
        """Bring one part of what the bench shows up to date (see `ROUND`)."""
        # A page that is hidden asks for no frames; its machine goes on.
        self.bench.advance(self._clock())
        if not self.bench.held:
            # Reels and record state are followed closely: they cost little.
            self.transport.live()
            self.record.live()
        if self.bench.replay is not None:
            self.replay.live()
        self.instructor.follow()
        self.learner.follow()
        self.visit.follow(self._clock())
        self.course.follow()
        self.assignment.follow()
        if self._seen != self.bench.version:
            self._seen = self.bench.version
            for view in self.views:
                view.refresh()
            return
        # What has nothing to do is passed over.
        for _ in ROUND:
            task = ROUND[self._ticks % len(ROUND)]
            self._ticks += 1
            if self._do(task):
                return

    def _do(self, task: str) -> bool:
        """Do one task of the round; tell whether there was anything to do."""
        bench = self.bench
        if task == "scope":
            return self.scope.draw()
        if task == "score":
            return self.authoring.prove_next() or self.learner.score_next() or self.course.score_next()
        if task == "watch":
            if bench.held:
                return False
            for view in self.views:
                view.watch()
            return True
        if task == "read":
            return self._take_readings()
        return self._show_readings()

    def _take_readings(self) -> bool:
        """Read the instruments if there is another frame; tell whether there is."""
        bench = self.bench
        frame, revision = self._reading or (bench.frame, bench.revision)
        if revision != bench.revision:
            frame, revision = bench.frame, bench.revision
        self._reading = None
        if frame is self._read:
            return False
        if frame.order is not None and not frame.is_demodulated:
            # Its picture was made elsewhere: its video is worked out now, and read by the next tick.
            _ = frame.sync_edges_s
            self._reading = frame, revision
            self._ticks -= 1
            return True
        self._read = frame
        self._unseen = take_readings(frame, revision, bench.readings, None if bench.held else bench.station)
        self._unaware = list(self.views)
        return True

    def _show_readings(self) -> bool:
        """Let some views show what was read; tell whether there was anything to show."""
        if self._unseen is None:
            return False
        began_s = self._clock()
        while self._unaware and self._clock() - began_s <= SHOW_S:
            self._unaware.pop(0).update(self._unseen)
        if self._unaware:
            # The rest is shown by the next tick.
            self._ticks -= 1
        else:
            self._unseen = None
        return True

    def work(self) -> bool:
        """Do a little of what takes long; tell whether there was anything to do."""
        return self.class_desk.work()

    def free_memory(self) -> bool:
        """Give back memory (see `bandbench.runtime.application.Application`)."""
        if not self.bench.held:
            return False
        free_caches()
        self._read = self._reading = self._unseen = None
        self.bench.drop_frame()
        self.bench.changed()
        return True

    def next_sound(self) -> SoundBlock | None:
        """Return the sound that the loudspeaker plays next, if anybody listens."""
        return self.sound.next_block()

    def next_records(self) -> str:
        """Return what the page shall keep of the learner, or an empty text."""
        return self.learner.records.next_changes()

    def on_records(self, kind: str, text: str) -> None:
        """Take what the page keeps of the learner (see `LearnerView.take`), or a learning system says."""
        if kind == "scorm":
            self.visit.take(text)
        elif kind == "launch":
            self.reporting.take(text)
        else:
            self.learner.take(kind, text)

    def next_console(self) -> str:
        """Return what the instructor's consoles shall be told, or an empty text."""
        return self.console.next_messages()

    def on_console(self, text: str) -> None:
        """Do what a console of the instructor asks (see `ConsoleView.take`)."""
        self.console.take(text)

    def on_picture_file(self, picture: PictureFile) -> None:
        """Play a picture the user gave."""
        self.monitor.take_picture(picture.name, picture.levels)

    def on_microphone(self, samples: NDArray[np.float32]) -> None:
        """Put a spoken note on tape."""
        self.sound.take_note(samples)
