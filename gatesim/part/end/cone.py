"""A conical end: a chamfer down to a point."""

from typing import Literal

from gatesim.part.end.chamfer import ChamferedEnd
from gatesim.part.end.shaped import ShapedEndTable


class ConicalEndTable(ShapedEndTable):
    """A conical end of its own length along the axis."""

    shape: Literal["cone"]

    def build(self) -> ChamferedEnd:
        """See `EndTable.build`."""
        return ChamferedEnd(self.length.nominal, self.tip)
