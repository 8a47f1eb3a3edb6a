"""How documents on gauges turn tolerance, bias and scatter into indices of capability."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Convention:
    """How a standard turns tolerance T, bias and standard deviation s into C_g and C_gk.

    C_g = share T / (spread s), C_gk = (share T / 2 - abs(bias)) / (spread s / 2). The
    documents differ in the spread that stands for the gauge, and so by a factor 1.5.
    """

    name: str
    share: float
    spread: float
    required: float
    source: str

    @property
    def formula(self) -> str:
        """The two indices as printed beside their values."""
        half = f"{self.share / 2:g} T - |bias|"
        return f"C_g = {self.share:g} T / ({self.spread:g} s), C_gk = ({half}) / ({self.spread / 2:g} s)"


# Both from memory; editions and company rules change share, spread and the limit, so they are printed.
CONVENTIONS = {
    c.name: c
    for c in (
        Convention("iso", 0.2, 4.0, 1.33, "ISO 22514-7, gauge spread 4 s"),
        Convention("msa", 0.2, 6.0, 1.33, "measurement systems analysis manual, gauge spread 6 s"),
    )
}
