"""Edge times of a logic analyser or an oscilloscope."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from gatesim.api.given import Given, positive
from gatesim.api.result import Result
from gatesim.ground.data import data_of
from gatesim.ground.errors import InputError
from gatesim.ground.files import target
from gatesim.shopfloor.edges.chatter import ChatterSeen
from gatesim.shopfloor.edges.cut import chatter_in, cut
from gatesim.shopfloor.edgetimes import Record, counts_of, passages_of, read_signals

REGISTERS = ("dwell", "capture", "rear capture", "third capture")


@dataclass(frozen=True, repr=False)
class Edges(Result, Record):
    """Passages in a record of edges; ``clock``: frequency (Hz) of the counts to save."""

    clock: float | None

    @property
    def chatter(self) -> ChatterSeen | None:
        """How the sensors chatter, of parts without openings; None where no passage makes sense."""
        found, _ = cut(self.passages, {})
        return chatter_in(self, found) if found else None

    def __str__(self) -> str:
        from gatesim.view.edgestext import edges_text

        return edges_text(self, self.chatter)

    def data(self) -> Any:
        """Plain numbers, SI."""
        return {
            "file": self.file,
            "channels": {str(gate): name for gate, name in self.channels.items()},
            "quiet_s": self.quiet,
            "chatter": data_of(self.chatter),
            "passages": [
                [{"gate": gate, **data_of(seen)} for gate, seen in passage.items()]
                for passage in self.passages
            ],
        }

    def save(self, path: Path | str) -> None:
        """Write a log of counts that `fit` takes, of the passages that gate 1 saw. Raises InputError."""
        if self.clock is None:
            raise InputError('--clock: given nothing, expected the counter\'s frequency such as "100 kHz"')
        rows = [counts_of(passage, self.clock) for passage in self.passages if 1 in passage]
        names = [name for name in REGISTERS if any(name in row for row in rows)]
        lines = [",".join(f"{name} [1]" for name in names)]
        lines += [",".join(str(row.get(name, "")) for name in names) for row in rows]
        target(Path(path), "log", [Path(self.file)]).write("\n".join(lines) + "\n")


def edges(
    file: Path | str,
    *,
    gate: Mapping[int, str] | Sequence[str] = (),
    dark: Literal["high", "low"] = "high",
    quiet: Given = 0.1,
    clock: Given | None = None,
) -> Edges:
    """Read edge times and cut them into passages, where all gates have been light for ``quiet`` (s).

    ``gate``: channel of each gate, as {1: "D0"} or texts "1=D0"; left out: the channels in order.
    ``dark``: level of a dark gate. ``clock``: frequency (Hz) of the counts to save. Raises InputError.
    """
    rate = None if clock is None else positive(clock, "Hz", "clock")
    found = recorded(file, gate, dark, quiet)
    return Edges(found.file, found.channels, found.quiet, found.passages, rate)


def recorded(
    file: Path | str,
    gate: Mapping[int, str] | Sequence[str],
    dark: Literal["high", "low"],
    quiet: Given,
    option: str = "gate",
) -> Record:
    """A file's passages. Raises InputError, which names the option that gave the channels."""
    signals = read_signals(Path(file))
    channels = _channels(gate, list(signals), str(file), option)
    least = positive(quiet, "s", "quiet")
    found = passages_of({g: signals[name] for g, name in channels.items()}, dark == "high", least)
    if not found:
        raise InputError(f"{file}: no gate goes dark and light again, expected at least one passage")
    return Record(str(file), channels, least, tuple(found))


def _channels(
    given: Mapping[int, str] | Sequence[str], names: list[str], file: str, option: str
) -> dict[int, str]:
    said = ", ".join(names)
    if isinstance(given, Mapping):
        pairs = [f"{gate}={name}" for gate, name in given.items()]
    else:
        pairs = list(given) or [f"{number}={name}" for number, name in enumerate(names, start=1)]
        if not given and len(names) > 3:
            raise InputError(f"{file}: it has the channels {said}, expected --gate 1=NAME for each gate")
    channels: dict[int, str] = {}
    for pair in pairs:
        number, _, name = pair.partition("=")
        if number not in ("1", "2", "3") or name not in names or int(number) in channels:
            raise InputError(f"--{option}: given {pair!r}, expected 1, 2 or 3, = and one of {said}")
        channels[int(number)] = name
    return channels
