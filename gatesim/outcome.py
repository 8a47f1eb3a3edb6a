"""What can become of a part on its way from release to reading."""

from enum import IntEnum


class Outcome(IntEnum):
    """Result of one trial; the stages after the first that fails leave it alone.

    ``word`` is the short name printed and exported; ``reads`` says whether the
    controller still obtains a reading (possibly a wrong one).
    """

    word: str
    reads: bool

    def __new__(cls, code: int, word: str, reads: bool) -> "Outcome":
        """Make an integer that knows its word."""
        member = int.__new__(cls, code)
        member._value_ = code
        member.word = word
        member.reads = reads
        return member

    MEASURED = 0, "measured", True
    # motion
    STOPPED = 1, "stopped", False
    RAN_BACK = 2, "ran back", False
    SLIPPING = 3, "slipping on the belt", True
    RUNAWAY = 4, "runaway past the brake", True
    # sensor
    NOT_DARKENED = 10, "beam not darkened", False
    # input filter
    SWALLOWED = 20, "part swallowed", False
    MERGED = 21, "gap swallowed", True
    SPLIT = 22, "part split", True
    CHATTERED = 23, "chatter let through", True
    # counter
    NO_EDGE = 29, "no edge at gate 1", False
    NO_CAPTURE = 30, "no capture", False
    LATE_CAPTURE = 31, "late capture", False
    EARLY_REARM = 32, "re-armed too early", False
    NEXT_TOO_SOON = 33, "next part too soon", True
    OVERFLOW = 34, "counter overflow", False
    PULSES_LOST = 35, "pulses lost", True
    BETWEEN_SCANS = 36, "missed between scans", False
