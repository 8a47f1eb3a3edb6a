"""Search for the cheapest rig that meets a requirement."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from gatesim.api.result import PicturedLengths, watched
from gatesim.studies.choice import choose as chosen
from gatesim.studies.choice.model import Choice as Options
from gatesim.studies.choice.model import load_choice

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, repr=False)
class Choice(PicturedLengths, chosen.ChoiceResult):
    """Every candidate with what became of it, and the winner.

    ``list_rejected``: the text has every rejection with its reason.
    """

    list_rejected: bool = False

    KEYS: ClassVar = {**chosen.ChoiceResult.KEYS, "list_rejected": None}

    def text(self, unit: str | None = None) -> str:
        """What was tried, what was rejected and why, the best of the rest, the winner."""
        from gatesim.view.choicetext import choice_text
        from gatesim.view.lengthunit import unit_of

        return choice_text(self, every_rejection=self.list_rejected, unit=unit_of(unit))

    def plot(self, ax: "Axes | None" = None, unit: str | None = None) -> "Axes":
        """Cost against RMS error, with the front and the winner."""
        from gatesim.view.choicechart import choice_chart
        from gatesim.view.lengthunit import unit_of

        return choice_chart(self, ax, unit_of(unit))

    def save(self, path: Path | str) -> None:
        """Write the winner as a scenario file. Raises InputError if there is none."""
        from gatesim.studies.choice.winner import save_winner

        save_winner(self, Path(path))


def choose(
    options: Options | Path | str,
    *,
    trials: int = 10_000,
    seed: int = 1,
    workers: int | None = None,
    race: bool = False,
    rejected: bool = False,
) -> Choice:
    """Search the rigs that a file of options spans for the cheapest that does what is wanted.

    Rigs that physics rules out are rejected with a reason; each of the rest gets so many
    ``trials`` over common random numbers. ``race``: a pretrial with a tenth of the trials first,
    after which who is surely beaten leaves. ``rejected`` lists every rejection in the text.
    ``winner`` is None if no rig meets the requirement. Raises InputError.
    """
    given = options if isinstance(options, Options) else load_choice(Path(options))
    found = chosen.choose(given, trials, seed, workers, progress=watched(), race=race)
    return Choice.of(found, list_rejected=rejected)
