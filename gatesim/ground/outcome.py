"""What can become of a part on its way from release to reading."""

from enum import IntEnum


class Outcome(IntEnum):
    """Result of one trial: the first thing that went wrong, if anything did."""

    MEASURED = 0
    # motion
    STOPPED = 1
    RAN_BACK = 2
    SLIPPING = 3
    RUNAWAY = 4
    # sensor
    NOT_DARKENED = 10
    # input filter
    SWALLOWED = 20
    MERGED = 21
    SPLIT = 22
    CHATTERED = 23
    STRETCHED = 24
    # counter
    NO_EDGE = 29
    NO_CAPTURE = 30
    LATE_CAPTURE = 31
    EARLY_REARM = 32
    NEXT_TOO_SOON = 33
    OVERFLOW = 34
    PULSES_LOST = 35
    MISSED = 36
    # formula
    NO_READING = 40

    @property
    def word(self) -> str:
        """The short name that is printed and exported."""
        return _WORDS[self]

    @property
    def reads(self) -> bool:
        """Whether the controller still obtains a reading, possibly a wrong one."""
        return self not in _NO_READING


_WORDS = {
    Outcome.MEASURED: "measured",
    Outcome.STOPPED: "stopped",
    Outcome.RAN_BACK: "ran back",
    Outcome.SLIPPING: "slipping on the belt",
    Outcome.RUNAWAY: "runaway past the brake",
    Outcome.NOT_DARKENED: "beam not darkened",
    Outcome.SWALLOWED: "part swallowed",
    Outcome.MERGED: "gap swallowed",
    Outcome.SPLIT: "part split",
    Outcome.CHATTERED: "chatter let through",
    Outcome.STRETCHED: "part stretched by the filter",
    Outcome.NO_EDGE: "no edge at gate 1",
    Outcome.NO_CAPTURE: "no capture",
    Outcome.LATE_CAPTURE: "late capture",
    Outcome.EARLY_REARM: "re-armed too early",
    Outcome.NEXT_TOO_SOON: "next part too soon",
    Outcome.OVERFLOW: "counter overflow",
    Outcome.PULSES_LOST: "pulses lost",
    Outcome.MISSED: "missed by the counter",
    Outcome.NO_READING: "no reading",
}

_NO_READING = frozenset(
    {
        Outcome.STOPPED,
        Outcome.RAN_BACK,
        Outcome.NOT_DARKENED,
        Outcome.SWALLOWED,
        Outcome.NO_EDGE,
        Outcome.NO_CAPTURE,
        Outcome.LATE_CAPTURE,
        Outcome.EARLY_REARM,
        Outcome.OVERFLOW,
        Outcome.MISSED,
        Outcome.NO_READING,
    }
)
