"""The counts that a controller must take."""

from dataclasses import dataclass

Span = tuple[int, int]


@dataclass(frozen=True)
class Ranges:
    """Counts that occur over the stated lengths and speeds, ends included.

    ``transit`` is the trailing edge's way from gate 1 to gate 2, ``third`` the leading
    edge's to gate 3, ``further`` its way from gate 2 to gate 3. None where the rig has none.
    """

    dwell: Span
    capture: Span | None = None
    third: Span | None = None
    further: Span | None = None

    @property
    def transit(self) -> Span:
        """The trailing edge covers the spacing at the same range of speeds as the leading one."""
        assert self.capture is not None
        return self.capture
