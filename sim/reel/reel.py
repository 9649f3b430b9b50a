"""A reel of tape: which take lies where, on each of its four tracks.

Contents: `TRACKS`, `Segment`, `Reel`.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass

from sim.errors import BandbenchError, UnknownNameError
from sim.standards import get_standard
from sim.wording import wording

__all__ = ["TRACKS", "Reel", "Segment"]

TRACKS = ("video", "control", "programme", "cue")

# Places are kept in whole nanometres: whole numbers add up exactly, and a track is 254 000 of them wide.
_PER_METRE = 1_000_000_000


@dataclass(frozen=True, eq=False)
class Segment:
    """A stretch of one track with one recording on it, from `start_m` up to but not including `end_m` [m]."""

    start_m: float
    end_m: float
    content: object

    @property
    def length_m(self) -> float:
        """Length of tape [m]."""
        return self.end_m - self.start_m


class _Track:
    """Stretches of one track in order, not overlapping; what lies between them is blank."""

    def __init__(self) -> None:
        self.starts: list[int] = []
        self.ends: list[int] = []
        self.contents: list[object] = []

    def at_edge(self, place: int) -> int:
        """Return the edge that is no more than a nanometre from `place`, or the place itself if there is none.

        Steps of a run are handed over one by one; a last bit of rounding must not leave a sliver between them.
        """
        for edges in (self.starts, self.ends):
            index = bisect_left(edges, place - 1)
            if index < len(edges) and edges[index] <= place + 1:
                return edges[index]
        return place

    def write(self, start: int, end: int, content: object | None) -> None:
        """Put `content` (None: nothing) from start to end in place of what lies there."""
        first, last = bisect_right(self.ends, start), bisect_left(self.starts, end)
        # Segments first to last - 1 reach into the stretch; the outer two may reach out of it.
        pieces: list[tuple[int, int, object]] = []
        if first < last and self.starts[first] < start:
            pieces.append((self.starts[first], start, self.contents[first]))
        if content is not None:
            pieces.append((start, end, content))
        if first < last and self.ends[last - 1] > end:
            pieces.append((end, self.ends[last - 1], self.contents[last - 1]))
        # A neighbour that only touches may be of the same run.
        if first > 0 and self.ends[first - 1] == start:
            first -= 1
            pieces.insert(0, (self.starts[first], self.ends[first], self.contents[first]))
        if last < len(self.starts) and self.starts[last] == end:
            pieces.append((self.starts[last], self.ends[last], self.contents[last]))
            last += 1
        merged = _merged(pieces)
        self.starts[first:last] = [piece[0] for piece in merged]
        self.ends[first:last] = [piece[1] for piece in merged]
        self.contents[first:last] = [piece[2] for piece in merged]

    def index_at(self, place: int) -> int | None:
        index = bisect_right(self.starts, place) - 1
        return index if index >= 0 and place < self.ends[index] else None


def _merged(pieces: Iterable[tuple[int, int, object]]) -> list[tuple[int, int, object]]:
    result: list[tuple[int, int, object]] = []
    for start, end, content in pieces:
        if result and result[-1][1] == start and result[-1][2] is content:
            result[-1] = (result[-1][0], end, content)
        else:
            result.append((start, end, content))
    return result


class Reel:
    """A reel of tape.

    Parameters
    ----------
    name, title, description : str
        Key, what is written on the box, what it is for.
    standard : str
        Scanning standard it is meant for.
    length_m : float
        Length of tape [m].
    ring_fitted : bool
        False if the record ring is off: nothing can be recorded or erased.

    Raises
    ------
    BandbenchError
        If the length is not positive, or there is no such standard.

    Notes
    -----
    A content is any object; of one run it is one object throughout, so that the steps in which a run is handed over
    grow together. Places are rounded to whole nanometres.

    Examples
    --------
    >>> reel = Reel("scrap", "Scrap reel", "525/60", 10.0)
    >>> reel.record("cue", 1.0, 1.5, "hum"); reel.record("cue", 1.5, 2.0, "hum"); reel.erase("cue", 1.2, 1.3)
    >>> [(segment.start_m, segment.end_m) for segment in reel.segments("cue")]
    [(1.0, 1.2), (1.3, 2.0)]
    """

    def __init__(
        self,
        name: str,
        title: str,
        standard: str,
        length_m: float,
        *,
        ring_fitted: bool = True,
        description: str = "",
    ) -> None:
        if not (math.isfinite(length_m) and length_m > 0.0):
            raise BandbenchError(wording("reels.reel_length_m_use", name=name, length_m=repr(length_m)))
        self.name = name
        self.title = title
        self.description = description
        self.standard = get_standard(standard)
        self.length_m = length_m
        self.ring_fitted = ring_fitted
        self._length = round(length_m * _PER_METRE)
        self._tracks = {track: _Track() for track in TRACKS}

    def segments(self, track: str, start_m: float = 0.0, end_m: float | None = None) -> tuple[Segment, ...]:
        """Return what is recorded on a track, in order: all of it, or whole segments that reach into a stretch."""
        kept = self._track(track)
        start = self._place(start_m)
        end = self._length if end_m is None else self._place(end_m)
        first, last = bisect_right(kept.ends, start), bisect_left(kept.starts, end)
        return tuple(self._segment(kept, index) for index in range(first, last))

    def segment_at(self, track: str, position_m: float) -> Segment | None:
        """Return the segment at a place, or None where the track is blank."""
        kept = self._track(track)
        index = kept.index_at(self._place(position_m))
        return None if index is None else self._segment(kept, index)

    def at(self, track: str, position_m: float) -> object | None:
        """Return the content at a place, or None where the track is blank."""
        kept = self._track(track)
        index = kept.index_at(self._place(position_m))
        return None if index is None else kept.contents[index]

    def unbroken_from_m(self, track: str, position_m: float) -> float:
        """Return where the recording begins that runs up to a place without a gap [m]; the place, if blank."""
        kept = self._track(track)
        index = kept.index_at(self._place(position_m))
        if index is None:
            return position_m
        while index > 0 and kept.ends[index - 1] == kept.starts[index]:
            index -= 1
        return kept.starts[index] / _PER_METRE

    def record(self, track: str, start_m: float, end_m: float, content: object) -> None:
        """Record `content` over whatever lies from start to end; what lies beyond the tape's ends is lost.

        Raises
        ------
        BandbenchError
            If the ring is off, the stretch runs backwards or is not finite, or the content is None.
        """
        if content is None:
            raise BandbenchError(wording("reels.reel_nothing_given_record", name=self.name))
        self._write(track, start_m, end_m, content)

    def erase(self, track: str, start_m: float, end_m: float) -> None:
        """Leave a track blank from start to end; errors as for `record`."""
        self._write(track, start_m, end_m, None)

    def recorded_m(self, track: str) -> float:
        """Return the length of tape on which a track is recorded [m]."""
        kept = self._track(track)
        return (sum(kept.ends) - sum(kept.starts)) / _PER_METRE

    def _write(self, track: str, start_m: float, end_m: float, content: object | None) -> None:
        kept = self._track(track)
        if not self.ring_fitted:
            raise BandbenchError(wording("reels.reel_record_ring_off", name=self.name))
        start, end = kept.at_edge(self._place(start_m)), kept.at_edge(self._place(end_m))
        if start_m > end_m:
            raise BandbenchError(
                wording("reels.reel_from_m_m", name=self.name, start_m=f"{start_m:g}", end_m=f"{end_m:g}")
            )
        if start < end:
            kept.write(start, end, content)

    def _track(self, track: str) -> _Track:
        try:
            return self._tracks[track]
        except KeyError:
            raise UnknownNameError("track", track, TRACKS) from None

    def _place(self, position_m: float) -> int:
        if not math.isfinite(position_m):
            raise BandbenchError(wording("reels.reel_not_place_tape", name=self.name, position_m=repr(position_m)))
        return min(max(round(position_m * _PER_METRE), 0), self._length)

    @staticmethod
    def _segment(kept: _Track, index: int) -> Segment:
        start, end = kept.starts[index], kept.ends[index]
        return Segment(start / _PER_METRE, end / _PER_METRE, kept.contents[index])
