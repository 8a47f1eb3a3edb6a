"""What a user may write of an end that is no plain face."""

from pydantic import Field

from gatesim.ground import keys
from gatesim.part.end.base import EndTable


class ShapedEndTable(EndTable):
    """An end of its own length along the axis."""

    length: keys.Length = Field(description="Length of the end along the axis.")
    tip_height: keys.Distance | None = Field(
        default=None, description="Full height at the very tip of a chamfer (0 for a cone or a round end)."
    )

    @property
    def tip(self) -> float:
        """Full height at the very tip in m."""
        return 0.0 if self.tip_height is None else self.tip_height.nominal

    @property
    def reach(self) -> float:
        """See `EndTable.reach`."""
        return self.length.nominal

    @property
    def needs_height(self) -> bool:
        """See `EndTable.needs_height`."""
        return True
